"""How a simulated meter measures ohms, two-wire: it drives a test current and reads the volts that result.

The current is the range's own and flows while the function is resistance and an input is connected, whether a reading
is taken or not; it falls where more than the compliance volts would be needed. The figures describe no instrument
that exists; they are those of the 6½-digit class, from memory.
"""

from dataclasses import dataclass

import numpy as np

from simulated.instruments.accuracy import Accuracy, drawn, noise
from simulated.instruments.answers import OVERLOAD
from simulated.instruments.converter import DOWN_RANGE, EFFORTS, OVER_RANGE, noise_share

__all__ = ["COMPLIANCE_VOLTS", "OHMS_RANGES", "OhmsConverter", "OhmsRange", "OhmsSettings", "hunted", "ohms_range_for"]

COMPLIANCE_VOLTS = 5.0
_NOISE, _FLOOR = 3e-6, 0.5e-6  # rms of one reading at 1 power-line cycle, and its least, as fractions of range


@dataclass(frozen=True)
class OhmsRange:
    """One range: its test current, and its accuracy as fractions of reading and of range."""

    ohms: float
    amps: float
    of_reading: float
    of_range: float


OHMS_RANGES = (
    OhmsRange(ohms=100.0, amps=1e-3, of_reading=100e-6, of_range=40e-6),
    OhmsRange(ohms=1e3, amps=1e-3, of_reading=100e-6, of_range=10e-6),
    OhmsRange(ohms=10e3, amps=100e-6, of_reading=100e-6, of_range=10e-6),
    OhmsRange(ohms=100e3, amps=10e-6, of_reading=100e-6, of_range=10e-6),
    OhmsRange(ohms=1e6, amps=1e-6, of_reading=100e-6, of_range=10e-6),
)


@dataclass(frozen=True)
class OhmsSettings:
    """How ohms are measured; the defaults are those of *RST. `range_number` counts from the lowest range."""

    autorange: bool = True
    range_number: int = len(OHMS_RANGES) - 1
    cycles: float = 10.0

    @property
    def range(self) -> OhmsRange:
        """The range itself."""
        return OHMS_RANGES[self.range_number]


class OhmsConverter:
    """One meter's own calibration and noise on ohms; every range has its own error."""

    def __init__(self, rng: np.random.Generator) -> None:
        self._errors = [drawn(Accuracy(each.of_reading, each.of_range * each.ohms), rng) for each in OHMS_RANGES]
        self._noise = noise(rng)

    def read(self, volts: float, *, range_number: int, cycles: float) -> float:
        """Return one reading for the volts that a range's test current drives; ±9.9E37 beyond 120 % of the range.

        Volts that a charged capacitor adds or takes away are read as ohms like any others, below zero too.
        """
        each = OHMS_RANGES[range_number]
        ohms = volts / each.amps
        if abs(ohms) > OVER_RANGE * each.ohms:
            return OVERLOAD if ohms > 0.0 else -OVERLOAD
        noise_ohms = each.ohms * noise_share(_NOISE, _FLOOR, cycles) * next(self._noise)
        step = EFFORTS[cycles] * each.ohms
        return round((self._errors[range_number].of(ohms) + noise_ohms) / step) * step


def ohms_range_for(ohms: float) -> int:
    """Return the number of the lowest range that is named at least `ohms`."""
    return next(at for at, each in enumerate(OHMS_RANGES) if ohms <= each.ohms)


def hunted(volts: float, *, range_number: int) -> int:
    """Return the next range that autorange tries, the same where it stays."""
    share = abs(volts) / OHMS_RANGES[range_number].amps / OHMS_RANGES[range_number].ohms
    if share > OVER_RANGE and range_number < len(OHMS_RANGES) - 1:
        return range_number + 1
    return range_number - 1 if share < DOWN_RANGE and range_number > 0 else range_number
