"""Calibration errors and readings: what a simulated instrument shows for a true value, within its specification.

The error of calibration is drawn once, uniformly within 80 % of the specified bound (JCGM 100 4.3.7 reads such a
bound as a rectangular distribution); the remaining 20 % is room for noise and rounding.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain, count

import numpy as np

__all__ = ["Accuracy", "LinearError", "Readback", "Readout", "drawn", "noise"]

_CALIBRATED_WITHIN = 0.8  # of the bound
_NOISES_AT_ONCE = 32  # one by one they take ten times as long


@dataclass(frozen=True)
class Accuracy:
    """The bound ±(`of_reading` · |value| + `absolute`); `absolute` is in the unit of the value."""

    of_reading: float
    absolute: float

    def bound(self, value: float) -> float:
        """Return the largest error that the specification allows at `value`."""
        return self.of_reading * abs(value) + self.absolute


@dataclass(frozen=True)
class LinearError:
    """One instrument's own calibration: shown = true · (1 + gain) + offset."""

    gain: float
    offset: float

    def of(self, true: float) -> float:
        """Return what the true value appears as."""
        return true * (1.0 + self.gain) + self.offset


@dataclass(frozen=True)
class Readback:
    """How a channel measures: accuracy, rms noise of one reading, and the step it is shown in."""

    accuracy: Accuracy
    noise: float
    resolution: float


def noise(rng: np.random.Generator) -> Iterator[float]:
    """Return normal deviates of mean 0 and standard deviation 1, without end."""
    blocks: Iterator[list[float]] = (rng.standard_normal(_NOISES_AT_ONCE).tolist() for _ in count())
    return chain.from_iterable(blocks)


class Readout:
    """One quantity measured by one instrument: its calibration error and the noise of its readings."""

    def __init__(self, readback: Readback, rng: np.random.Generator) -> None:
        self._readback = readback
        self._error = drawn(readback.accuracy, rng)
        self._noise = noise(rng)

    def read(self, true: float) -> float:
        """Return one reading of a true value."""
        shown = self._error.of(true) + self._readback.noise * next(self._noise)
        return round(shown / self._readback.resolution) * self._readback.resolution


def drawn(accuracy: Accuracy, rng: np.random.Generator) -> LinearError:
    """Draw one instrument's calibration error from its specification."""
    # What `uniform` gives, which takes four times as long for two numbers.
    gain, offset = (2.0 * _CALIBRATED_WITHIN * share - _CALIBRATED_WITHIN for share in rng.random(2).tolist())
    return LinearError(gain * accuracy.of_reading, offset * accuracy.absolute)
