"""Add device values into rows of a matrix or vector, for all boards at once.

Which value goes where with which sign is known when a circuit is built; at each Newton step the
sums are one gather and one segmented sum, each lane for itself, so that a lane's result never
depends on how many lanes stand beside it.
"""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

__all__ = ["Scatter"]

Floats = NDArray[np.float64]
Places = NDArray[np.intp]


class Scatter:
    """A fixed pattern of (source column, target position, factor); targets below zero are dropped."""

    def __init__(self, entries: Iterable[tuple[int, int, float]]) -> None:
        kept = sorted((target, source, factor) for source, target, factor in entries if target >= 0)
        self._sources = np.array([source for _, source, _ in kept], dtype=np.intp)
        self._factors = np.array([factor for _, _, factor in kept])
        self._all_targets = np.array([target for target, _, _ in kept], dtype=np.intp)
        self._targets, self._starts = np.unique(self._all_targets, return_index=True)

    def moved(self, sources: Places, targets: Places) -> "Scatter":
        """Return the same pattern between other columns: `sources` and `targets` say where each old one goes."""
        moved = Scatter(())
        order = np.lexsort((sources[self._sources], targets[self._all_targets]))
        moved._sources, moved._factors = sources[self._sources][order], self._factors[order]
        moved._all_targets = targets[self._all_targets][order]
        moved._targets, moved._starts = np.unique(moved._all_targets, return_index=True)
        return moved

    @property
    def entries(self) -> tuple[Places, Places, Floats]:
        """Source columns, target positions and factors, sorted by target."""
        return self._sources, self._all_targets, self._factors

    def add(self, into: Floats, values: Floats) -> None:
        """Add `values` (L, sources) into `into` (L, targets), in place."""
        if self._sources.size:
            gathered = values.take(self._sources, axis=1)
            gathered *= self._factors
            into[:, self._targets] += np.add.reduceat(gathered, self._starts, axis=1)
