"""Keep boards on their course through time: where they stand now, which are lost, how far ahead is known.

Under settings that stay, steps may reach beyond the time that was asked for; what lies between is read
off a curve. A bench that looks every few milliseconds so costs no more than one that waits.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from .dynamics import Dynamics
from .ends import SupplyMode
from .linearise import State, across, junction_volts
from .settings import Settings
from .stepping import Drive, Here, Pace, Tolerance, restarted, step_on
from .timestep import Reached, charge_of

__all__ = ["Course"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Lanes = NDArray[np.intp]
Modes = NDArray[np.int8]

_STOP_SHARE, _STOP_SECONDS = 1e-3, 1e-6


class Course:
    """Boards (B,) under way; `time` is now, in seconds since the start."""

    def __init__(self, dynamics: Dynamics, tolerance: Tolerance, begin: Reached) -> None:
        self.time = 0.0
        self._dynamics, self._tolerance = dynamics, tolerance
        self._reached = begin
        self._drive: Drive | None = None
        self._working: Drive | None = None  # the drive of the lanes that are not lost
        self._pace: Pace | None = None

    @property
    def alive(self) -> Bools:
        """Which boards are not lost, (B,)."""
        return self._reached.arrived

    @property
    def modes(self) -> Modes:
        """What the supplies hold, (B, supplies)."""
        return self._reached.state.modes

    def unknowns(self) -> Floats:
        """Return all unknowns now, (B, M + 1)."""
        if self._pace is None or self._front() <= self.time:
            return self._reached.state.x
        x = self._reached.state.x.copy()
        x[self.alive] = _between(self._pace, self.time)
        return x

    def steepness(self) -> float:
        """Return the volts per second of the node that moved fastest over the last step; infinite before one."""
        if self._pace is None or len(self._pace.times) < 2:
            return np.inf
        now, before = self._pace.unknowns[:2]
        moved = np.abs(now - before)[:, : len(self._dynamics.layout.names)].max(initial=0.0)
        return float(moved) / (self._pace.times[0] - self._pace.times[1])

    def enter(self, drive: Drive, boards: int) -> None:
        """Take over a drive; where it jumps or bends, what was foreseen is forgotten."""
        self._reached = self._reached.widened(boards)
        before, self._drive = self._drive, drive
        if before is not None and self._pace is not None and _same(before.end, drive.begin):
            if not (before.steady and drive.steady):
                self._stand()
                self._pace = Pace(
                    self.time, (self.time,), (self._reached.state.x[self.alive],), self._tolerance.first_seconds
                )
                self._working = drive.of(np.flatnonzero(self.alive))
            return
        self._stand()
        state = self._reached.state
        self._reached = replace(self._reached, state=replace(state, modes=_fitting(state.modes, drive.begin)))
        while (lanes := np.flatnonzero(self.alive)).size:
            self._working = drive.of(lanes)
            here = restarted(self._working, self._reached.of(lanes), self._tolerance)
            if here.reached.arrived.all():
                self._reached, self._pace = self._reached.put(lanes, here.reached), here.pace
                break
            self._lose(lanes[~here.reached.arrived])

    def go_to(self, time: float) -> None:
        """Go on under a steady drive, perhaps knowing more than that afterwards."""
        while self._front() < time and self.alive.any():
            self._step(np.inf)
        self.time = time

    def follow(self, time: float, stops: Callable[[], bool], note: Callable[[], None]) -> None:
        """Go on step by step, `note` being called after each, until a time or until it `stops`."""
        start = self.time
        self._stand()
        note()
        while self.time < time and self.alive.any():
            reached, pace, now = self._reached, self._pace, self.time
            took = self._step(time)
            if not took:
                continue
            self.time = self._front()
            stopped = stops()
            if stopped and pace and took > max(_STOP_SECONDS, _STOP_SHARE * (self.time - start)):
                self._reached, self._pace, self.time = reached, replace(pace, step=0.25 * took), now
                continue
            note()
            if stopped:
                return
        if self.time < time:
            self.time = time
            note()

    def _front(self) -> float:
        """Return the time up to which the course is known."""
        return self.time if self._pace is None else self._pace.times[0]

    def _step(self, end: float) -> float:
        """Go on by one step and return its seconds, or lose boards and return zero."""
        lanes = np.flatnonzero(self.alive)
        assert self._pace is not None and self._working is not None
        after = step_on(self._working, Here(self._reached.of(lanes), self._pace), self._tolerance, end)
        if after.reached.arrived.all():
            took = after.pace.times[0] - self._pace.times[0]
            self._reached, self._pace = self._reached.put(lanes, after.reached), after.pace
            return took
        self._lose(lanes[~after.reached.arrived])
        kept = np.flatnonzero(after.reached.arrived)
        pace = self._pace
        self._pace = Pace(
            pace.since, pace.times[:1], (pace.unknowns[0][kept],), self._tolerance.first_seconds, pace.taken
        )
        self._working = self._working.of(kept)
        return 0.0

    def _lose(self, lanes: Lanes) -> None:
        arrived = self.alive.copy()
        arrived[lanes] = False
        self._reached = replace(self._reached, arrived=arrived)

    def _stand(self) -> None:
        """Give up what is known beyond now."""
        if self._pace is None or self._drive is None or self._front() <= self.time:
            return
        x, layout = self.unknowns(), self._dynamics.layout
        state = State(x, junction_volts(layout, x), across(x, layout.load_pairs), self.modes)
        charge = charge_of(self._dynamics, self._drive.problem(self.time), state)
        self._reached = Reached(state, charge, self.alive)
        self._pace = replace(
            self._pace, times=(self.time,), unknowns=(x[self.alive],), step=self._tolerance.first_seconds
        )


def _between(pace: Pace, time: float) -> Floats:
    """Return the unknowns between the last two points, on a cubic that does not overshoot them."""
    t0, t1 = pace.times[:2]
    x0, x1 = pace.unknowns[:2]
    h, slope = t0 - t1, (x0 - x1) / (t0 - t1)
    begin = end = slope
    if len(pace.times) == 3:
        h1 = t1 - pace.times[2]
        before = (x1 - pace.unknowns[2]) / h1
        begin = ((2.0 * h + h1) * slope + (h + 2.0 * h1) * before) / (3.0 * (h + h1))
        begin = np.sign(slope) * np.clip(begin * np.sign(slope), 0.0, 3.0 * np.abs(slope))
        end = 2.0 * slope - begin
        end = np.sign(slope) * np.clip(end * np.sign(slope), 0.0, 3.0 * np.abs(slope))
    s = (time - t1) / h
    rest = (1.0 - s) * (begin - slope) - s * (end - slope)
    return np.asarray(x1 + s * (x0 - x1) + h * s * (1.0 - s) * rest)


def _fitting(modes: Modes, settings: Settings) -> Modes:
    """Return supply modes to begin with: what is on goes on as it was, or else holds its voltage."""
    fresh = np.where(settings.on, SupplyMode.VOLTAGE, SupplyMode.OFF).astype(np.int8)
    stays = (fresh == SupplyMode.VOLTAGE) & (modes != SupplyMode.OFF)
    # A supply without a limit cannot hold one.
    stays &= np.isfinite(settings.limits) | (modes != SupplyMode.CURRENT)
    return np.where(stays, modes, fresh)


def _same(one: Settings, other: Settings) -> bool:
    return all(np.array_equal(getattr(one, name), getattr(other, name)) for name in ("volts", "limits", "on", "amps"))
