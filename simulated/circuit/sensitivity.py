"""Say where boards with spread parts will stand, from the nominal board's solution and its first derivatives.

Newton's method then begins within millivolts and needs about three iterations. Derivatives are taken
for every factor that varies, whatever it is a factor of, by changing each one a little at the fixed
nominal solution: one batch of as many boards as there are factors, and one linear solution.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .devices import take_lanes
from .layout import Layout
from .linearise import Aid, Linearised, Problem, State, across, junction_volts, linearise
from .newton import linear_matrix, source_side
from .parts import Parts

__all__ = ["Centre", "centre_of", "varied"]

Floats = NDArray[np.float64]
Key = tuple[str, str]

_NUDGE = 1e-6  # of each factor; a zener's 6 microvolts are small beside the volts its current grows with
_BLOCK = 64
_LEAST_CURRENT = 0.05  # of the nominal board's, where proportion would have it next to nothing or reversed
_SOURCE_NUDGE = 1e6  # equations are linear in a source's value, which may be next to nothing on the nominal board
# A gain acts by its inverse, the share of current it takes: in that measure a board with half the gain is not far.
_BY_INVERSE = frozenset({"bf", "br"})
_BY_LOGARITHM = frozenset({"is"})


@dataclass(frozen=True)
class Centre:
    """The nominal board's solution under one condition, and how it moves with each factor."""

    x: Floats  # (M + 1,)
    modes: NDArray[np.int8]  # (supplies,)
    keys: tuple[Key, ...]
    moves: Floats  # (K, M + 1), unknowns over factors
    slopes: Floats  # (1, n), of its nonlinear devices
    forward: NDArray[np.intp]  # junctions that conduct
    scale: Floats  # (forward, 1), their N*Vt
    saturation: Floats  # (forward, 1), amps
    volts: Floats  # (forward, 1)

    def bent(self, junctions: Floats, saturation: Floats) -> Floats:
        """Return volts of conducting junctions that follow the logarithm of their currents.

        Currents are what moves in proportion. `junctions` (J, boards) are volts to first order, `saturation`
        (boards or 1, J) the boards' amps.
        """
        onset = self.volts - self.scale * np.log(saturation[:, self.forward].T / self.saturation)
        share = (junctions[self.forward] - onset) / self.scale
        return np.asarray(onset + self.scale * np.log(np.maximum(1.0 + share, _LEAST_CURRENT)))

    def starts(self, parts: Parts) -> Floats:
        """Return where boards will stand to first order, (boards, M + 1)."""
        moved = np.zeros((-(-parts.boards // _BLOCK) * _BLOCK, len(self.keys)))
        for column, key in enumerate(self.keys):
            moved[: parts.boards, column] = _measure(key, parts.factors[key])
        # In blocks of one size, so that a board's sums are the same whatever the number of boards.
        blocks = moved.reshape(-1, _BLOCK, len(self.keys)) @ self.moves
        return np.asarray(blocks.reshape(-1, self.x.size)[: parts.boards] + self.x)


def _measure(key: Key, factor: Floats) -> Floats:
    """Return how far factors are from one, in the measure that unknowns are most nearly linear in."""
    if key[1] in _BY_INVERSE:
        return 1.0 - 1.0 / factor
    return np.log(factor) if key[1] in _BY_LOGARITHM else factor - 1.0


def _linear_currents(layout: Layout, linear: Floats, x: Floats) -> Floats:
    """Return what the linear parts of all boards (L or 1, n) make of the same unknowns, (L or 1, M)."""
    sources, cells, factors = layout.linear.entries
    rows, columns = np.divmod(cells, layout.size)
    currents = np.repeat((layout.fixed @ x[:-1])[:, None], linear.shape[0], axis=1)
    np.add.at(currents, rows, linear[:, sources].T * (factors * x[columns])[:, None])
    return np.ascontiguousarray(currents.T)


def _solution(jacobian: Floats, right: Floats) -> Floats:
    try:
        return np.asarray(np.linalg.solve(jacobian, right), dtype=np.float64)
    except np.linalg.LinAlgError:
        return np.zeros_like(right)


def varied(parts: Parts) -> tuple[Key, ...]:
    """Return the factors that are spread."""
    return tuple(sorted(parts.factors))


def centre_of(
    layout: Layout,
    problem_of: Callable[[Parts], Problem],
    keys: Sequence[Key],
    x: Floats,
    modes: NDArray[np.int8],
) -> Centre:
    """Return the centre at a solution x (M + 1,); `problem_of` makes the problem of other boards of its condition."""
    count = len(keys)
    nudges = np.array([_SOURCE_NUDGE if element[0] in "VI" else _NUDGE for element, _ in keys])
    factors = {key: np.where(np.arange(count + 1) == at, 1.0 + nudges[at], 1.0) for at, key in enumerate(keys)}
    problem = problem_of(Parts(count + 1, factors))  # the last board is nominal
    with np.errstate(all="ignore"):
        residual, line = _residuals(layout, problem, count + 1, x, modes)
        jacobian = linear_matrix(layout, take_lanes(problem.devices, np.array([count])))
        layout.slopes.add(jacobian.reshape(1, -1), line.slopes[-1:])
        change = (residual[:-1] - residual[-1]) / nudges[:, None]
        moves = -_solution(jacobian[0], change.T).T
    padded = np.zeros((count, layout.size + 1))
    padded[:, :-1] = np.where(np.isfinite(moves), moves, 0.0)
    scale, volts = problem.devices.step_scale[-1], line.state.junctions[-1]
    forward = np.flatnonzero(volts > 3.0 * scale)
    rows = scale, problem.devices.saturation[-1], volts
    return Centre(x, modes, tuple(keys), padded, line.slopes[-1:], forward, *(row[forward][:, None] for row in rows))


def _residuals(
    layout: Layout, problem: Problem, boards: int, x: Floats, modes: NDArray[np.int8]
) -> tuple[Floats, Linearised]:
    """Return what is left over of all boards' equations (L, M) at the same unknowns, and their devices there."""
    lanes, modes = np.repeat(x[None], boards, axis=0), np.repeat(modes[None], boards, axis=0)
    state = State(lanes, junction_volts(layout, lanes), across(lanes, layout.load_pairs), modes)
    aid = Aid(np.ones((1, 1)), np.zeros((boards, len(layout.names))), np.zeros((1, layout.size)))
    line = linearise(layout, problem, state, aid, keep=True)
    residual = np.array(np.broadcast_to(_linear_currents(layout, problem.devices.linear, x), (boards, layout.size)))
    layout.currents.add(residual, line.currents)
    return residual - source_side(layout, problem.devices.sources, aid.scale), line
