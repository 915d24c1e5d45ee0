"""The script a practitioner writes today: a bare pyvisa loop that waits a fixed second and integrates ten cycles.

It takes its points and limits from the profile file and nothing else of ours. Values are judged as they are read;
trimmers are turned by whoever it is given.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pyvisa
import yaml

__all__ = ["ByHand", "Limits", "limits_of"]

WAIT_SECONDS = 1.0
CYCLES = 10
RAMP_STEP_VOLTS = 2.0
OVERLOAD_POINTS, OVERLOAD_BELOW, OVERLOAD_ABOVE, FALLEN = 10, 0.85, 1.15, 0.95
QUARTER = 0.25  # a rail is trimmed into this share of its window
MOST_TURNS = 40

_NUMBER = r"(-?[\d.]+) (mA|A|V|%/V|%)"
_FACTORS = {"mA": 1e-3, "A": 1.0, "V": 1.0, "%/V": 1e-2, "%": 1e-2}
Limits = tuple[float, float]


def limits_of(text: str) -> Limits:
    """Return low and high of a limit as the profile writes it, in SI units."""
    numbers = [float(number) * _FACTORS[unit] for number, unit in re.findall(_NUMBER, text)]
    if "±" in text:
        spread = abs(numbers[0]) * numbers[1] if text.endswith("%") else numbers[1]
        return numbers[0] - spread, numbers[0] + spread
    if text.startswith("at most"):
        return float("-inf"), numbers[0]
    return numbers[0], numbers[1]


def value_of(text: object) -> float:
    """Return a value as the profile writes it, in SI units."""
    return limits_of(f"at most {text}")[1]


@dataclass
class ByHand:
    """One run of the script on one bench; `values` and `passed` are by (step, terminal, what), `seconds` by step."""

    profile: Path
    resources: dict[str, str]
    sleep: Callable[[float], None]
    clock: Callable[[], float]
    turn: Callable[[str, bool, float], bool]
    values: dict[tuple[str, str, str], float] = field(default_factory=dict)
    passed: dict[tuple[str, str, str], bool] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)

    def run(self) -> None:
        """Test the board; a ramp or a coarse look that shows a bad board ends the test."""
        sheet = yaml.safe_load((self.profile.parent / "board.yaml").read_text(encoding="utf-8"))
        self.inputs = {name: form for name, form in sheet["terminals"].items() if form["kind"] == "input"}
        self.outputs = {name: form for name, form in sheet["terminals"].items() if form["kind"] == "output"}
        kinds = ("input", "output", "probe")
        ordered = [name for kind in kinds for name, form in sheet["terminals"].items() if form["kind"] == kind]
        self.channels = {name: 101 + at for at, name in enumerate(ordered)}
        self.trimmers = sheet.get("trimmers", {})
        manager = pyvisa.ResourceManager("@py")
        opened: dict[str, Any] = {name: manager.open_resource(each) for name, each in self.resources.items()}
        for each in opened.values():
            each.read_termination = each.write_termination = "\n"
            each.timeout = 60e3  # milliseconds; a simulated board may be slow to move
        self.supply, self.meter, self.load = opened["supply"], opened["meter"], opened["load"]
        try:
            self._run_steps(yaml.safe_load(self.profile.read_text(encoding="utf-8"))["steps"])
        finally:
            self._off()
            for each in opened.values():
                each.close()
            manager.close()

    def _run_steps(self, steps: list[dict[str, dict[str, Any]]]) -> None:
        self._set(self.meter, "CONF:VOLT:DC")
        self._set(self.meter, f"VOLT:DC:NPLC {CYCLES}")
        does = {
            "ramp": self._ramp,
            "trim": self._trim,
            "measure": self._measure,
            "line sweep": self._line_sweep,
            "load sweep": self._load_sweep,
            "overload": self._overload,
        }
        for step in steps:
            ((kind, form),) = step.items()
            if kind in does:
                begun, self._step = self.clock(), str(form.get("name", kind))
                good = does[kind](form)
                self.seconds[self._step] = self.clock() - begun
                if not good and kind in ("ramp", "trim"):
                    return

    def _note(self, terminal: str, what: str, value: float, limits: Limits) -> bool:
        key = (self._step, terminal, what)
        self.values[key], self.passed[key] = value, limits[0] <= value <= limits[1]
        return self.passed[key]

    def _nominal(self) -> float:
        return abs(value_of(next(iter(self.inputs.values()))["nominal"]))

    def _feed(self, magnitude: float) -> None:
        for number in range(1, len(self.inputs) + 1):
            self._set(self.supply, f"VOLT {magnitude:.3f},(@{number})")
        self.sleep(WAIT_SECONDS)

    @staticmethod
    def _set(instrument: Any, command: str) -> None:
        instrument.query(f"{command};*OPC?")

    def _limit(self, amps: float) -> None:
        for number in range(1, len(self.inputs) + 1):
            self._set(self.supply, f"CURR {amps:.4f},(@{number})")

    def _draw(self, terminal: str, amps: float) -> None:
        number = list(self.outputs).index(terminal) + 1
        self._set(self.load, f"CURR {amps:.4f},(@{number})")
        self._set(self.load, f"INP {'ON' if amps else 'OFF'},(@{number})")
        self.sleep(WAIT_SECONDS)

    def _volts(self, terminal: str) -> float:
        self._set(self.meter, f"ROUT:CLOS (@{self.channels[terminal]})")
        return float(self.meter.query("READ?"))

    def _amps(self, terminal: str) -> float:
        return float(self.supply.query(f"MEAS:CURR? (@{list(self.inputs).index(terminal) + 1})"))

    def _ramp(self, form: dict[str, Any]) -> bool:
        limit, nominal = value_of(form["current limit"]), self._nominal()
        self._limit(limit)
        for number in range(1, len(self.inputs) + 1):
            self._set(self.supply, f"VOLT 0,(@{number})")
            self._set(self.supply, f"OUTP ON,(@{number})")
        good, steps = True, round(nominal / RAMP_STEP_VOLTS + 0.49)
        for step in range(1, steps + 1):
            self._feed(nominal * step / steps)
            for name in self.inputs:
                good &= self._note(name, "highest current", self._amps(name), (float("-inf"), 0.99 * limit))
            for name, form_ in self.outputs.items():
                ceiling = value_of(form_["never above"])
                good &= self._note(name, "highest voltage", self._volts(name), (-ceiling, ceiling))
            if not good:
                break
        return good

    def _trim(self, form: dict[str, Any]) -> bool:
        coarse = value_of(form["coarse"].lstrip("± "))
        targets = [(trimmer, *next(iter(each.items()))) for trimmer, each in form.items() if isinstance(each, dict)]
        good = True
        for _, terminal, window in targets:
            centre = sum(limits_of(window)) / 2.0
            edges = sorted((centre * (1.0 - coarse), centre * (1.0 + coarse)))
            good &= self._note(terminal, "before trim", self._volts(terminal), (edges[0], edges[1]))
        for trimmer, terminal, window in targets if good else []:
            self._turn_into(trimmer, terminal, limits_of(window))
        for _, terminal, window in targets if good else []:
            self._note(terminal, "trimmed", self._volts(terminal), limits_of(window))
        return good

    def _turn_into(self, trimmer: str, terminal: str, window: Limits) -> None:
        raises = self.trimmers[trimmer]["clockwise"] == "raises"
        centre, half = (window[0] + window[1]) / 2.0, (window[1] - window[0]) / 2.0
        for _ in range(MOST_TURNS):
            missing = abs(centre) - abs(self._volts(terminal))
            if abs(missing) <= QUARTER * half or not self.turn(trimmer, (missing > 0.0) == raises, abs(missing)):
                return

    def _measure(self, form: dict[str, Any]) -> bool:
        self._feed(self._nominal())
        for terminal, wanted in form.items():
            if isinstance(wanted, dict):
                for what, text in wanted.items():
                    value = self._volts(terminal) if what == "voltage" else self._amps(terminal)
                    self._note(terminal, what, value, limits_of(text))
        return True

    def _line_sweep(self, form: dict[str, Any]) -> bool:
        low, high = limits_of(form["inputs"])
        count, nominal = form["points"], self._nominal()
        points = [low + (high - low) * at / (count - 1) for at in range(count)]
        outputs = [name for name in form if name in self.outputs]
        seen: dict[str, list[float]] = {name: [] for name in outputs}
        for volts in points:
            self._feed(volts)
            for name in outputs:
                seen[name].append(self._volts(name))
        self._feed(nominal)
        middle = min(range(count), key=lambda at: abs(points[at] - nominal))
        for name, volts_seen in seen.items():
            span = max(volts_seen) - min(volts_seen)
            limits = limits_of(form[name]["line regulation"])
            base = abs(volts_seen[middle]) or 1e-9
            self._note(name, "line regulation", span / base / (high - low), limits)
        return True

    def _load_sweep(self, form: dict[str, Any]) -> bool:
        self._limit(value_of(form["current limit"]))
        for name in (each for each in form if each in self.outputs):
            low, high, count = value_of(form[name]["from"]), value_of(form[name]["to"]), form[name]["points"]
            seen = []
            for at in range(count):
                self._draw(name, low + (high - low) * at / (count - 1))
                seen.append(self._volts(name))
            self._draw(name, 0.0)
            change = max(abs(each - seen[0]) for each in seen)
            limits = limits_of(form[name]["load regulation"])
            self._note(name, "load regulation", change / (abs(seen[0]) or 1e-9), limits)
        return True

    def _overload(self, form: dict[str, Any]) -> bool:
        self._limit(value_of(form["current limit"]))
        for name in (each for each in form if each in self.outputs):
            window = limits_of(form[name]["limits at"])
            low, high = OVERLOAD_BELOW * window[0], OVERLOAD_ABOVE * window[1]
            step = (high - low) / (OVERLOAD_POINTS - 1)
            before, amps = self._volts(name), low
            self._draw(name, amps)
            while abs(self._volts(name)) >= FALLEN * abs(before) and amps < high:
                amps += step
                self._draw(name, amps)
            self._draw(name, 0.0)
            self._note(name, "limits at", low / 2.0 if amps == low else amps - step / 2.0, window)
            off = abs(self._volts(name) - before) / (abs(before) or 1e-9)
            self._note(name, "off after overload", off, (float("-inf"), 0.01))
        return True

    def _off(self) -> None:
        for number in range(1, len(self.outputs) + 1):
            self._set(self.load, f"INP OFF,(@{number})")
        for number in range(1, len(self.inputs) + 1):
            self._set(self.supply, f"OUTP OFF,(@{number})")
        self.supply.query("*OPC?")
        self.load.query("*OPC?")
