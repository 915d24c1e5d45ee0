"""Lead lanes to their solution when Newton's method alone does not get there, or might get elsewhere.

From cold, sources are raised from zero as at power-up, each step starting from the one before: of two
stable states this finds the one a bench would see. A lane that stalls goes on under pseudo-time: a
shunt from every node to where it was, like a capacitor, taken away as steps succeed, while sources
go on rising.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .devices import take_lanes
from .layout import Layout
from .linearise import Aid, Problem, State
from .newton import newton

__all__ = ["find"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Lanes = NDArray[np.intp]

_WARM_ITERATIONS = 25
_RAMP_ITERATIONS = 30
_FIRST_RAMP_STEP = 0.1
_LEAST_RAMP_STEP = 0.01
_PSEUDO_ITERATIONS = 15
_PSEUDO_STEPS = 400
_FIRST_SHUNT, _LEAST_SHUNT, _LARGEST_SHUNT = 1e-2, 1e-12, 1e6


def find(layout: Layout, problem: Problem, state: State, warm: Bools) -> tuple[State, Bools]:
    """Return final states and which lanes are solved (L,); `warm` lanes begin from `state`, others cold."""
    lanes = state.x.shape[0]
    final, solved = state, np.zeros(lanes, dtype=bool)
    if warm.any():
        final, solved = _warm(layout, problem, state, warm)
    for aid in (_raise_sources, _pseudo_time):
        left = np.flatnonzero(~solved)
        if not left.size:
            break
        found, arrived = aid(layout, take_lanes(problem, left), _cold(take_lanes(state, left)))
        final = _merged(final, found, left)
        solved[left] = arrived
    return final, solved


def _plain(layout: Layout, lanes: int) -> Aid:
    return Aid(np.ones((lanes, 1)), np.zeros((lanes, 1)), np.zeros((lanes, layout.size)))


def _warm(layout: Layout, problem: Problem, state: State, warm: Bools) -> tuple[State, Bools]:
    at = np.flatnonzero(warm)
    begun = take_lanes(state, at)
    found, arrived, _ = newton(layout, take_lanes(problem, at), begun, _plain(layout, at.size), iterations=_WARM_ITERATIONS)
    solved = np.zeros(state.x.shape[0], dtype=bool)
    solved[at] = arrived
    return _merged(state, found, at), solved


def _cold(state: State) -> State:
    """Return the state of a circuit without power: all zero, supplies that are on holding their voltage."""
    modes = np.where(state.modes == 3, 3, 0).astype(np.int8)
    return State(np.zeros_like(state.x), np.zeros_like(state.junctions), np.zeros_like(state.loads), modes)


def _merged(into: State, found: State, lanes: Lanes) -> State:
    merged = State(into.x.copy(), into.junctions.copy(), into.loads.copy(), into.modes.copy())
    for name in ("x", "junctions", "loads", "modes"):
        getattr(merged, name)[lanes] = getattr(found, name)
    return merged


def _raise_sources(layout: Layout, problem: Problem, state: State) -> tuple[State, Bools]:
    lanes = state.x.shape[0]
    reached, step = np.zeros(lanes), np.full(lanes, _FIRST_RAMP_STEP)
    while (at := np.flatnonzero((reached < 1.0) & (step >= _LEAST_RAMP_STEP))).size:
        aim = np.minimum(reached[at] + step[at], 1.0)
        aid = Aid(aim[:, None], np.zeros((at.size, 1)), np.zeros((at.size, layout.size)))
        found, arrived, _ = newton(
            layout, take_lanes(problem, at), take_lanes(state, at), aid, iterations=_RAMP_ITERATIONS
        )
        good = at[arrived]
        state = _merged(state, take_lanes(found, np.flatnonzero(arrived)), good)
        reached[good] = aim[arrived]
        step[good] *= 2.0
        step[at[~arrived]] /= 4.0
    return state, reached >= 1.0


def _pseudo_time(layout: Layout, problem: Problem, state: State) -> tuple[State, Bools]:
    lanes = state.x.shape[0]
    shunt, scale, solved = np.full(lanes, _FIRST_SHUNT), np.full(lanes, 0.02), np.zeros(lanes, dtype=bool)
    for _ in range(_PSEUDO_STEPS):
        at = np.flatnonzero(~solved & (shunt <= _LARGEST_SHUNT))
        if not at.size:
            break
        begun = take_lanes(state, at)
        aid = Aid(scale[at, None], shunt[at, None], begun.x[:, :-1])
        found, arrived, _ = newton(layout, take_lanes(problem, at), begun, aid, iterations=_PSEUDO_ITERATIONS)
        good = at[arrived]
        state = _merged(state, take_lanes(found, np.flatnonzero(arrived)), good)
        shunt[at[~arrived]] *= 8.0
        moved = np.abs(found.x[arrived] - begun.x[arrived]).max(axis=1)
        solved[good] = (scale[good] >= 1.0) & (shunt[good] <= 0.0)
        scale[good] = np.minimum(scale[good] * 1.5, 1.0)
        risen = scale[good] >= 1.0
        shunt[good] = np.where(risen, shunt[good] / 3.0, shunt[good])
        shunt[good] = np.where(shunt[good] < _LEAST_SHUNT, 0.0, shunt[good])
    return state, solved
