"""How a simulated meter turns true volts into a reading: ranges, accuracy, noise, resolution, integration time.

The figures describe no instrument that exists; they are those of the 6½-digit class, from memory.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from simulated.instruments.accuracy import Accuracy, drawn, noise
from simulated.instruments.answers import OVERLOAD

__all__ = [
    "DOWN_RANGE",
    "EFFORTS",
    "LINE_HERTZ",
    "METER_RANGES",
    "OVER_RANGE",
    "Converter",
    "MeterRange",
    "effort_for",
    "effort_of_share",
    "effort_resolving",
    "hunted_range",
    "integration_seconds",
    "noise_share",
    "range_for",
]

LINE_HERTZ = 50.0
OVER_RANGE = 1.2  # a range reads to 120 % of its name
DOWN_RANGE = 0.1  # autorange goes down below a tenth of it


@dataclass(frozen=True)
class MeterRange:
    """One range: accuracy as fractions of reading and of range, noise as fractions of range.

    `noise` is the rms of one reading at 1 power-line cycle; it falls with the root of the cycles down to `floor`.
    """

    volts: float
    of_reading: float
    of_range: float
    noise: float
    floor: float

    def noise_volts(self, cycles: float) -> float:
        """Return the rms noise of one reading in volts."""
        return self.volts * noise_share(self.noise, self.floor, cycles)


METER_RANGES = (
    MeterRange(volts=0.1, of_reading=50e-6, of_range=35e-6, noise=3.0e-6, floor=0.5e-6),
    MeterRange(volts=1.0, of_reading=40e-6, of_range=7e-6, noise=1.0e-6, floor=0.2e-6),
    MeterRange(volts=10.0, of_reading=35e-6, of_range=5e-6, noise=1.0e-6, floor=0.2e-6),
    MeterRange(volts=100.0, of_reading=45e-6, of_range=6e-6, noise=1.0e-6, floor=0.2e-6),
    MeterRange(volts=1000.0, of_reading=45e-6, of_range=10e-6, noise=1.0e-6, floor=0.2e-6),
)

EFFORTS = {0.02: 1e-5, 0.2: 3e-6, 1.0: 1e-6, 10.0: 3e-7, 100.0: 1e-7}
"""Integration in power-line cycles, and the resolution it gives as a fraction of the range."""


class Converter:
    """One meter's own calibration and noise; every range has its own error."""

    def __init__(self, rng: np.random.Generator) -> None:
        self._errors = [drawn(Accuracy(each.of_reading, each.of_range * each.volts), rng) for each in METER_RANGES]
        self._noise = noise(rng)

    def read(self, true_volts: float, *, range_number: int, cycles: float) -> float:
        """Return one reading on the range numbered `range_number`; ±9.9E37 beyond 120 % of it."""
        most, noise_volts, step = _scale(range_number, cycles)
        if abs(true_volts) > most:
            return OVERLOAD if true_volts > 0 else -OVERLOAD
        return round((self._errors[range_number].of(true_volts) + noise_volts * next(self._noise)) / step) * step


@lru_cache(maxsize=64)
def _scale(range_number: int, cycles: float) -> tuple[float, float, float]:
    """Return the most that a range reads, the rms noise of one reading, and the step it is shown in (volts)."""
    each = METER_RANGES[range_number]
    return OVER_RANGE * each.volts, each.noise_volts(cycles), EFFORTS[cycles] * each.volts


def noise_share(at_one_cycle: float, floor: float, cycles: float) -> float:
    """Return the rms noise of one reading: it falls with the root of the cycles, down to a floor."""
    return max(floor, at_one_cycle / math.sqrt(cycles))


@lru_cache(maxsize=64)
def range_for(volts: float) -> int:
    """Return the number of the lowest range that is named at least `volts`."""
    return next(at for at, each in enumerate(METER_RANGES) if abs(volts) <= each.volts)


def hunted_range(true_volts: float, *, range_number: int) -> int:
    """Return the range that autorange goes to from the one numbered `range_number`."""
    while range_number < len(METER_RANGES) - 1 and abs(true_volts) > OVER_RANGE * METER_RANGES[range_number].volts:
        range_number += 1
    while range_number > 0 and abs(true_volts) < DOWN_RANGE * METER_RANGES[range_number].volts:
        range_number -= 1
    return range_number


def effort_for(cycles: float) -> float:
    """Return the shortest integration of at least `cycles` power-line cycles."""
    return next(effort for effort in EFFORTS if cycles <= effort)


def effort_resolving(volts: float, *, range_number: int) -> float:
    """Return the shortest integration that resolves `volts` on a range, the longest if none does."""
    return effort_of_share(volts / METER_RANGES[range_number].volts)


def effort_of_share(fraction: float) -> float:
    """Return the shortest integration that resolves a fraction of the range, the longest if none does."""
    # The tolerance takes away the dust of the division.
    return next((effort for effort, step in EFFORTS.items() if step <= fraction * (1 + 1e-9)), max(EFFORTS))


def integration_seconds(cycles: float, *, autozero: bool) -> float:
    """Return what one reading takes: autozero measures its own zero for as long again."""
    return cycles / LINE_HERTZ * (2.0 if autozero else 1.0)
