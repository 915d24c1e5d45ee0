"""Work out which share of a board's faults a test catches, and what each of its steps adds to that.

The terms are those of IEEE 2427: the *universe* of defects, the *likelihood* of each, and its *detection*, here the
share of simulated boards with the defect that the test failed. Coverage is the likelihood-weighted ratio
sum(L d) / sum(L); the standard's own text was not read.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from station.proportions import Estimate, exact_interval

__all__ = ["Course", "courses", "detection", "weighted_coverage"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


def detection(caught: ArrayLike, boards: ArrayLike) -> Floats:
    """Return the share of each fault's boards that was caught, shape (faults,); 0 for a fault without any boards.

    A board without a circuit solution is not among `boards`. Raises ValueError where more were caught than there are.
    """
    found, given = np.asarray(caught, float), np.asarray(boards, float)
    if found.shape != given.shape or not ((found >= 0.0) & (found <= given) & (given < math.inf)).all():
        raise ValueError("more boards are caught than there are; give 0 to all of each fault's boards")
    share: Floats = np.divide(found, given, out=np.zeros_like(found), where=given > 0.0)
    return share  # (faults,)


def weighted_coverage(
    weights: ArrayLike,
    caught: ArrayLike,
    boards: ArrayLike,
    *,
    among: ArrayLike | None = None,
    confidence: float = 0.95,
) -> Estimate:
    """Return the likelihood-weighted coverage of a universe, or of the faults `among` it (bools), with its interval.

    All arrays have shape (faults,): weights in any unit, and of `boards` with the fault how many were `caught`. A
    fault without boards (none had a solution) counts in full, and as missed, in the value and in both ends.

    The interval is Clopper and Pearson's on an effective number of boards: Kish's (sum L)^2 / sum(L^2 / n) (L. Kish,
    Survey Sampling, 1965, from memory), or p (1 - p) over the variance that the faults' own shares give, where that
    is less. With equal weights and as many boards each it is the plain interval of all boards together, which is
    wider than it need be, for boards drawn fault by fault scatter less than boards drawn from all. Kish's number
    alone would be too large where one heavy fault is caught half the time and all others always.
    Raises ValueError for weights below zero, for no weight at all, and as `detection` does.
    """
    likely, given = np.asarray(weights, float), np.asarray(boards, float)
    chosen = np.ones(likely.shape, bool) if among is None else np.asarray(among, bool)
    share = detection(caught, boards)
    if not likely.shape == share.shape == chosen.shape or not ((likely >= 0.0) & (likely < math.inf)).all():
        raise ValueError("the weights do not fit the faults; give one of zero or more for each")
    total = math.fsum(likely[chosen])
    if not total > 0.0:
        raise ValueError("none of the faults has any weight; choose some that can happen")
    solved = chosen & (given > 0.0) & (likely > 0.0)
    part = math.fsum(likely[solved]) / total
    if not solved.any():
        return Estimate(0.0, 0.0, 0.0)
    found = _among_solved(likely[solved] / math.fsum(likely[solved]), share[solved], given[solved], confidence)
    return Estimate(part * found.value, part * found.low, part * found.high)


def _among_solved(fractions: Floats, share: Floats, boards: Floats, confidence: float) -> Estimate:
    # fractions, share, boards: (faults,); fractions sum 1, boards above zero
    value = math.fsum(fractions * share)
    if (share == share[0]).all():
        value = float(share[0])  # all or none caught is a special case, so it must be exact
    effective = 1.0 / math.fsum(fractions**2 / boards)
    variance = math.fsum(fractions**2 * share * (1.0 - share) / boards)
    if variance > 0.0:
        effective = min(effective, value * (1.0 - value) / variance)
    return exact_interval(min(value, 1.0) * effective, effective, confidence=confidence)


@dataclass(frozen=True)
class Course:
    """Coverage over bench time for steps in one order: after step `order[i]` comes `seconds[i]`, `coverage[i]`.

    `seconds` add up from the start; coverage is a fraction 0..1.
    """

    order: tuple[int, ...]
    seconds: tuple[float, ...]
    coverage: tuple[float, ...]


def courses(caught: ArrayLike, weights: ArrayLike, seconds: ArrayLike) -> tuple[Course, Course]:
    """Return coverage over time in the profile's order, and in the one that gains fastest for its time.

    `caught`, shape (faults, steps), is the probability that the step by itself catches the fault; `weights`, shape
    (faults,), and `seconds`, shape (steps,), what each step takes. The second order takes the step of the largest
    gain per second first; steps that add nothing come last. It does not know what must come before what.

    Of two steps that catch a fault with p and q, both together are taken to catch it with the larger one: they look
    at the same board. That is a lower bound, and exact where each row is one simulated board (0 or 1) with its
    share of the fault's weight. Raises ValueError where shapes or numbers do not fit.
    """
    chances, likely, costs = (np.asarray(given, float) for given in (caught, weights, seconds))
    if chances.shape != (*likely.shape, *costs.shape) or chances.ndim != 2:
        raise ValueError(f"chances of shape {chances.shape} do not fit; give one for each fault and each step")
    if not ((chances >= 0.0) & (chances <= 1.0)).all():
        raise ValueError("a chance to catch is not within 0..1; give the share of boards that the step failed")
    if not ((costs >= 0.0) & (costs < math.inf)).all():
        raise ValueError("a step takes less than no time, or for ever; give its seconds")
    if not ((likely >= 0.0).all() and 0.0 < likely.sum() < math.inf):
        raise ValueError("the weights are below zero or none; give weights of zero or more that are not all zero")
    fractions = likely / likely.sum()  # (faults,)
    as_written = tuple(range(len(costs)))
    return _course(as_written, chances, fractions, costs), _course(
        _fastest(chances, fractions, costs), chances, fractions, costs
    )


def _course(order: tuple[int, ...], chances: Floats, fractions: Floats, costs: Floats) -> Course:
    ordered = list(order)
    reached = fractions @ np.maximum.accumulate(chances[:, ordered], axis=1)  # (steps,)
    return Course(order, tuple(np.cumsum(costs[ordered]).tolist()), tuple(np.minimum(reached, 1.0).tolist()))


def _fastest(chances: Floats, fractions: Floats, costs: Floats) -> tuple[int, ...]:
    order: list[int] = []
    best = np.zeros(len(fractions))  # (faults,): what the steps taken so far catch
    remaining = list(range(len(costs)))
    while remaining:
        gains = fractions @ np.maximum(chances[:, remaining] - best[:, np.newaxis], 0.0)  # (remaining,)
        # A step that takes no time and gains anything comes first; one that gains nothing waits, however quick.
        free = np.where(gains > 0.0, math.inf, 0.0)
        rates = np.divide(gains, costs[remaining], out=free, where=costs[remaining] > 0.0)
        step = remaining.pop(int(np.argmax(rates)))
        order.append(step)
        best = np.maximum(best, chances[:, step])
    return tuple(order)
