"""Run a profile dry on the nominal simulated board: how long each step takes, and how high the voltages go.

What no bench could do is found here, before any board is powered.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from station.asks import Ask, Feed, Quantity, Read, Reading, StepEnded, StepStarted, Warned
from station.envelope import Envelope
from station.interrupts import Interrupts
from station.opening import open_simulated
from station.profile import Profile
from station.program import compiled
from station.run import Ended, NoRecord, run

__all__ = ["Rehearsal", "highest_volts", "rehearsed"]


@dataclass(frozen=True)
class Rehearsal:
    """What a dry run showed: bench seconds by step title, the widest voltage between two terminals, how it ended.

    `warnings` is what the operator would have been told.
    """

    step_seconds: dict[str, float]
    widest_volts: float
    widest_between: tuple[str, str]
    ended: Ended
    warnings: tuple[str, ...] = ()

    @property
    def seconds(self) -> float:
        """The bench time of the whole run."""
        return sum(self.step_seconds.values())


def highest_volts(profile: Profile) -> dict[str, float]:
    """Return the highest magnitude that each input is fed anywhere in the profile (volts)."""
    highest = dict.fromkeys(profile.board.terminals("input"), 0.0)
    for step in profile.steps:
        for name, volts in step.form.highest_volts(step.setup).items():
            highest[name] = max(highest[name], volts)
    return highest


def rehearsed(profile: Profile, interrupts: Interrupts | None = None) -> Rehearsal:
    """Return what a dry run on the nominal board shows; InputError where netlist and sheet do not fit."""
    with open_simulated(profile.board, highest_volts(profile), seed=0, nominal=True, interrupts=interrupts) as bench:
        notes = _Notes(bench.clock.seconds)
        ended = run(
            compiled(profile),
            bench.performer,
            NoRecord(),
            envelope=Envelope(profile.board),
            interrupts=interrupts,
            told=notes.told,
        )
    return Rehearsal(notes.step_seconds, notes.widest[0], notes.widest[1], ended, tuple(notes.warnings))


class _Notes:
    """Keeps the time of each step and the widest pair of terminals while a run goes on."""

    def __init__(self, seconds: Callable[[], float]) -> None:
        self._seconds = seconds
        self._started = 0.0
        self._volts = {"GND": 0.0}
        self.step_seconds: dict[str, float] = {}
        self.warnings: list[str] = []
        self.widest: tuple[float, tuple[str, str]] = (0.0, ("GND", "GND"))

    def told(self, ask: Ask[Any], reply: object) -> None:
        if isinstance(ask, StepStarted):
            self._started = self._seconds()
        elif isinstance(ask, StepEnded):
            self.step_seconds[ask.title] = self._seconds() - self._started
        elif isinstance(ask, Warned):
            self.warnings.append(ask.text)
        elif isinstance(ask, Feed):
            self._see(ask.terminal, ask.volts)
        elif isinstance(ask, Read) and isinstance(reply, Reading) and ask.quantity is Quantity.VOLTAGE:
            self._see(ask.terminal, reply.value)

    def _see(self, terminal: str, volts: float) -> None:
        self._volts[terminal] = volts
        low, high = min(self._volts, key=self._volts.__getitem__), max(self._volts, key=self._volts.__getitem__)
        self.widest = max(self.widest, (self._volts[high] - self._volts[low], (low, high)))
