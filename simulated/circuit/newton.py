"""Solve the circuit's equations by Newton's method, every board in a lane of its own.

Lanes that have arrived are taken out of the batch and frozen; nothing a lane does reaches another.
Arrays are (L, ...), L being the lanes still at work; `x` has one more column than there are
unknowns, for ground, which is always zero.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from .devices import Devices, take_lanes
from .ends import next_modes
from .layout import Layout
from .linearise import Aid, Linearised, Problem, State, across, junction_volts, linearise, stretches

__all__ = ["ABSURD_AMPS", "allowed", "dense_solution", "linear_matrix", "newton", "newton_by_wiring", "source_side"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_RELATIVE = 1e-6
_ABSOLUTE = 1e-9  # volts and amps
# What goes on moving within so many times that, after all iterations, is rounding: where next to nothing conducts,
# the last bit of a neighbour's amperes is microvolts.
_ROUNDING = 10.0
ABSURD_AMPS = 1e7


def newton(
    layout: Layout, problem: Problem, state: State, aid: Aid, *, iterations: int, fresh: bool = False
) -> tuple[State, Bools, Floats]:
    """Return the state, which lanes arrived (L,), and each lane's last step (L, M), NaN-free where arrived.

    `fresh` means the junction voltages are a first guess and not those of `x`.
    """
    lanes = np.arange(state.x.shape[0])
    final, arrived = _copied(state), np.zeros(lanes.size, dtype=bool)
    last_step = np.full((lanes.size, layout.size), np.inf)
    # In one order of memory, however they came: sums of a lane are then the same in any company.
    working, right = _copied(state), source_side(layout, problem.devices.sources, aid.scale)
    with np.errstate(all="ignore"):
        for iteration in range(iterations):
            line = linearise(layout, problem, working, aid, keep=fresh and iteration == 0)
            step = _step(layout, problem, line, aid, right)
            x = working.x.copy()
            x[:, :-1] += step
            modes = _modes(layout, problem, line, x, aid)
            last = iteration == iterations - 1
            small = (np.abs(step) <= allowed(x[:, :-1], last=last)).all(axis=1)
            settled = small & ~line.cut & (modes == line.state.modes).all(axis=1) & _sane(line)
            working = replace(line.state, x=x, modes=modes)
            lost = ~np.isfinite(x).all(axis=1)
            done = settled | lost
            if done.any() or last:
                _store(final, working, lanes)
                last_step[lanes] = step
                arrived[lanes[settled & ~lost]] = True
                kept = np.flatnonzero(~done)
                if not kept.size:
                    break
                if kept.size == lanes.size:
                    continue
                lanes = lanes[kept]
                working, problem, aid = take_lanes(working, kept), take_lanes(problem, kept), take_lanes(aid, kept)
                right = take_lanes(right, kept)
        final = replace(final, junctions=junction_volts(layout, final.x))
    return final, arrived, last_step


def newton_by_wiring(
    layouts: Sequence[Layout], problem: Problem, state: State, aid: Aid, *, iterations: int, fresh: bool = False
) -> tuple[State, Bools, Floats]:
    """Return what `newton` returns for lanes that are wired as several layouts say; the matrix is made here."""
    found = []
    for wiring, some in stretches(problem.wirings, state.x.shape[0]):
        at, layout = np.arange(some.start, some.stop), layouts[wiring]
        part = take_lanes(problem, at)
        part = replace(part, matrix=linear_matrix(layout, part.devices))
        begun, under = take_lanes(state, at), take_lanes(aid, at)
        found.append(newton(layout, part, begun, under, iterations=iterations, fresh=fresh))
    states, arrived, steps = zip(*found, strict=True)
    names = ("x", "junctions", "loads", "modes")
    rows = (np.concatenate([getattr(each, name) for each in states]) for name in names)
    return State(*rows), np.concatenate(arrived), np.concatenate(steps)


def _copied(state: State) -> State:
    return State(state.x.copy(), state.junctions.copy(), state.loads.copy(), state.modes.copy())


def _store(final: State, working: State, lanes: NDArray[np.intp]) -> None:
    for name in ("x", "junctions", "loads", "modes"):
        getattr(final, name)[lanes] = getattr(working, name)


def allowed(x: Floats, *, last: bool) -> Floats:
    """Return how far a step to `x` may go and count as none, in volts and amps; `last`: no iteration will follow."""
    within = _ABSOLUTE + _RELATIVE * np.abs(x)
    return within * _ROUNDING if last else within


def _sane(line: Linearised) -> Bools:
    """Whether device currents are a circuit's: a junction straight across a source of volts has no solution."""
    return np.asarray((np.abs(line.currents) < ABSURD_AMPS).all(axis=1))


def _step(layout: Layout, problem: Problem, line: Linearised, aid: Aid, right: Floats) -> Floats:
    """Return the Newton step (L, M); lanes whose matrix is singular get NaN."""
    x = line.state.x[:, :-1]
    lanes = x.shape[0]
    residual = np.matmul(problem.matrix, x[:, :, None])[:, :, 0]
    layout.currents.add(residual, line.currents)
    residual -= right
    nodes = len(layout.names)
    residual[:, :nodes] += aid.shunt * (x - aid.anchor)[:, :nodes]
    matrix = problem.matrix
    jacobian = matrix.copy() if matrix.shape[0] == lanes else np.repeat(matrix, lanes, axis=0)
    layout.slopes.add(jacobian.reshape(lanes, -1), line.slopes)
    return -dense_solution(jacobian, residual)


def source_side(layout: Layout, sources: Floats, scale: Floats) -> Floats:
    """Return the right-hand side that sources make, scaled, (L or 1, M)."""
    values = sources * scale
    right = np.zeros((values.shape[0], layout.size))
    layout.sources.add(right, values)
    return right


def linear_matrix(layout: Layout, devices: Devices) -> Floats:
    """Return the matrix of all that is linear, (L, M, M), L being one where all boards are alike."""
    size = layout.size
    matrix = np.repeat(layout.fixed[None], devices.linear.shape[0], axis=0)
    layout.linear.add(matrix.reshape(-1, size * size), devices.linear)
    return matrix


def dense_solution(jacobian: Floats, residual: Floats) -> Floats:
    """Return the solution (L, M) of each lane's equations, NaN where they are singular and leave it open."""
    try:
        return np.asarray(np.linalg.solve(jacobian, residual[:, :, None])[:, :, 0], dtype=np.float64)
    except np.linalg.LinAlgError:
        if jacobian.shape[0] == 1:
            return _undetermined(jacobian[0])[None]
        rows = [
            dense_solution(jacobian[lane : lane + 1], residual[lane : lane + 1]) for lane in range(jacobian.shape[0])
        ]
        return np.concatenate(rows)


def _undetermined(jacobian: Floats) -> Floats:
    """Return zeros (M,) with NaN at the unknowns that a singular matrix leaves open: its null direction shows them."""
    if not np.isfinite(jacobian).all():
        return np.full(jacobian.shape[0], np.nan)
    direction = np.abs(np.linalg.svd(jacobian)[2][-1])
    # Volts beside amps: a node may be a millionth of its branch current, far above the dust of the decomposition.
    return np.where(direction > 1e-9 * direction.max(), np.nan, 0.0)


def _modes(layout: Layout, problem: Problem, line: Linearised, x: Floats, aid: Aid) -> NDArray[np.int8]:
    """Return the supplies' next modes; a lane whose junctions were cut has no trustworthy currents yet."""
    modes = line.state.modes
    if not modes.shape[1]:
        return modes
    settings = problem.supply_volts * aid.scale, problem.supply_amps
    after = next_modes(modes, across(x, layout.supply_pairs), x[:, layout.first_supply : -1], settings)
    return np.where(line.cut[:, None], modes, after)
