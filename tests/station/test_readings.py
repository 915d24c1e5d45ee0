"""What a data sheet says of a look; where it says nothing there is no reading, never one without its doubt."""

import pytest

from drivers import AccuracyRow, AccuracyTable, OhmsRange
from station.errors import NotHere, Unreadable
from station.readings import MeterSheet, amps_look, ohms_look, volts_look
from station.uncertainty import resolution

SHEET = MeterSheet(AccuracyTable((AccuracyRow("voltage", 10.0, 35e-6, 5e-6),)), {0.02: 1e-5, 1.0: 1e-6})


def test_an_overload_that_leads_to_a_range_without_figures_is_no_reading() -> None:
    with pytest.raises(Unreadable, match="its 1000 V range; write a row of it under 'voltage'") as refused:
        volts_look(SHEET, 1000.0, 1.0)
    assert not isinstance(refused.value, NotHere)  # the board may have done it: the run does not pass over it


def test_a_meter_without_figures_for_ohms_reads_none_here() -> None:
    with pytest.raises(NotHere, match="accuracy on its 1 kΩ range at 1 mA; write a row of it under 'resistance'"):
        ohms_look(SHEET, OhmsRange(1e3, 1e-3), 1.0)


@pytest.mark.parametrize(("cycles", "share"), [(0.02, 1e-5), (0.2, 1e-5), (1.0, 1e-6), (10.0, 1e-6), (0.01, 1e-5)])
def test_a_reading_resolves_what_the_next_shorter_one_in_the_sheet_does(cycles: float, share: float) -> None:
    assert volts_look(SHEET, 10.0, cycles).u_random == pytest.approx(resolution(share * 10.0))


def test_two_supplies_share_no_error_though_their_channels_have_one_number() -> None:
    table = AccuracyTable((AccuracyRow("current", 0.0, 1e-3, 0.0),))
    sources = {amps_look(table, *of).source for of in (("psu", 1), ("psu", 2), ("psu b", 1))}
    assert len(sources) == 3
