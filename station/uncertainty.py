"""Combine standard uncertainties, keeping apart what readings share and what they do not (JCGM 100:2008).

A reading's random part is its own; its common part (the instrument's calibration on one range) is the same
error in every reading of that source, so it adds up in a sum and cancels in a difference.
"""

import math
from collections.abc import Iterable

import msgspec
from msgspec.structs import replace

from station.asks import Reading
from station.quantities import Limit

__all__ = ["Result", "less_leads", "linear", "measured", "rectangular", "resolution"]


class Result(msgspec.Struct, frozen=True):
    """A value to be judged, with its combined standard uncertainty and the effort behind it."""

    value: float
    u: float
    effort: float | None = None


def rectangular(bound: float) -> float:
    """Return the standard uncertainty of an error known to lie within ± bound: a/√3 (JCGM 100, 4.3.7)."""
    return bound / math.sqrt(3.0)


def resolution(digit: float) -> float:
    """Return the standard uncertainty of reading to full steps of `digit`: δ/(2√3) (JCGM 100, F.2.2.1)."""
    return rectangular(digit / 2.0)


def measured(reading: Reading) -> Result:
    """Return a single reading as a result: both parts in quadrature (JCGM 100, 5.1.2)."""
    return Result(reading.value, math.hypot(reading.u_random, reading.u_common), reading.effort)


def less_leads(reading: Reading, leads: Limit) -> Reading:
    """Return ohms less those of the leads they were read through; how far these are off is in every such reading."""
    assert leads.nominal is not None and leads.high is not None and leads.low is not None
    doubt = rectangular(float(max(leads.high - leads.nominal, leads.nominal - leads.low)))
    value, u_common = reading.value - float(leads.nominal), math.hypot(reading.u_common, doubt)
    return replace(reading, value=value, u_common=u_common)


def linear(terms: Iterable[tuple[float, Reading]], *, offset: float = 0.0) -> Result:
    """Return offset + Σ c·reading with its uncertainty (JCGM 100, 5.2.2).

    Random parts add in quadrature. Common parts of one source are fully correlated, so they add with sign first; so
    do the factors of one and the same reading that stands in several terms.
    """
    factors: dict[int, tuple[float, Reading]] = {}
    for factor, reading in terms:
        before, _ = factors.get(id(reading), (0.0, reading))
        factors[id(reading)] = (before + factor, reading)
    value, random_squared = offset, 0.0
    common: dict[str, float] = {}
    for factor, reading in factors.values():
        value += factor * reading.value
        random_squared += (factor * reading.u_random) ** 2
        common[reading.source] = common.get(reading.source, 0.0) + factor * reading.u_common
    u = math.sqrt(random_squared + sum(part * part for part in common.values()))
    return Result(value, u, min((reading.effort for _, reading in factors.values()), default=None))
