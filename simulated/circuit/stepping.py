"""Choose how long each step of time may be: as long as the boards move smoothly, short where they jump.

All boards of a batch share one grid of times; the board that moves most decides. The error of a step
is told from how far its end lies from where the last three points seemed to lead.
"""

import math
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .devices import take_lanes
from .dynamics import Dynamics
from .linearise import Problem
from .settings import Settings
from .timestep import GAMMA, Reached, edge_step, euler_step, implicit_step
from .waves import longest_step, next_corner

__all__ = ["Drive", "Here", "Pace", "Tolerance", "restarted", "step_on"]

Floats = NDArray[np.float64]

# What an edge of a source takes before the first step; real edges are slower.
_EDGE_SECONDS = 1e-9
_LEAST_SECONDS = 1e-12
# Of what a step may be off, how far Newton's last step may go; more than a millivolt, and high gain goes astray.
_SLACK, _MOST_SLACK = 0.5, 1e-3
_GROWTH, _GROWTH_WHEN_REFUSED, _SHRINKING, _CAUTION = 4.0, 1.2, 0.1, 0.85
# What a step misses, as a share of how far it ends from where three points before seemed to lead: the method's
# error constant, its stability function's cubic term less 1/6, if steps are even.
_EVEN_SHARE = 0.0404
# After so many steps under one setting a board swings far faster than its rails move: from then on steps are no
# shorter than this share of the time since the setting, and the method's damping stills the swing.
_PATIENCE, _COARSE_SHARE = 600, 0.1


@dataclass(frozen=True)
class Tolerance:
    """How far off one step may be at any node: volts, and a share of the node's volts; and how long the first is.

    `damped` takes backward Euler throughout: of first order only, but nothing rings and nothing overshoots.
    """

    volts: float = 1e-3
    share: float = 2e-4
    first_seconds: float = 1e-6
    damped: bool = False


@dataclass(frozen=True)
class Drive:
    """What the bench applies from `start` on: settings that stay, or supplies that go in a straight line to others."""

    dynamics: Dynamics
    start: float
    begin: Settings
    end: Settings
    seconds: float

    @property
    def volts_per_second(self) -> Floats:
        """How steeply supplies go, (L, supplies)."""
        return np.asarray((self.end.volts - self.begin.volts) / self.seconds)

    @property
    def steady(self) -> bool:
        """Whether nothing changes."""
        return bool(np.array_equal(self.begin.volts, self.end.volts))

    def of(self, lanes: NDArray[np.intp]) -> "Drive":
        """Return what some lanes are driven with."""
        dynamics = self.dynamics.of(lanes)
        return replace(self, dynamics=dynamics, begin=take_lanes(self.begin, lanes), end=take_lanes(self.end, lanes))

    def problem(self, time: float) -> Problem:
        """Return what is to be solved at a time."""
        if self.steady:
            return self.dynamics.problem(self.begin, time) if self.dynamics.timed else self._still
        share = (time - self.start) / self.seconds
        volts = self.begin.volts + share * (self.end.volts - self.begin.volts)
        return self.dynamics.problem(replace(self.begin, volts=volts), time)

    @cached_property
    def _still(self) -> Problem:
        return self.dynamics.problem(self.begin)


@dataclass(frozen=True)
class Pace:
    """The last points of the lanes at work, newest first, and the next step.

    Times count from the start of the run. `since` is when the settings changed last, `taken` the steps since.
    """

    since: float
    times: tuple[float, ...]
    unknowns: tuple[Floats, ...] = field(repr=False)
    step: float
    taken: int = 0

    def leads_to(self, time: float) -> Floats:
        """Return the unknowns that the last points lead to."""
        total = np.zeros_like(self.unknowns[0])
        for at, (own, x) in enumerate(zip(self.times, self.unknowns, strict=True)):
            weight = 1.0
            for place, other in enumerate(self.times):
                if place != at:
                    weight *= (time - other) / (own - other)
            total += x * weight
        return total

    def with_point(self, time: float, x: Floats, step: float) -> "Pace":
        """Return the pace one point on."""
        return replace(self, step=step, times=(time, *self.times[:2]), unknowns=(x, *self.unknowns[:2]))


@dataclass(frozen=True)
class Here:
    """Where the lanes at work stand."""

    reached: Reached
    pace: Pace


def restarted(drive: Drive, begun: Reached, tolerance: Tolerance) -> Here:
    """Take a jump of the settings; what stores charge stays where it is."""
    reached = edge_step(drive.dynamics, drive.problem(drive.start), begun, _EDGE_SECONDS)
    return Here(reached, Pace(drive.start, (drive.start,), (reached.state.x,), tolerance.first_seconds))


def step_on(drive: Drive, here: Here, tolerance: Tolerance, end: float) -> Here:
    """Return where lanes are one step later, `end` at most.

    Lanes whose `arrived` is false cannot go on; no lane has moved then.
    """
    pace, now, growth, timed = here.pace, here.pace.times[0], _GROWTH, drive.dynamics.timed
    if timed:
        end, pace = min(end, next_corner(timed, now)), replace(pace, step=min(pace.step, longest_step(timed)), taken=0)
    while True:
        seconds = _fitted(pace.step, end - now)
        time = end if seconds == end - now else now + seconds
        reached = _stepped(drive, here, pace, time, tolerance)
        pace = replace(pace, taken=pace.taken + 1)
        if not reached.arrived.all():
            if seconds < _LEAST_SECONDS:
                return replace(here, reached=replace(here.reached, arrived=reached.arrived))
            pace, growth = replace(pace, step=_SHRINKING * seconds), _GROWTH_WHEN_REFUSED
            continue
        kink = not np.array_equal(reached.state.modes, here.reached.state.modes)
        if kink and not tolerance.damped:
            reached = _straight(drive, here, reached, time, tolerance)
        error = _error(drive, pace, tolerance, time, reached.state.x, kink=kink)
        least = max(_LEAST_SECONDS, _COARSE_SHARE * (now - pace.since) if pace.taken > _PATIENCE else 0.0)
        if error <= 1.0 or seconds <= least:
            wanted = max(least, _next_step(pace.step, seconds, _scaled(error, tolerance), growth))
            return Here(reached, pace.with_point(time, reached.state.x, wanted))
        pace, growth = replace(pace, step=max(least, seconds * _scaled(error, tolerance))), _GROWTH_WHEN_REFUSED


def _fitted(step: float, left: float) -> float:
    """Return a step that does not leave a crumb before the end."""
    if step >= left:
        return left
    return left / 2.0 if step > left / 2.0 else step


def _next_step(wanted: float, taken: float, scaled: float, growth: float) -> float:
    grown = taken * min(growth, scaled)
    # A step that was cut short by the end says nothing against the one that was wanted.
    return max(grown, wanted) if taken < wanted else grown


def _scaled(error: float, tolerance: Tolerance) -> float:
    """Return by what a step is to be multiplied for an error of one; errors go with its square or third power."""
    root = math.sqrt if tolerance.damped else math.cbrt
    return max(_SHRINKING, _CAUTION / root(max(error, 1e-6)))


def _stepped(drive: Drive, here: Here, pace: Pace, time: float, tolerance: Tolerance) -> Reached:
    seconds, slack = time - pace.times[0], min(_SLACK * tolerance.volts, _MOST_SLACK)
    if tolerance.damped:
        return euler_step(drive.dynamics, drive.problem(time), here.reached, pace.leads_to(time), seconds, slack)
    middle = pace.times[0] + GAMMA * seconds
    problems = drive.problem(middle), drive.problem(time)
    guesses = pace.leads_to(middle), pace.leads_to(time)
    return implicit_step(drive.dynamics, problems, here.reached, guesses, seconds, slack)


def _straight(drive: Drive, here: Here, reached: Reached, time: float, tolerance: Tolerance) -> Reached:
    """Return where lanes are after a step in which a supply changed what it holds: backward Euler never overshoots.

    Lanes that do not get there so keep what they reached.
    """
    straight = _stepped(drive, here, here.pace, time, replace(tolerance, damped=True))
    return straight if straight.arrived.all() else reached


def _error(drive: Drive, pace: Pace, tolerance: Tolerance, time: float, x: Floats, *, kink: bool) -> float:
    """Return the largest error of a step, one being what is tolerated; at a kink smoothness earns nothing."""
    share, nodes = 0.1, len(drive.dynamics.layout.names)
    if tolerance.damped:
        return _first_order_error(pace, tolerance, time, x, drive.dynamics.slow_nodes)
    if len(pace.times) == 3 and not kink:
        h, h1, h2 = (time - before for before in pace.times)
        share = _EVEN_SHARE * max(1.0, 6.0 * h * h / (h1 * h2))
    missed = np.abs(x - pace.leads_to(time))[:, :nodes]
    allowed = tolerance.volts + tolerance.share * np.abs(x[:, :nodes])
    return share * float((missed / allowed).max(initial=0.0))


def _first_order_error(pace: Pace, tolerance: Tolerance, time: float, x: Floats, nodes: NDArray[np.intp]) -> float:
    """Return the largest error of a step of backward Euler, told from how far it ends off a straight line.

    Only nodes that hold charge are asked: the others stand where these and the sources put them, at any step.
    """
    h, before = time - pace.times[0], pace.unknowns[0]
    line, share = before, 0.1
    if len(pace.times) > 1:
        h1 = pace.times[0] - pace.times[1]
        line, share = before + (before - pace.unknowns[1]) * (h / h1), h / (h + h1)
    missed = np.abs(x - line)[:, nodes]
    allowed = tolerance.volts + tolerance.share * np.abs(x[:, nodes])
    return share * float((missed / allowed).max(initial=0.0))
