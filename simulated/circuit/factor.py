"""Factor and solve the sparse matrices of many boards at once: each operation is one row over all boards.

Arrays are (entries, L), boards last and contiguous. An elimination order becomes a list of bound numpy
calls on fixed views, so that factoring is one short loop without any thinking; every board's numbers
are its own whatever stands beside it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .elimination import Order

__all__ = ["Call", "Script", "run"]

Floats = NDArray[np.float64]
Cell = tuple[int, int]
Call = tuple[np.ufunc, Floats, Floats, Floats]  # function, operands, result

_ONE = np.ones(1)


def run(calls: Sequence[Call]) -> None:
    """Carry out bound calls in order."""
    for function, left, right, result in calls:
        function(left, right, result)


@dataclass(frozen=True)
class _Step:
    """One pivot: where its value, its multipliers and its row are, and which entries it is subtracted from."""

    pivot: int
    lower: slice
    upper: slice
    below: tuple[int, ...]
    right: tuple[int, ...]
    updates: tuple[tuple[slice, tuple[slice | int, slice | int]], ...]
    rows: tuple[tuple[slice, slice], ...]  # of a right-hand side, and which multipliers they take
    unknowns: tuple[tuple[slice, slice], ...]  # to the right, and which entries of the row they take


class Script:
    """The elimination of pivots `first` to `last` of an order; entries of later rows and columns are updated too.

    `cells` says which (row, column), counted in the order of elimination, each entry of the values is:
    pivots, then multipliers by column, then rows; the `own` entries of these pivots before all others.
    """

    def __init__(self, order: Order, first: int, last: int) -> None:
        size = order.rows.size
        self.first, self.last = first, last
        own = _cells(order, range(first, last))
        self.own = len(own)
        self.cells = own + _cells(order, range(last, size))
        self._at = {cell: at for at, cell in enumerate(self.cells)}
        self._order = order
        self._steps = [self._step(pivot) for pivot in range(first, last)]
        self.updated = [at for step in self._steps for to, _ in step.updates for at in range(to.start, to.stop)]
        self.lower = slice(last - first, last - first + sum(len(step.below) for step in self._steps))
        self.products = max([1, *(len(step.below) * max(len(step.right), 1) for step in self._steps)])

    def _step(self, pivot: int) -> _Step:
        below, right = self._order.below[pivot], self._order.right[pivot]
        lower = self._at[below[0], pivot] if below else 0
        upper = self._at[pivot, right[0]] if right else 0
        return _Step(
            self._at[pivot, pivot],
            slice(lower, lower + len(below)),
            slice(upper, upper + len(right)),
            below,
            right,
            tuple(self._updates(below, right)),
            self._stretches(below),
            self._stretches(right),
        )

    def _stretches(self, places: tuple[int, ...]) -> tuple[tuple[slice, slice], ...]:
        """Return stretches of a right-hand side that begins with pivot `first`, and where in `places` they are."""
        runs = [(slice(places[start], places[stop - 1] + 1), slice(start, stop)) for start, stop in _runs(places)]
        return tuple((slice(to.start - self.first, to.stop - self.first), place) for to, place in runs)

    def _updates(
        self, below: tuple[int, ...], right: tuple[int, ...]
    ) -> Iterator[tuple[slice, tuple[slice | int, slice | int]]]:
        """Yield target entries and the products that are subtracted from them, in runs as long as storage allows."""
        for at, row in enumerate(below):
            columns = [place for place, column in enumerate(right) if column >= row]
            for start, stop in _runs([self._at[row, right[place]] for place in columns]):
                target = self._at[row, right[columns[start]]]
                yield slice(target, target + stop - start), (at, slice(columns[start], columns[start] + stop - start))
        for at, column in enumerate(right):
            rows = [place for place, row in enumerate(below) if row > column]
            for start, stop in _runs([self._at[below[place], column] for place in rows]):
                target = self._at[below[rows[start]], column]
                yield slice(target, target + stop - start), (slice(rows[start], rows[start] + stop - start), at)

    def factoring(self, values: Floats, reciprocals: Floats) -> list[Call]:
        """Return the calls that turn values (entries, L) into factors in place, and fill 1/pivots (pivots, L)."""
        calls: list[Call] = []
        lanes = values.shape[1]
        products = np.empty((self.products, lanes))
        for at, step in enumerate(self._steps):
            calls.append((np.divide, _ONE, values[step.pivot], reciprocals[at]))
            lower, upper = values[step.lower], values[step.upper]
            if step.below:
                calls.append((np.multiply, lower, reciprocals[at], lower))
            if step.below and step.right:
                outer = products[: len(step.below) * len(step.right)].reshape(len(step.below), len(step.right), lanes)
                calls.append((np.multiply, lower[:, None], upper[None], outer))
                for to, place in step.updates:
                    entries = values[to]
                    calls.append((np.subtract, entries, outer[place], entries))
        return calls

    def forward(self, values: Floats, right: Floats) -> list[Call]:
        """Return the calls that eliminate in a right-hand side (rows, L), in place."""
        calls: list[Call] = []
        products = np.empty((self.products, right.shape[1]))
        for pivot, step in enumerate(self._steps, start=self.first):
            if step.below:
                terms = products[: len(step.below)]
                calls.append((np.multiply, values[step.lower], right[pivot - self.first], terms))
                for to, place in step.rows:
                    rows = right[to]
                    calls.append((np.subtract, rows, terms[place], rows))
        return calls

    def backward(self, values: Floats, reciprocals: Floats, right: Floats) -> list[Call]:
        """Return the calls that turn an eliminated right-hand side into the unknowns, in place.

        Rows behind `last` hold the unknowns that are known already.
        """
        calls: list[Call] = []
        products = np.empty((self.products + max([1, *(len(s.right) for s in self._steps)]), right.shape[1]))
        for pivot, step in reversed([*enumerate(self._steps, start=self.first)]):
            row, upper = right[pivot - self.first], values[step.upper]
            calls += [(np.multiply, upper[place], right[of], products[place]) for of, place in step.unknowns]
            calls += [(np.subtract, row, products[at], row) for at in range(len(step.right))]
            calls.append((np.multiply, row, reciprocals[pivot - self.first], row))
        return calls


def _cells(order: Order, pivots: range) -> list[Cell]:
    """Return the cells of some pivots in the order they are kept in: pivots, columns below, rows to the right."""
    diagonal = [(pivot, pivot) for pivot in pivots]
    lower = [(row, pivot) for pivot in pivots for row in order.below[pivot]]
    return diagonal + lower + [(pivot, column) for pivot in pivots for column in order.right[pivot]]


def _runs(places: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Yield start and stop of each stretch of consecutive places."""
    start = 0
    for at in range(1, len(places) + 1):
        if at == len(places) or places[at] != places[at - 1] + 1:
            yield start, at
            start = at
