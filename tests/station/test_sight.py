"""What a fault shows at the terminals, whatever a profile reads."""

from functools import cache

import pytest

from station.profile import Profile
from station.sight import Seen, condition_text, looking, place_text
from station.workers import Workers
from tests.dividers import NETLIST, divider
from tests.station.boards import twin
from tests.station.proving import adj3t

FAULTS = ("C2:open", "XU1.DZ:cold:38", "XU1.in-out:short", "C1:short", "DLED2:open", "RV1:end:1")


@cache
def shown() -> dict[str, Seen]:
    """What faults of adj3t show."""
    with Workers(1, lambda: False) as workers:
        return looking(adj3t(), FAULTS, 1, workers)()


def seen_on(profile: Profile, fault: str) -> Seen:
    with Workers(1, lambda: False) as workers:
        return looking(profile, [fault], 1, workers)()[fault]


def test_a_capacitor_that_is_missing_shows_in_no_steady_reading() -> None:
    assert shown()["C2:open"] == Seen(visible=False, differs=False)


def test_a_drifted_reference_shows_at_its_probe_where_the_trimmed_rail_hides_it() -> None:
    drifted = shown()["XU1.DZ:cold:38"]
    assert (drifted.visible, drifted.terminal, drifted.quantity) == (True, "TP1", "voltage")
    assert drifted.harm == ()


def test_a_dark_led_shows_in_the_current() -> None:
    assert (shown()["DLED2:open"].terminal, shown()["DLED2:open"].quantity) == ("INP", "current")


def test_a_rail_beyond_its_ceiling_is_the_harm_before_all_else() -> None:
    assert shown()["XU1.in-out:short"].harm == ("OUTP at 15.3 V with 16 V in, no load, never above 14 V",)


def test_a_rail_off_its_rating_is_told_where_it_is_so_first() -> None:
    (harm,) = shown()["C1:short"].harm
    assert harm.startswith("OUTP at ") and harm.endswith("mV with 16 V in, no load")


def test_a_fault_within_what_tolerance_explains_differs_and_is_not_visible() -> None:
    """Of a kilohm of 1 %: one ohm more moves 5 V by 2.5 mV, less than the doubt; five by 12 mV; sixty by 150 mV."""
    assert seen_on(divider(), "R1:cold:5") == Seen(visible=False, differs=True)
    assert not seen_on(divider(), "R1:cold:12").visible  # on some boards it is, on most it is not
    assert seen_on(divider(), "R1:cold:60").visible
    assert seen_on(divider(), "R1:cold:1") == Seen(visible=False, differs=False)


def test_a_redundant_part_may_be_missing_unseen() -> None:
    two = NETLIST + "R4 outp out2 0.001\nR5 outp out2 0.001\nR6 out2 0 1meg\n"
    assert seen_on(divider(netlist=two), "R4:open") == Seen(visible=False, differs=False)
    assert seen_on(divider(netlist=two), "R2:open").visible


def test_a_fault_is_looked_at_alike_in_any_company() -> None:
    assert seen_on(adj3t(), "C1:short") == shown()["C1:short"]


def test_nothing_is_said_of_what_was_not_looked_at() -> None:
    with Workers(1, lambda: True) as stopped:
        assert looking(divider(), ["R1:open"], 1, stopped)() == {}


@pytest.mark.parametrize(
    ("column", "place"),
    [(0, ("INP", "voltage")), (3, ("OUTN", "voltage")), (4, ("TP1", "voltage")), (6, ("INN", "current"))],
)
def test_columns_are_terminals_inputs_first_and_then_the_inputs_currents(column: int, place: tuple[str, str]) -> None:
    assert place_text(twin(), column) == place


def test_a_condition_is_told_by_its_magnitudes_and_by_the_loads_that_draw() -> None:
    fed = ("INP", 24.2), ("INN", -24.2)
    assert condition_text((fed, (("OUTP", 1.0), ("OUTN", 0.0)))) == "24.2 V in, OUTP 1 A"
    assert condition_text((fed, ())) == "24.2 V in, no load"
