"""Turn what an instrument shows into a reading: its random and its common uncertainty, and where it is from.

One place for every performer, so that a simulated board is judged with the uncertainty a real one would be.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from drivers import AccuracyTable, bound, fitting_range, row_for
from station.asks import Reading
from station.uncertainty import rectangular, resolution

__all__ = ["MeterSheet", "amps_reading", "volts_reading"]


@dataclass(frozen=True)
class MeterSheet:
    """What a meter's data sheet says; `resolution` by power-line cycles, as a fraction of the range."""

    accuracy: AccuracyTable
    resolution: Mapping[float, float]

    def range_volts(self, expected_volts: float) -> float:
        """Return the range that a reading is taken on."""
        return fitting_range([row.range for row in self.accuracy.rows], expected_volts)

    @property
    def highest_range_volts(self) -> float:
        """The range that an overload is taken on once more."""
        return self.accuracy.rows[-1].range


def volts_reading(sheet: MeterSheet, volts: float, range_volts: float, cycles: float, seconds: float) -> Reading:
    """Return a meter's reading on a range, integrated over so many power-line cycles, at a bench time."""
    row = row_for(sheet.accuracy, "voltage", range_volts)
    u_random = math.hypot(row.noise_rms / math.sqrt(cycles), resolution(sheet.resolution[cycles] * range_volts))
    source = f"meter, {range_volts:g} V range"
    return Reading(volts, u_random, rectangular(bound(row, volts)), source, cycles, seconds)


def amps_reading(readback: AccuracyTable, amps: float, channel: int, seconds: float) -> Reading:
    """Return a supply channel's reading of its own current; it counts as one power-line cycle, none can be chosen."""
    row = row_for(readback, "current", 0.0)
    u_random = math.hypot(row.noise_rms, resolution(row.digit))
    source = f"supply channel {channel}, current readback"
    return Reading(amps, u_random, rectangular(bound(row, amps)), source, 1.0, seconds)
