"""Run a profile dry on the nominal simulated board: how long each step takes, and what its dangers are.

What no bench could do is found here, before any board is powered.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from station.asks import Ask, Draw, Feed, Quantity, Read, Reading, StepEnded, StepStarted, Warned
from station.envelope import Envelope
from station.hazards import Hazards, Heat, Store
from station.interrupts import Interrupts
from station.opening import OpenSimulated, open_simulated
from station.outlook import Outlook
from station.profile import Profile
from station.program import compiled
from station.run import Ended, NoRecord, run

__all__ = ["Rehearsal", "highest_volts", "rehearsed"]


@dataclass(frozen=True)
class Rehearsal:
    """What a dry run showed: bench seconds by step title, the widest voltage between two terminals, how it ended.

    `warnings` is what the operator would have been told; `hazards` has what can hurt in a run: the worst that the
    nominal board went through.
    """

    step_seconds: dict[str, float]
    widest_volts: float
    widest_between: tuple[str, str]
    ended: Ended
    hazards: Hazards
    warnings: tuple[str, ...] = ()

    @property
    def seconds(self) -> float:
        """The bench time of the whole run."""
        return sum(self.step_seconds.values())

    @property
    def outlook(self) -> Outlook:
        """What a run has to know of it."""
        return Outlook(self.seconds, self.hazards)


def highest_volts(profile: Profile) -> dict[str, float]:
    """Return the highest magnitude that each input is fed anywhere in the profile (volts)."""
    highest = dict.fromkeys(profile.board.terminals("input"), 0.0)
    for step in profile.steps:
        for name, volts in step.form.highest_volts(step.setup).items():
            highest[name] = max(highest[name], volts)
    return highest


def _fed(profile: Profile) -> Hazards:
    """Return what is known of a profile's dangers before it is run."""
    board = profile.board.form
    return Hazards(
        volts={name: board.terminals[name].sign * volts for name, volts in highest_volts(profile).items()},
        safe_below_volts=board.safe_below,
        kelvin_per_watt=None if board.warmth is None else board.warmth.rises,
        mains_volts=board.mains_side,
    )


def rehearsed(profile: Profile, interrupts: Interrupts | None = None) -> Rehearsal:
    """Return what a dry run on the nominal board shows; InputError where netlist and sheet do not fit."""
    with open_simulated(profile.board, highest_volts(profile), seed=0, nominal=True, interrupts=interrupts) as bench:
        hazards, notes = _fed(profile), _Notes(bench)
        ended = run(
            compiled(profile, hazards),
            bench.performer,
            NoRecord(),
            envelope=Envelope(profile.board),
            interrupts=interrupts,
            told=notes.told,
        )
    hazards = replace(
        hazards, volts={**notes.highest, **hazards.volts}, stores=tuple(notes.stores.values()), heat=notes.heat
    )
    return Rehearsal(notes.step_seconds, notes.widest[0], notes.widest[1], ended, hazards, tuple(notes.warnings))


class _Notes:
    """Keeps the time of each step, the widest pair of terminals and the worst of each part while a run goes on."""

    def __init__(self, bench: OpenSimulated) -> None:
        self._seconds: Callable[[], float] = bench.clock.seconds
        self._strain = bench.inside.board.strain
        self._step, self._started, self._changed = "", 0.0, False
        self._volts = {"GND": 0.0}
        self.step_seconds: dict[str, float] = {}
        self.warnings: list[str] = []
        self.widest: tuple[float, tuple[str, str]] = (0.0, ("GND", "GND"))
        self.highest: dict[str, float] = {}
        self.heat: dict[str, Heat] = {}
        self.stores: dict[str, Store] = {}

    def told(self, ask: Ask[Any], reply: object) -> None:
        if isinstance(ask, StepStarted):
            self._step, self._started = ask.title, self._seconds()
        elif isinstance(ask, StepEnded):
            self.step_seconds[ask.title] = self._seconds() - self._started
        elif isinstance(ask, Warned):
            self.warnings.append(ask.text)
        elif isinstance(ask, Feed):
            self._changed = True
            self._see(ask.terminal, ask.volts)
        elif isinstance(ask, Draw):
            self._changed = True
        elif isinstance(ask, Read) and isinstance(reply, Reading):
            if self._changed:
                self._suffer()
            if ask.quantity is Quantity.VOLTAGE:
                self._see(ask.terminal, reply.value)

    def _suffer(self) -> None:
        """Keep the worst of each part: watts by step, and the highest charge of the run."""
        self._changed, strain = False, self._strain()
        before = self.heat.get(self._step, Heat({}, 0.0))
        watts = {part: max(each, before.watts.get(part, 0.0)) for part, each in strain.watts.items()}
        self.heat[self._step] = Heat(watts, max(sum(strain.watts.values()), before.total_watts))
        for held in strain.held:
            if held.part not in self.stores or held.volts > self.stores[held.part].volts:
                self.stores[held.part] = Store(held.part, held.farads, held.volts, held.bleed_ohms)

    def _see(self, terminal: str, volts: float) -> None:
        self._volts[terminal] = volts
        self.highest[terminal] = max(volts, self.highest.get(terminal, 0.0), key=abs)
        low, high = min(self._volts, key=self._volts.__getitem__), max(self._volts, key=self._volts.__getitem__)
        self.widest = max(self.widest, (self._volts[high] - self._volts[low], (low, high)))
