"""Multiply values of many lanes with sparse patterns where lanes are wired in several ways.

Lanes of one wiring stand together, so that each wiring's pattern takes one stretch of lanes, together with its
neighbours' where it is the same. Where stretches are short, all of them are one large sparse matrix: a call for
each would take longer than its sums.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from .linearise import Stretches

__all__ = ["Patterns"]

Floats = NDArray[np.float64]

_SHORT = 8  # lanes of a stretch, on average
_MOST_KEPT = 16


class Patterns:
    """One pattern, as each wiring has it; sums of a lane are the same bits however they are made."""

    def __init__(self, each: Sequence[csr_array]) -> None:
        self.each = tuple(each)
        kinds = dict[object, int]()
        self._kinds = [kinds.setdefault(_content(pattern), at) for at, pattern in enumerate(each)]  # the first alike
        self._joined: dict[object, csr_array] = {}

    def sums(self, where: Stretches, values: Floats) -> Floats:
        """Return each lane's values (n, L) summed by the pattern of its wiring, (rows, L)."""
        where = self._alike(where)
        if len(where) == 1:
            return np.asarray(self.each[where[0][0]] @ values)
        lanes = where[-1][1].stop
        values = np.broadcast_to(values, (values.shape[0], lanes))
        if lanes < _SHORT * len(where):
            return np.asarray((self._whole(where) @ values.T.reshape(-1)).reshape(lanes, -1).T)
        # One pattern for all lanes, and anew those few that have another, are fewer copies.
        usual = self._usual(where)
        sums = np.asarray(self.each[usual] @ values)
        for wiring, some in where:
            if wiring != usual:
                sums[:, some] = self.each[wiring] @ values[:, some]
        return sums

    def _usual(self, where: Stretches) -> int:
        """Return the wiring that most lanes have."""
        lanes = dict[int, int]()
        for wiring, some in where:
            lanes[wiring] = lanes.get(wiring, 0) + some.stop - some.start
        return max(lanes, key=lambda wiring: lanes[wiring])

    def _alike(self, where: Stretches) -> Stretches:
        """Return stretches of lanes whose patterns are the same, each by the first wiring that has it."""
        if len(where) == 1:
            return where
        alike, begun = list[tuple[int, slice]](), 0
        kinds = [self._kinds[wiring] for wiring, _ in where]
        for at, (_, some) in enumerate(where):
            if at + 1 == len(where) or kinds[at + 1] != kinds[at]:
                alike.append((kinds[at], slice(begun, some.stop)))
                begun = some.stop
        return tuple(alike)

    def _whole(self, where: Stretches) -> csr_array:
        """Return the patterns of all lanes along the diagonal of one matrix."""
        wirings = np.repeat([wiring for wiring, _ in where], [some.stop - some.start for _, some in where])
        key = wirings.tobytes()
        if key not in self._joined:
            if len(self._joined) >= _MOST_KEPT:
                self._joined = {}
            self._joined[key] = _diagonal([self.each[wiring] for wiring in wirings])
        return self._joined[key]


def _diagonal(blocks: Sequence[csr_array]) -> csr_array:
    rows, columns = blocks[0].shape
    ends = np.cumsum([0, *(block.nnz for block in blocks)])
    shifts = np.repeat(columns * np.arange(len(blocks)), np.diff(ends))
    indices = np.concatenate([block.indices for block in blocks]) + shifts
    starts = np.concatenate([[0], np.concatenate([block.indptr[1:] for block in blocks]) + np.repeat(ends[:-1], rows)])
    data = np.concatenate([block.data for block in blocks])
    return csr_array((data, indices, starts), (rows * len(blocks), columns * len(blocks)))


def _content(pattern: csr_array) -> object:
    return pattern.shape, pattern.indptr.tobytes(), pattern.indices.tobytes(), pattern.data.tobytes()
