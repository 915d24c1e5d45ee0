"""Turn what an instrument shows into a reading: its random and its common uncertainty, and where it is from.

One place for every performer, so that a simulated board is judged with the uncertainty a real one would be.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from drivers import AccuracyRow, AccuracyTable, bound, fitting_range, row_for
from station.asks import Reading
from station.uncertainty import rectangular, resolution

__all__ = ["Look", "MeterSheet", "amps_look", "volts_look"]


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


@dataclass(frozen=True)
class Look:
    """One way of looking at a quantity: an instrument's range and effort, and the uncertainty that goes with them."""

    row: AccuracyRow
    u_random: float
    source: str
    cycles: float

    def reading(self, value: float, seconds: float) -> Reading:
        """Return what was shown (in the row's unit) at a bench time, as a reading."""
        return Reading(value, self.u_random, rectangular(bound(self.row, value)), self.source, self.cycles, seconds)


def volts_look(sheet: MeterSheet, range_volts: float, cycles: float) -> Look:
    """Return the look of a meter on a range, integrating over so many power-line cycles."""
    row = row_for(sheet.accuracy, "voltage", range_volts)
    u_random = math.hypot(row.noise_rms / math.sqrt(cycles), resolution(sheet.resolution[cycles] * range_volts))
    return Look(row, u_random, f"meter, {range_volts:g} V range", cycles)


def amps_look(readback: AccuracyTable, channel: int) -> Look:
    """Return the look of a supply channel at its current; it counts as one power-line cycle, none can be chosen."""
    row = row_for(readback, "current", 0.0)
    u_random = math.hypot(row.noise_rms, resolution(row.digit))
    return Look(row, u_random, f"supply channel {channel}, current readback", 1.0)
