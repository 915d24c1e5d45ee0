"""Sums and bounds of many lanes at once are each lane's own, by the pattern of its wiring."""

from collections.abc import Sequence

import numpy as np
import pytest
from scipy.sparse import csr_array

from simulated.circuit.linearise import Stretches
from simulated.circuit.stamps import Bounds
from simulated.circuit.wirings import Patterns

LANES = 40


def where(counts: Sequence[tuple[int, int]]) -> Stretches:
    """Return stretches of (wiring, lanes)."""
    edges = np.cumsum([0, *(lanes for _, lanes in counts)]).tolist()
    return tuple((wiring, slice(edges[at], edges[at + 1])) for at, (wiring, _) in enumerate(counts))


@pytest.mark.parametrize(
    "counts",
    [
        [(0, LANES)],
        [(2, LANES)],
        [(0, 10), (1, 20), (2, 10)],
        [(0, 9), (1, 8), (2, 14), (1, 9)],
        [(1, 12), (3, 12), (0, 16)],  # 3 is wired as 1 is
        [(at % 3, 1) for at in range(LANES)],
    ],
)
def test_each_lane_is_summed_by_the_pattern_of_its_own_wiring(counts: list[tuple[int, int]]) -> None:
    rng = np.random.default_rng(3)
    dense = [np.where(rng.random((5, 7)) < 0.4, rng.choice([-1.0, 1.0], (5, 7)), 0.0) for _ in range(3)]
    dense.append(dense[1])
    values, stretches = rng.normal(size=(7, LANES)), where(counts)

    sums = Patterns([csr_array(each) for each in dense]).sums(stretches, values)

    for wiring, lanes in stretches:
        for lane in range(lanes.start, lanes.stop):
            assert sums[:, lane] == pytest.approx(dense[wiring] @ values[:, lane], abs=1e-12)


def test_a_lane_is_safe_where_its_multipliers_keep_the_bounds_of_its_own_wiring() -> None:
    rng = np.random.default_rng(4)
    each = tuple(rng.uniform(1.0, 3.0, (6, 1)) for _ in range(3))
    bounds, stretches = Bounds(each, np.minimum.reduce(each)), where([(0, 15), (2, 15), (1, 10)])
    multipliers = rng.uniform(-0.9, 0.9, (6, LANES))
    multipliers[3] = rng.uniform(-3.0, 3.0, LANES)  # what some wirings take and others do not
    multipliers[1, 7], multipliers[5, 20], multipliers[0, 30] = np.nan, -np.inf, 50.0

    within = bounds.hold(multipliers, stretches)

    own = np.concatenate(
        [np.repeat(each[wiring], some.stop - some.start, axis=1) for wiring, some in stretches], axis=1
    )
    due = [all(abs(multipliers[row, lane]) <= own[row, lane] for row in range(6)) for lane in range(LANES)]
    assert within.tolist() == due
    assert 5 < sum(due) < LANES - 5


def test_where_all_multipliers_are_small_all_lanes_are_safe() -> None:
    bounds = Bounds((np.full((2, 1), 1.0),), np.full((2, 1), 1.0))

    assert bounds.hold(np.full((2, LANES), -1.0), where([(0, LANES)])).all()
