"""Say how far a share that was counted on a sample can be from the truth: intervals and sample sizes.

Shares are fractions 0..1. An exact interval is never shorter than its confidence says: C. J. Clopper and E. S.
Pearson, Biometrika 26 (1934) 404-413, source from memory. The score interval is E. B. Wilson's, Journal of the
American Statistical Association 22 (1927) 209-212, source from memory.
"""

import math
from dataclasses import dataclass

from scipy.special import betaincinv, ndtri

__all__ = [
    "Estimate",
    "defect_level",
    "exact_interval",
    "finite_population_factor",
    "most_without_a_miss",
    "normal_half_width",
    "sample_for_half_width",
    "wilson_interval",
]


@dataclass(frozen=True)
class Estimate:
    """A share 0..1 and its two-sided interval."""

    value: float
    low: float
    high: float


def exact_interval(found: float, boards: float, *, confidence: float = 0.95) -> Estimate:
    """Return the share found / boards with its exact (Clopper-Pearson) interval.

    Neither need be whole: a weighted sample counts as a smaller plain one. Raises ValueError without any boards, for
    counts out of place, or for a confidence that is not between 0 and 1.
    """
    _check(found, boards, confidence)
    tail = (1.0 - confidence) / 2.0
    low = float(betaincinv(found, boards - found + 1.0, tail)) if found > 0.0 else 0.0
    high = float(betaincinv(found + 1.0, boards - found, 1.0 - tail)) if found < boards else 1.0
    return Estimate(found / boards, low, high)


def wilson_interval(found: float, boards: float, *, confidence: float = 0.95) -> Estimate:
    """Return the share found / boards with its score interval, narrower than the exact one and right on average.

    Raises ValueError as `exact_interval` does.
    """
    _check(found, boards, confidence)
    z, share = _normal(confidence), found / boards
    middle = share + z**2 / (2.0 * boards)
    half = z * math.sqrt(share * (1.0 - share) / boards + z**2 / (4.0 * boards**2))
    scale = 1.0 + z**2 / boards
    # At the ends the score interval begins at 0 or ends at 1 but for rounding.
    return Estimate(
        share,
        low=max(0.0, (middle - half) / scale) if found > 0.0 else 0.0,
        high=min(1.0, (middle + half) / scale) if found < boards else 1.0,
    )


def normal_half_width(share: float, boards: float, *, confidence: float = 0.95) -> float:
    """Return the half-width of the normal interval, for planning; near 0 and 1 it is too narrow."""
    _check(share * boards, boards, confidence)
    return _normal(confidence) * math.sqrt(share * (1.0 - share) / boards)


def finite_population_factor(sample: float, population: float) -> float:
    """Return what a half-width shrinks by when `sample` of `population` are drawn without putting back."""
    if not 1.0 <= sample <= population or population <= 1.0:
        raise ValueError(f"{sample:g} of {population:g} is no sample; draw from 1 to all of two or more")
    return math.sqrt((population - sample) / (population - 1.0))


def sample_for_half_width(share: float, half_width: float, *, confidence: float = 0.95) -> float:
    """Return how many boards give a normal interval of that half-width; round up."""
    if not (0.0 <= share <= 1.0 and half_width > 0.0):
        raise ValueError(
            f"no sample gives {share:g} ± {half_width:g}; write a share within 0..1, a half-width above zero"
        )
    return _normal(confidence) ** 2 * share * (1.0 - share) / half_width**2


def most_without_a_miss(boards: float, *, confidence: float = 0.95) -> float:
    """Return the largest share of misses that a sample without any leaves possible, one-sided: the rule of three.

    The exact form; 3 / boards is near it.
    """
    _check(0.0, boards, confidence)
    return -math.expm1(math.log1p(-confidence) / boards)


def defect_level(*, good: float, coverage: float) -> float:
    """Return the share of faulty boards among those that passed: 1 - good ** (1 - coverage), both 0..1.

    `good` is the share of boards without a fault before the test (its yield). Williams and Brown, IEEE Transactions
    on Computers C-30 (1981), from memory.
    """
    if not (0.0 < good <= 1.0 and 0.0 <= coverage <= 1.0):
        raise ValueError(f"{good:g} good and {coverage:g} covered are no shares; write fractions, good above zero")
    return -math.expm1((1.0 - coverage) * math.log(good))


def _normal(confidence: float) -> float:
    return float(ndtri(0.5 + confidence / 2.0))


def _check(found: float, boards: float, confidence: float) -> None:
    if not (0.0 < boards < math.inf and 0.0 <= found <= boards):
        raise ValueError(f"{found:g} of {boards:g} boards is no share; write 0 to all of at least one board")
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"a confidence of {confidence:g} is none; write a fraction such as 0.95")
