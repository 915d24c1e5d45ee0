"""Find, once per circuit, an order of elimination that stays sparse and is safe in any state of the circuit.

A circuit may be wired in several ways, a fault in each: one order then serves all of them.

Equations and unknowns are paired off by Markowitz's rule: of all pairs whose coefficient is not small
beside the others of its column, the one that spoils the fewest zeros. Diagonals get no preference,
for branch equations and the nodes of controlled sources have none worth dividing by. "Not small" is
judged on several made-up states at once, from all junctions off to all conducting, so that the same
order serves a circuit at rest, at work and with a fault in it. What is linear goes first.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .layout import Layout

__all__ = ["Order", "elimination_order"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Places = NDArray[np.intp]

_STATES = 4
_MOST_UNKNOWNS = 300  # the search looks at all that is left of the matrix for each pivot: beyond this too long
_SMALL, _SMALLEST = 1e-2, 1e-9  # beside the largest coefficient of a column: what will do, and what must do
_OTHERS = 0.1  # so much smaller it may be in the usual state of wirings other than the first
_RARER = 1e-3  # so much smaller it may be in states other than the usual one


@dataclass(frozen=True)
class Order:
    """Pivots in the order of elimination; `below` and `right` count in that order too.

    The first `linear` pivots have no nonlinear device in their row or column. `below[k]` are the rows
    that pivot k is subtracted from, `right[k]` the columns its row reaches, fill-in included.
    """

    rows: Places  # equation of each pivot
    columns: Places  # unknown of each pivot
    sizes: Floats  # (wirings, M), of the coefficients of each pivot's equation
    linear: int
    below: tuple[tuple[int, ...], ...]
    right: tuple[tuple[int, ...], ...]


def elimination_order(layouts: Sequence[Layout], linear: Sequence[Floats], usual: Floats | None = None) -> Order | None:
    """Return the order for nominal `linear` values (1, n), or None where no order is safe or the circuit is large.

    `layouts` are of the same unknowns and devices, wired in different ways. `usual` are the slopes (1, n) of the
    state most boards of the first will be in, where it is known.
    """
    if layouts[0].size > _MOST_UNKNOWNS:
        return None
    slopes = _made_up_slopes(layouts[0])
    states = [_states(layout, values, slopes) for layout, values in zip(layouts, linear, strict=True)]
    if usual is not None:
        states[0][:1] = _states(layouts[0], linear[0], usual)
    if not all(np.isfinite(some).all() for some in states):
        return None
    nonlinear = np.logical_or.reduce([_nonlinear(layout) for layout in layouts])
    pattern = np.logical_or.reduce([_linear(layout, values) for layout, values in zip(layouts, linear, strict=True)])
    return _Search(np.array(states), pattern | nonlinear, nonlinear).order()


def _states(layout: Layout, linear: Floats, slopes: Floats) -> Floats:
    """Return the matrices (states, M, M) at made-up slopes (states, n)."""
    matrix = layout.fixed[None].copy()
    layout.linear.add(matrix.reshape(1, -1), linear)
    states = np.repeat(matrix, slopes.shape[0], axis=0)
    layout.slopes.add(states.reshape(slopes.shape[0], -1), slopes)
    return states


def _linear(layout: Layout, linear: Floats) -> Bools:
    """Return where linear parts add to the matrix."""
    cells = np.where(layout.fixed != 0.0, 1.0, 0.0).reshape(1, -1)
    layout.linear.add(cells, linear)
    return np.asarray((cells != 0.0).reshape(layout.size, layout.size))


def _nonlinear(layout: Layout) -> Bools:
    """Return where a nonlinear device adds to the matrix; shunts stay while Newton iterates and do not count."""
    values = np.random.default_rng(2).uniform(1.0, 2.0, (1, layout.slope_count))  # nothing may cancel by chance
    values[:, layout.slope_count - len(layout.names) :] = 0.0
    cells = np.zeros((1, layout.size**2))
    layout.slopes.add(cells, values)
    return np.asarray((cells != 0.0).reshape(layout.size, layout.size))


def _made_up_slopes(layout: Layout) -> Floats:
    """Return slopes of states no solver has to find first.

    The usual one has transistors at a milliampere and diodes off, the next all off, others anything.
    """
    rng = np.random.default_rng(1)
    diodes = 10.0 ** rng.uniform(-12.0, 0.0, (_STATES, layout.diodes))
    gain = 10.0 ** rng.uniform(-10.0, 0.0, (_STATES, layout.transistors))
    diodes[0], gain[0] = 1e-10, 4e-2
    diodes[1], gain[1] = 1e-12, 1e-12
    saturated = np.array([0.0, 0.0, 0.5, 1e-4])[:, None] * gain  # how far the collector junction conducts
    rest = [
        np.full((_STATES, layout.base_pairs[0].size), 1e-2),
        np.full((_STATES, layout.load_pairs[0].size), 1e-3),
        np.full((_STATES, layout.supply_pairs[0].size), 1.0),
        np.full((_STATES, layout.supply_pairs[0].size), 1e-9),
        np.zeros((_STATES, len(layout.names))),
    ]
    transistors = [gain, -saturated - 1e-3 * gain, gain / 100 + 1e-12, saturated / 2 + 1e-12]
    return np.concatenate([diodes, *transistors, *rest], axis=1)


class _Search:
    """Pairs equations with unknowns, one pivot after the other; what is left of the matrix is what `pattern` has."""

    def __init__(self, states: Floats, pattern: Bools, nonlinear: Bools) -> None:
        largest = np.abs(states).max(axis=3, keepdims=True)
        largest = np.where(largest > 0.0, largest, 1.0)
        # Equations in units of their own: an amplifier's microsiemens are as good as a track's siemens.
        scaled = (states / largest).reshape(-1, *pattern.shape)
        self._states, self._pattern = np.ascontiguousarray(scaled.transpose(1, 2, 0)), pattern.copy()  # (M, M, states)
        self._sizes = np.exp(np.log(largest[:, :, :, 0]).mean(axis=1))
        rows, columns = np.asarray(nonlinear.any(axis=1)), np.asarray(nonlinear.any(axis=0))
        self._linear = ~rows[:, None] & ~columns
        self._pivots: list[tuple[int, int, Places, Places]] = []

    def order(self) -> Order | None:
        """Return the whole order, or None when only hopeless pivots are left."""
        size = self._pattern.shape[0]
        while len(self._pivots) < size and (pivot := self._next(_SMALL, only_linear=True)) is not None:
            self._eliminate(*pivot)
        linear = len(self._pivots)
        while len(self._pivots) < size:
            small = _SMALL
            while (pivot := self._next(small, only_linear=False)) is None:
                small /= 10.0
                if small < _SMALLEST:
                    return None
            self._eliminate(*pivot)
        return self._told(linear)

    def _next(self, small: float, *, only_linear: bool) -> tuple[int, int] | None:
        columns, rows = np.nonzero(self._pattern.T)  # column by column
        if not rows.size:
            return None
        magnitude = np.abs(self._states[rows, columns])
        first = np.flatnonzero(np.diff(columns, prepend=-1))
        largest = np.maximum.reduceat(magnitude, first, axis=0)
        largest = np.where(largest > 0.0, largest, 1.0)
        share = magnitude / np.repeat(largest, np.diff(first, append=columns.size), axis=0)
        fits = (share[:, 0] >= small) & (share.min(axis=1) >= small * _RARER)
        fits &= share[:, ::_STATES].min(axis=1) >= small * _OTHERS
        if only_linear:
            fits &= self._linear[rows, columns]
        if not fits.any():
            return None
        spoiled = (self._pattern.sum(axis=1)[rows] - 1) * (self._pattern.sum(axis=0)[columns] - 1)
        cost = np.where(fits, spoiled - 0.5 * share[:, 0], np.inf)
        best = np.flatnonzero(cost == cost.min())
        at = best[rows[best].argmin()]
        return int(rows[at]), int(columns[at])

    def _eliminate(self, row: int, column: int) -> None:
        below, right = np.flatnonzero(self._pattern[:, column]), np.flatnonzero(self._pattern[row])
        below, right = below[below != row], right[right != column]
        self._pivots.append((row, column, below, right))
        factors = self._states[below, column] / self._states[row, column]
        self._states[np.ix_(below, right)] -= factors[:, None] * self._states[row, right]
        self._pattern[np.ix_(below, right)] = True
        self._pattern[row], self._pattern[:, column] = False, False

    def _told(self, linear: int) -> Order:
        rows = np.array([row for row, _, _, _ in self._pivots], dtype=np.intp)
        columns = np.array([column for _, column, _, _ in self._pivots], dtype=np.intp)
        row_at, column_at = np.argsort(rows), np.argsort(columns)
        below = tuple(tuple(sorted(row_at[below].tolist())) for _, _, below, _ in self._pivots)
        right = tuple(tuple(sorted(column_at[right].tolist())) for _, _, _, right in self._pivots)
        return Order(rows, columns, self._sizes[:, rows], linear, below, right)
