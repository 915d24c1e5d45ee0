"""Lead lanes to their solution when Newton's method alone does not get there, or might get elsewhere.

From cold, sources are raised from zero as at power-up, each step starting from the one before: of two
stable states this finds the one a bench would see. A lane that stalls goes on under pseudo-time: a
shunt from every node to where it was, like a capacitor, taken away as steps succeed, while sources
go on rising. Gmin stepping, shunts to ground, is what this becomes when the anchor stays at zero; it
failed where pseudo-time did not.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .devices import Devices, take_lanes
from .ends import SupplyMode
from .layout import Layout
from .linearise import Aid, Problem, State, stretches

__all__ = ["Found", "Newton", "find"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Lanes = NDArray[np.intp]
Layouts = Sequence[Layout]  # of the same unknowns and devices, one for each way lanes are wired

Newton = Callable[..., tuple[State, Bools, Floats]]  # (problem, state, aid, iterations=, fresh=), dense or sparse

_WARM_ITERATIONS = 40
_RAMP_ITERATIONS = 30
_FIRST_RAMP_STEP = 0.05
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


def find(layouts: Layouts, newton: Newton, problem: Problem, state: State, warm: Bools) -> Found:
    """Lead every lane to its solution; `warm` lanes begin from `state`, the others cold."""
    lanes = state.x.shape[0]
    found = Found(state, np.zeros(lanes, dtype=bool), np.zeros(lanes, dtype=np.intp))
    if warm.any():
        found = _put(found, _warm(layouts[0], newton, problem, state, warm), np.flatnonzero(warm))
    for aid in (_raise_sources, _weighted_pseudo_time, _even_pseudo_time):
        left = np.flatnonzero(~found.solved)
        if not left.size:
            break
        found = _put(found, aid(layouts, newton, take_lanes(problem, left), _cold(take_lanes(state, left))), left)
    return found


def _put(into: Found, part: Found, lanes: Lanes) -> Found:
    if lanes.size == into.solved.size:
        return part
    solved, restless = into.solved.copy(), into.restless.copy()
    solved[lanes], restless[lanes] = part.solved, part.restless
    return Found(_merged(into.state, part.state, lanes), solved, restless)


def _restless(layout: Layout, arrived: Bools, steps: Floats) -> Lanes:
    """Return the node with the largest last step in lanes that did not arrive, non-finite ones first."""
    restless, left = np.zeros(arrived.size, dtype=np.intp), np.flatnonzero(~arrived)
    moved = np.abs(steps[left, : len(layout.names)])
    restless[left] = np.where(np.isfinite(moved), moved, np.inf).argmax(axis=1)
    return restless


def _plain(layout: Layout, lanes: int) -> Aid:
    return Aid(np.ones((lanes, 1)), np.zeros((lanes, len(layout.names))), np.zeros((lanes, layout.size)))


def _warm(layout: Layout, newton: Newton, problem: Problem, state: State, warm: Bools) -> Found:
    at = np.flatnonzero(warm)
    if at.size < warm.size:
        problem, state = take_lanes(problem, at), take_lanes(state, at)
    reached, arrived, steps = newton(problem, state, _plain(layout, at.size), iterations=_WARM_ITERATIONS, fresh=True)
    return Found(reached, arrived, _restless(layout, arrived, steps))


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


def _raise_sources(layouts: Layouts, newton: Newton, problem: Problem, state: State) -> Found:
    layout, lanes = layouts[0], state.x.shape[0]
    reached, step, restless = np.zeros(lanes), np.full(lanes, _FIRST_RAMP_STEP), np.zeros(lanes, dtype=np.intp)
    while (at := np.flatnonzero((reached < 1.0) & (step >= _LEAST_RAMP_STEP))).size:
        aim = np.minimum(reached[at] + step[at], 1.0)
        aid = replace(_plain(layout, at.size), scale=aim[:, None])
        found, arrived, steps = newton(take_lanes(problem, at), take_lanes(state, at), aid, iterations=_RAMP_ITERATIONS)
        good = at[arrived]
        state = _merged(state, take_lanes(found, np.flatnonzero(arrived)), good)
        reached[good] = aim[arrived]
        step[good] *= 2.0
        step[at[~arrived]] /= 4.0
        restless[at[~arrived]] = _restless(layout, arrived, steps)[~arrived]
    return Found(state, reached >= 1.0, restless)


def _even_pseudo_time(layouts: Layouts, newton: Newton, problem: Problem, state: State) -> Found:
    """Every node has the same shunt."""
    layout = layouts[0]
    return _pseudo_time(layout, newton, problem, state, np.ones((state.x.shape[0], len(layout.names))))


def _weighted_pseudo_time(layouts: Layouts, newton: Newton, problem: Problem, state: State) -> Found:
    """A node's shunt is in proportion to what hangs on it, so that nodes of high resistance are not left behind."""
    layout, lanes = layouts[0], state.x.shape[0]
    weights = np.empty((lanes, len(layout.names)))
    for wiring, some in stretches(problem.wirings, lanes):
        devices = take_lanes(problem.devices, np.arange(some.start, some.stop))
        weights[some] = np.clip(np.abs(_conductances(layouts[wiring], devices)), _LEAST_WEIGHT, 1.0)
    return _pseudo_time(layout, newton, problem, state, weights)


def _conductances(layout: Layout, devices: Devices) -> Floats:
    """Return the siemens that linear parts put on each node's diagonal, (L, nodes)."""
    nodes = len(layout.names)
    found = np.repeat(layout.fixed.diagonal()[None, :nodes], devices.linear.shape[0], axis=0)
    for source, target, factor in zip(*layout.linear.entries, strict=True):
        row, column = divmod(int(target), layout.size)
        if row == column < nodes:
            found[:, row] += factor * devices.linear[:, source]
    return found


def _pseudo_time(layout: Layout, newton: Newton, problem: Problem, state: State, weights: Floats) -> Found:
    lanes = state.x.shape[0]
    shunt, scale = np.full(lanes, _FIRST_SHUNT), np.full(lanes, _FIRST_PSEUDO_SCALE)
    solved, restless = np.zeros(lanes, dtype=bool), np.zeros(lanes, dtype=np.intp)
    for _ in range(_PSEUDO_STEPS):
        at = np.flatnonzero(~solved & (shunt <= _LARGEST_SHUNT))
        if not at.size:
            break
        begun = take_lanes(state, at)
        aid = Aid(scale[at, None], shunt[at, None] * weights[at], begun.x[:, :-1])
        found, arrived, steps = newton(take_lanes(problem, at), begun, aid, iterations=_PSEUDO_ITERATIONS)
        restless[at[~arrived]] = _restless(layout, arrived, steps)[~arrived]
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
