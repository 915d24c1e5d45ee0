"""Turn what an instrument shows into a reading: its random and its common uncertainty, and where it is from.

One place for every performer, so that a simulated board is judged with the uncertainty a real one would be.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from drivers import AccuracyRow, AccuracyTable, OhmsRange, bound, fitting_range, range_of_current, row_for
from station.asks import GND, Drawn, Read, Reading
from station.errors import InputError, NotHere, Unreadable
from station.quantities import format_value
from station.uncertainty import rectangular, resolution

__all__ = [
    "Look",
    "MeterSheet",
    "amps_look",
    "drawn",
    "leads",
    "ohms_look",
    "ripple_look",
    "tested_range",
    "volts_look",
]


@dataclass(frozen=True)
class MeterSheet:
    """What a meter's data sheet says; `resolution` by power-line cycles, as a fraction of the range.

    `name` tells two meters apart: what one has in common with itself it does not share with the other.
    """

    accuracy: AccuracyTable
    resolution: Mapping[float, float]
    name: str = "meter"

    def range_volts(self, expected_volts: float) -> float:
        """Return the range that a reading is taken on."""
        return fitting_range(self._ranges_volts(), expected_volts)

    def resolution_at(self, cycles: float) -> float:
        """Return the resolution of readings this long: that of the longest ones in the sheet that are no longer."""
        known = [each for each in self.resolution if each <= cycles * (1.0 + 1e-9)]
        return self.resolution[max(known, default=min(self.resolution))]

    @property
    def highest_range_volts(self) -> float:
        """The range that an overload is taken on once more."""
        return self._ranges_volts()[-1]

    def _ranges_volts(self) -> list[float]:
        return [row.range for row in self.accuracy.rows if row.function == "voltage"]


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
    """Return the look of a meter on a range, integrating over so many power-line cycles.

    Raises Unreadable where the meter's accuracy on this range is not known: an overload may have led there.
    """
    try:
        row = row_for(sheet.accuracy, "voltage", range_volts)
    except LookupError as error:
        what = f"the bench file says nothing of the meter's accuracy on its {range_volts:g} V range"
        raise Unreadable(f"{what}; write a row of it under 'voltage'") from error
    return Look(row, _u_random(sheet, row, cycles), f"{sheet.name}, {range_volts:g} V range", cycles)


def ohms_look(sheet: MeterSheet, chosen: OhmsRange, cycles: float) -> Look:
    """Return the look of a meter at ohms, two-wire, on a range; NotHere where its accuracy there is not known."""
    at = f"{format_value(chosen.ohms, 'ohm')} range at {format_value(chosen.test_amps, 'A')}"
    try:
        row = row_for(sheet.accuracy, "resistance", chosen.ohms)
    except LookupError as error:
        what = f"the bench file says nothing of the meter's accuracy on its {at}"
        raise NotHere(f"{what}; write a row of it under 'resistance'") from error
    return Look(row, _u_random(sheet, row, cycles), f"{sheet.name}, {at}", cycles)


def ripple_look(sheet: MeterSheet) -> Look:
    """Return the look of a meter at what alternates; it counts as one power-line cycle, none can be chosen.

    Raises NotHere where the meter's accuracy of it is not known.
    """
    try:
        row = row_for(sheet.accuracy, "ripple", 0.0)
    except LookupError as error:
        raise NotHere("the bench file says nothing of the meter's accuracy of ripple; write it as 'ripple'") from error
    return Look(row, math.hypot(row.noise_rms, resolution(row.digit)), f"{sheet.name}, what alternates", 1.0)


def _u_random(sheet: MeterSheet, row: AccuracyRow, cycles: float) -> float:
    return math.hypot(row.noise_rms / math.sqrt(cycles), resolution(sheet.resolution_at(cycles) * row.range))


def leads(ask: Read) -> tuple[str, bool]:
    """Return the terminal that ohms are asked at, and whether the leads are turned round: plus at GND.

    Raises NotHere for ohms between two terminals.
    """
    if GND not in (ask.terminal, ask.against):
        raise NotHere(f"no instrument reads ohms from {ask.terminal} to {ask.against}; one lead has to be at GND")
    return (ask.against, True) if ask.terminal == GND else (ask.terminal, False)


def tested_range(ranges: Sequence[OhmsRange], test_amps: float) -> OhmsRange:
    """Return the range that has a test current; InputError, naming those there are, where none has."""
    try:
        return range_of_current(ranges, test_amps)
    except LookupError as error:
        raise InputError.about(str(error), "write one of these as the step's 'test current'") from error


def amps_look(readback: AccuracyTable, supply: str, channel: int) -> Look:
    """Return the look of a channel of `supply`, as the bench calls it, at its current.

    It counts as one power-line cycle: none can be chosen.
    """
    row = row_for(readback, "current", 0.0)
    u_random = math.hypot(row.noise_rms, resolution(row.digit))
    return Look(row, u_random, f"{supply} channel {channel}, current readback", 1.0)


def drawn(setting: AccuracyTable, amps: float) -> Drawn:
    """Return the answer of a load that was set to a current; one whose input is off draws nothing, exactly."""
    return Drawn(rectangular(bound(row_for(setting, "current", 0.0), amps)) if amps else 0.0)
