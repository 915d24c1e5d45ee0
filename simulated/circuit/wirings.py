"""Multiply values of many lanes with sparse patterns where lanes are wired in several ways.

Lanes of one wiring stand together, so that each wiring's pattern takes one stretch of lanes.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from .linearise import Stretches

__all__ = ["product"]

Floats = NDArray[np.float64]


def product(patterns: Sequence[csr_array], where: Stretches, values: Floats) -> Floats:
    """Return each lane's values (n, L) summed by the pattern of its wiring; shared values (n, 1) may stay shared."""
    if len(where) == 1:
        return np.asarray(patterns[where[0][0]] @ values)
    sums = np.empty((patterns[0].shape[0], where[-1][1].stop))
    shared = values.shape[1] == 1
    for wiring, lanes in where:
        sums[:, lanes] = patterns[wiring] @ (values if shared else values[:, lanes])
    return sums
