"""A performer that says what a test scripted, and remembers what it was asked."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from msgspec.structs import replace

from station.asks import (
    GND,
    Ask,
    Draw,
    Drawn,
    Fed,
    Feed,
    Judged,
    Mode,
    Performer,
    Quantity,
    Question,
    Read,
    Reading,
    SafeState,
    StepEnded,
    Turn,
    Turned,
    Wait,
)
from station.lines import Judgement
from station.profile import BoundStep

Scripted = float | Exception | Sequence[float | Exception] | Callable[[], float]

TURN_SECONDS = 2.0

HEALTHY_VOLTS: dict[str, Scripted] = {"INP": 22.0, "INN": -22.0, "OUTP": 15.0, "OUTN": -15.0, "TP1": 5.6}
HEALTHY_OHMS: dict[str, Scripted] = {"OUTP": 1500.0, "OUTP turned": 540.0, "OUTN turned": 1500.0, "OUTN": 540.0}
HEALTHY_AMPS: dict[str, Scripted] = {"INP": 0.018, "INN": 0.018}
SAG_OHMS = 0.01  # of a healthy output under load


def reading(
    value: float, u: float = 1e-4, *, common: float = 0.0, source: str = "meter", effort: float = 1.0
) -> Reading:
    return Reading(value, u, common, source, effort, 0.0)


@dataclass
class Script:
    """Values by terminal: one for always, or one after another of which the last stays; an exception is raised.

    Terminals that nobody scripted are healthy: inputs at what they are fed, outputs a little lower under load.
    """

    volts: Mapping[str, Scripted] = field(default_factory=dict)
    amps: Mapping[str, Scripted] = field(default_factory=dict)
    ohms: Mapping[str, Scripted] = field(default_factory=dict)  # with the leads turned round: 'OUTP turned'
    ripple: Mapping[str, Scripted] = field(default_factory=dict)
    fed: Mapping[str, Sequence[Mode]] = field(default_factory=dict)
    turned: Sequence[Turned] = (Turned.DONE,)
    said: Sequence[str] = ("yes",)
    u: Callable[[float], float] = lambda effort: 1e-4  # standard uncertainty by effort
    best_effort: float = 10.0
    safe: SafeState = field(default_factory=lambda: SafeState(verified=True))
    asks: list[Ask[Any]] = field(default_factory=list)
    made_safe: int = 0
    seconds: float = 0.0
    _counts: dict[str, int] = field(default_factory=dict)

    def _next(self, key: str, values: Sequence[Any]) -> Any:
        count = self._counts[key] = self._counts.get(key, 0) + 1
        return values[min(count, len(values)) - 1]

    def feed(self, ask: Feed) -> Fed:
        self.asks.append(ask)
        return Fed(self._next(f"feed {ask.terminal}", self.fed.get(ask.terminal, [Mode.CV])))

    def draw(self, ask: Draw) -> Drawn:
        self.asks.append(ask)
        return Drawn()

    def wait(self, ask: Wait) -> None:
        self.asks.append(ask)
        self.seconds += ask.seconds

    def read(self, ask: Read) -> Reading:
        self.asks.append(ask)
        effort = min(ask.effort, self.best_effort)
        return replace(reading(self._value(ask), self.u(effort), effort=effort), seconds=self.seconds)

    def _value(self, ask: Read) -> float:
        scripted, healthy = {
            Quantity.VOLTAGE: (self.volts, HEALTHY_VOLTS),
            Quantity.CURRENT: (self.amps, HEALTHY_AMPS),
            Quantity.RESISTANCE: (self.ohms, HEALTHY_OHMS),
            Quantity.RIPPLE: (self.ripple, {}),
        }[ask.quantity]
        name = f"{ask.against} turned" if ask.terminal == GND else ask.terminal
        told: Any = scripted[name] if name in scripted else healthy[name]
        if ask.quantity is Quantity.VOLTAGE and name not in scripted:
            told = self._standing(name, told)
        if callable(told):
            told = told()
        elif isinstance(told, Sequence):
            told = self._next(f"read {name} {ask.quantity}", told)
        if isinstance(told, Exception):
            raise told
        return float(told)

    def _standing(self, terminal: str, healthy: float) -> float:
        """Where a healthy terminal stands under what was asked last."""
        fed = [ask.volts for ask in self.asks if isinstance(ask, Feed) and ask.terminal == terminal and ask.volts]
        drawn = [ask.amps for ask in self.asks if isinstance(ask, Draw) and ask.terminal == terminal]
        if fed:
            return fed[-1]
        return healthy - math.copysign(SAG_OHMS * drawn[-1], healthy) if drawn else healthy

    def turn(self, ask: Turn) -> Turned:
        self.asks.append(ask)
        self.seconds += TURN_SECONDS
        turned: Turned = self._next("turn", self.turned)
        return turned

    def question(self, ask: Question) -> str:
        self.asks.append(ask)
        return str(self._next("question", self.said))

    def make_safe(self) -> SafeState:
        self.made_safe += 1
        return self.safe


@dataclass(frozen=True)
class Answered:
    """What a step asked and judged."""

    asks: tuple[Ask[Any], ...]
    events: tuple[Ask[Any], ...]
    judgements: tuple[Judgement, ...]

    def judged(self, name: str, terminal: str = "") -> Judgement:
        (found,) = (j for j in self.judgements if j.line.name == name and terminal in ("", j.line.terminal))
        return found

    def of(self, kind: type[Ask[Any]], terminal: str = "") -> list[Any]:
        """The asks of one kind, at one terminal or at all."""
        return [ask for ask in self.asks if isinstance(ask, kind) and terminal in ("", getattr(ask, "terminal", ""))]


def answer(step: BoundStep, script: Performer) -> Answered:
    """Drive one step by hand; what the script raises is thrown into the step."""
    program = step.form.program(step.setup)
    asks: list[Ask[Any]] = []
    reply: object = None
    try:
        while True:
            ask = program.throw(reply) if isinstance(reply, Exception) else program.send(reply)
            asks.append(ask)
            try:
                reply = ask.put_to(script)
            except Exception as error:  # noqa: BLE001  a scripted one, thrown in as the runner does
                reply = error
    except StopIteration as end:
        events = tuple(ask for ask in asks if type(ask).__module__ == "station.asks" and _is_event(ask))
        return Answered(tuple(ask for ask in asks if not _is_event(ask)), events, end.value)
    finally:
        program.close()


def _is_event(ask: Ask[Any]) -> bool:
    from station.asks import Event

    return isinstance(ask, Event)


@dataclass
class Kept:
    """A record in a list, in words: what was answered, noted and how it ended."""

    facts: list[tuple[str, Any, Any]] = field(default_factory=list)
    fails_at: str = ""
    error: Exception = field(default_factory=Exception)

    def answered(self, ask: Ask[Any], reply: object) -> None:
        self._keep("answered", ask, reply)

    def noted(self, event: Any) -> None:
        self._keep(
            "judged" if isinstance(event, Judged) else "ended step" if isinstance(event, StepEnded) else "noted",
            event,
            None,
        )

    def ended(self, outcome: Any, cause: str, safe: SafeState) -> None:
        self._keep("ended", (outcome, cause), safe)

    def _keep(self, what: str, fact: Any, reply: object) -> None:
        if what == self.fails_at:
            raise self.error
        self.facts.append((what, fact, reply))

    def only(self, what: str) -> list[tuple[Any, Any]]:
        return [(fact, reply) for kept, fact, reply in self.facts if kept == what]
