"""Sources that change with time by themselves: SPICE's SIN, PULSE and PWL, as a transient needs them.

An operating point knows nothing of them: it takes a source's DC value, or where it has none its first value.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .conditioned import take_lanes
from .errors import NetlistError
from .expressions import ExpressionError, evaluate
from .inventory import Inventory
from .netlist import Element, Netlist, Wave, parameter_values
from .parts import Parts

__all__ = ["Timed", "longest_step", "next_corner", "sources_at", "timed_sources"]

Floats = NDArray[np.float64]
Value = float | Floats

# A sine is followed in so many steps a period at least, or the error of a step would be told from aliases.
_STEPS_A_PERIOD = 40
# SPICE's own defaults hang on the step and the end of an analysis, which nobody gives here; edges need some time.
_LEAST_EDGE_SECONDS = 1e-9
_DUST_SECONDS = 1e-12  # two times this near are one
_VOLTS_AT = {"SIN": (0, 1), "PULSE": (0, 1)}  # which arguments are values of the source; of PWL every second one


@dataclass(frozen=True)
class Timed:
    """One source in time: its column among the V and I values, and its arguments (L, n), SI."""

    column: int
    kind: str
    numbers: Floats

    def of(self, lanes: NDArray[np.intp]) -> "Timed":
        """Return it on some boards."""
        return replace(self, numbers=take_lanes(self.numbers, lanes))

    def at(self, time: float) -> Floats:
        """Return the source's value at a time, (L,)."""
        return _SHAPES[self.kind](self.numbers, time)

    @property
    def still(self) -> bool:
        """Whether it never moves."""
        values = _values(self.kind, self.numbers)
        return not values[:, 1].any() if self.kind == "SIN" else bool((values == values[:, :1]).all())

    @property
    def longest_step(self) -> float:
        """Return the longest step that still sees it move."""
        return float(1.0 / (_STEPS_A_PERIOD * self.numbers[:, 2].max())) if self.kind == "SIN" else np.inf

    @property
    def hertz(self) -> float:
        """The frequency of a sine; 0 of anything else."""
        return float(self.numbers[:, 2].min()) if self.kind == "SIN" else 0.0

    def corner_after(self, time: float) -> float:
        """Return when it next bends, behind a time; infinite where it never does again."""
        after = [corner for corner in self._corners(time) if corner > time + _DUST_SECONDS]
        return float(min(after, default=np.inf))

    def _corners(self, time: float) -> list[float]:
        if self.kind == "PWL":
            return list(self.numbers[:, 0::2].ravel())
        if self.kind == "SIN":
            return list(self.numbers[:, 3])
        corners = list[float]()
        for _, _, delay, rise, fall, width, period in self.numbers.tolist():
            begun = delay + (max(0.0, (time - delay) // period) * period if np.isfinite(period) else 0.0)
            edges = np.cumsum([0.0, rise, width, fall])
            corners += [begun + edge for edge in edges] + [begun + period]
        return corners


def _values(kind: str, numbers: Floats) -> Floats:
    return numbers[:, 1::2] if kind == "PWL" else numbers[:, list(_VOLTS_AT[kind])]


def _sine(numbers: Floats, time: float) -> Floats:
    offset, amplitude, hertz, delay, damping, degrees = numbers.T
    since = np.maximum(time - delay, 0.0)  # before its delay it stands at its phase
    swing = np.exp(-since * damping) * np.sin(2.0 * np.pi * hertz * since + np.radians(degrees))
    return np.asarray(offset + amplitude * swing)


def _pulse(numbers: Floats, time: float) -> Floats:
    low, high, delay, rise, fall, width, period = numbers.T
    since = np.where(time < delay, 0.0, time - delay)
    since = np.where(np.isfinite(period), np.mod(since, np.where(np.isfinite(period), period, 1.0)), since)
    share = np.minimum(since / rise, 1.0) - np.clip((since - rise - width) / fall, 0.0, 1.0)
    return np.asarray(low + (high - low) * share)


def _line(numbers: Floats, time: float) -> Floats:
    return np.array([np.interp(time, row[0::2], row[1::2]) for row in numbers])


_SHAPES = {"SIN": _sine, "PULSE": _pulse, "PWL": _line}


def timed_sources(
    netlist: Netlist, inventory: Inventory, parts: Parts, parameters: Mapping[str, Value]
) -> tuple[Timed, ...]:
    """Return the sources of a netlist that move, for these boards; NetlistError for arguments without sense."""
    elements = (*inventory.volts, *inventory.amps)
    if not any(element.wave for element in elements):
        return ()
    values = parameter_values(netlist, parameters)
    found = [
        Timed(column, element.wave.kind, _numbers(element, element.wave, parts, values))
        for column, element in enumerate(elements)
        if element.wave is not None
    ]
    return tuple(each for each in found if not each.still)


def _numbers(element: Element, wave: Wave, parts: Parts, values: Mapping[str, Value]) -> Floats:
    try:
        given = [np.atleast_1d(evaluate(tree, values)) for tree in wave.arguments]
    except ExpressionError as error:
        raise NetlistError(element.place, f"{element.name}: {error}") from None
    numbers = np.stack(np.broadcast_arrays(*given), axis=1).astype(np.float64)
    numbers = _completed(element, wave.kind, numbers)
    factor = parts.factor(element.name, "value")
    if factor is not None:
        numbers = np.repeat(numbers, factor.size, axis=0) if numbers.shape[0] == 1 else numbers.copy()
        own = slice(1, None, 2) if wave.kind == "PWL" else slice(0, 2)
        numbers[:, own] *= factor[:, None]
    return numbers


def _completed(element: Element, kind: str, numbers: Floats) -> Floats:
    """Return arguments with SPICE's defaults behind them; NetlistError where they make no sense."""
    if kind == "PWL":
        if numbers.shape[1] % 2 or not (np.diff(numbers[:, 0::2], axis=1) > 0.0).all():
            raise NetlistError(element.place, f"{element.name}: PWL is no rising times; write PWL(T1 V1 T2 V2 ...)")
        return numbers
    defaults = [0.0, 0.0, 0.0] if kind == "SIN" else [0.0, 0.0, 0.0, np.inf, np.inf]
    form, least = ("SIN(VO VA FREQ [TD THETA PHASE])", 3) if kind == "SIN" else ("PULSE(V1 V2 [TD TR TF PW PER])", 2)
    count, most = numbers.shape[1], least + len(defaults)
    if not least <= count <= most:
        raise NetlistError(element.place, f"{element.name}: {kind} has {count} arguments; write {form}")
    rest = np.broadcast_to(np.array(defaults[count - least :]), (numbers.shape[0], most - count))
    numbers = np.concatenate([numbers, rest], axis=1)
    if kind == "PULSE":
        numbers[:, 3:5] = np.maximum(numbers[:, 3:5], _LEAST_EDGE_SECONDS)
    elif not (numbers[:, 2] > 0.0).all():
        raise NetlistError(element.place, f"{element.name}: a sine of {numbers[:, 2].min():g} Hz is none; write {form}")
    return numbers


def sources_at(sources: Floats, timed: tuple[Timed, ...], time: float) -> Floats:
    """Return the values of all sources (L, n) at a time."""
    lanes = max(sources.shape[0], *(each.numbers.shape[0] for each in timed))
    now = np.array(np.broadcast_to(sources, (lanes, sources.shape[1])))
    for each in timed:
        now[:, each.column] = each.at(time)
    return now


def longest_step(timed: tuple[Timed, ...]) -> float:
    """Return the longest step that still sees every source move."""
    return min((each.longest_step for each in timed), default=np.inf)


def next_corner(timed: tuple[Timed, ...], time: float) -> float:
    """Return when a source next bends, behind a time."""
    return min((each.corner_after(time) for each in timed), default=np.inf)
