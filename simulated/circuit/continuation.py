"""Lead lanes to their solution when Newton's method alone does not get there, or might get elsewhere.

From cold, sources are raised from zero as at power-up, each step starting from the one before: of two
stable states this finds the one a bench would see. A lane that stalls goes on under pseudo-time: a
shunt from every node to where it was, like a capacitor, taken away as steps succeed, while sources
go on rising. Gmin stepping, shunts to ground, is what this becomes when the anchor stays at zero; it
failed where pseudo-time did not.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .devices import take_lanes
from .ends import SupplyMode
from .layout import Layout
from .linearise import Aid, Problem, State
from .newton import newton

__all__ = ["Found", "find"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Lanes = NDArray[np.intp]

_WARM_ITERATIONS = 25
_RAMP_ITERATIONS = 30
_FIRST_RAMP_STEP = 0.1
_LEAST_RAMP_STEP = 0.01
_PSEUDO_ITERATIONS = 15
_PSEUDO_STEPS = 400
_FIRST_SHUNT, _LEAST_SHUNT, _LARGEST_SHUNT = 1e-2, 1e-12, 1e6  # siemens
_FIRST_PSEUDO_SCALE = 0.02
_LEAST_WEIGHT = 1e-6


@dataclass(frozen=True)
class Found:
    """Final states, which lanes are solved (L,), and the node column that still moved most (L,)."""

    state: State
    solved: Bools
    restless: Lanes


def find(layout: Layout, problem: Problem, state: State, warm: Bools) -> Found:
    """Lead every lane to its solution; `warm` lanes begin from `state`, the others cold."""
    lanes = state.x.shape[0]
    found = Found(state, np.zeros(lanes, dtype=bool), np.zeros(lanes, dtype=np.intp))
    if warm.any():
        found = _put(found, _warm(layout, problem, state, warm), np.flatnonzero(warm))
    for aid in (_raise_sources, _weighted_pseudo_time, _even_pseudo_time):
        left = np.flatnonzero(~found.solved)
        if not left.size:
            break
        found = _put(found, aid(layout, take_lanes(problem, left), _cold(take_lanes(state, left))), left)
    return found


def _put(into: Found, part: Found, lanes: Lanes) -> Found:
    if lanes.size == into.solved.size:
        return part
    solved, restless = into.solved.copy(), into.restless.copy()
    solved[lanes], restless[lanes] = part.solved, part.restless
    return Found(_merged(into.state, part.state, lanes), solved, restless)


def _restless(layout: Layout, steps: Floats) -> Lanes:
    """Return each lane's node with the largest last step, non-finite ones first."""
    moved = np.abs(steps[:, : len(layout.names)])
    return np.asarray(np.where(np.isfinite(moved), moved, np.inf).argmax(axis=1), dtype=np.intp)


def _plain(layout: Layout, lanes: int) -> Aid:
    return Aid(np.ones((lanes, 1)), np.zeros((lanes, len(layout.names))), np.zeros((lanes, layout.size)))


def _warm(layout: Layout, problem: Problem, state: State, warm: Bools) -> Found:
    at = np.flatnonzero(warm)
    aid = _plain(layout, at.size)
    reached, arrived, steps = newton(
        layout, take_lanes(problem, at), take_lanes(state, at), aid, iterations=_WARM_ITERATIONS, fresh=True
    )
    return Found(reached, arrived, _restless(layout, steps))


def _cold(state: State) -> State:
    """Return the state of a circuit without power: all zero, supplies that are on holding their voltage."""
    off = state.modes == SupplyMode.OFF
    modes = np.where(off, SupplyMode.OFF, SupplyMode.VOLTAGE).astype(np.int8)
    return State(np.zeros_like(state.x), np.zeros_like(state.junctions), np.zeros_like(state.loads), modes)


def _merged(into: State, found: State, lanes: Lanes) -> State:
    merged = State(into.x.copy(), into.junctions.copy(), into.loads.copy(), into.modes.copy())
    for name in ("x", "junctions", "loads", "modes"):
        getattr(merged, name)[lanes] = getattr(found, name)
    return merged


def _raise_sources(layout: Layout, problem: Problem, state: State) -> Found:
    lanes = state.x.shape[0]
    reached, step, restless = np.zeros(lanes), np.full(lanes, _FIRST_RAMP_STEP), np.zeros(lanes, dtype=np.intp)
    while (at := np.flatnonzero((reached < 1.0) & (step >= _LEAST_RAMP_STEP))).size:
        aim = np.minimum(reached[at] + step[at], 1.0)
        aid = replace(_plain(layout, at.size), scale=aim[:, None])
        found, arrived, steps = newton(
            layout, take_lanes(problem, at), take_lanes(state, at), aid, iterations=_RAMP_ITERATIONS
        )
        good = at[arrived]
        state = _merged(state, take_lanes(found, np.flatnonzero(arrived)), good)
        reached[good] = aim[arrived]
        step[good] *= 2.0
        step[at[~arrived]] /= 4.0
        restless[at] = _restless(layout, steps)
    return Found(state, reached >= 1.0, restless)


def _even_pseudo_time(layout: Layout, problem: Problem, state: State) -> Found:
    """Every node has the same shunt."""
    return _pseudo_time(layout, problem, state, np.ones((state.x.shape[0], len(layout.names))))


def _weighted_pseudo_time(layout: Layout, problem: Problem, state: State) -> Found:
    """A node's shunt is in proportion to what hangs on it, so that nodes of high resistance are not left behind."""
    nodes = np.arange(len(layout.names))
    weights = np.clip(np.abs(problem.matrix[:, nodes, nodes]), _LEAST_WEIGHT, 1.0)
    return _pseudo_time(layout, problem, state, np.broadcast_to(weights, (state.x.shape[0], nodes.size)))


def _pseudo_time(layout: Layout, problem: Problem, state: State, weights: Floats) -> Found:
    lanes = state.x.shape[0]
    shunt, scale = np.full(lanes, _FIRST_SHUNT), np.full(lanes, _FIRST_PSEUDO_SCALE)
    solved, restless = np.zeros(lanes, dtype=bool), np.zeros(lanes, dtype=np.intp)
    for _ in range(_PSEUDO_STEPS):
        at = np.flatnonzero(~solved & (shunt <= _LARGEST_SHUNT))
        if not at.size:
            break
        begun = take_lanes(state, at)
        aid = Aid(scale[at, None], shunt[at, None] * weights[at], begun.x[:, :-1])
        found, arrived, steps = newton(layout, take_lanes(problem, at), begun, aid, iterations=_PSEUDO_ITERATIONS)
        restless[at] = _restless(layout, steps)
        good = at[arrived]
        state = _merged(state, take_lanes(found, np.flatnonzero(arrived)), good)
        solved[good] = (scale[good] >= 1.0) & (shunt[good] == 0.0)
        shunt[at] = _next_shunt(shunt[at], arrived, scale[at])
        scale[good] = np.minimum(scale[good] * 1.5, 1.0)
    return Found(state, solved, restless)


def _next_shunt(shunt: Floats, arrived: Bools, scale: Floats) -> Floats:
    """Return larger shunts where a step failed, smaller ones where it succeeded at full sources, in the end none."""
    raised = np.maximum(shunt, _LEAST_SHUNT) * 8.0
    lowered = np.where(scale >= 1.0, shunt / 3.0, shunt)
    return np.where(arrived, np.where(lowered < _LEAST_SHUNT, 0.0, lowered), raised)
