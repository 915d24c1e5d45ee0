"""What a dry run says of a board's dangers, against figures worked out by hand from its netlist."""

from functools import cache

import pytest

from station.hazards import Hazards
from station.profile import load_profile
from station.rehearsal import rehearsed
from tests.commands import FULL


@cache
def hazards_of(board: str) -> Hazards:
    return rehearsed(load_profile(FULL.parents[1] / board / "full.yaml")).hazards


def test_dual15_has_its_rails_add_up_to_both_highest_inputs() -> None:
    assert hazards_of("dual15").widest() == (52.0, "INN", "INP")  # the line sweep goes to 26 V on both
    assert hazards_of("adj3t").widest() == (20.0, "GND", "INP")


def test_dual15_holds_what_its_capacitors_hold_at_their_highest() -> None:
    by_part = {store.part: store for store in hazards_of("dual15").stores}
    energy = 2.0 * 0.5 * (2200e-6 * 26.0**2 + 100e-6 * 15.0**2)  # the small ones add some 40 uJ
    assert sum(store.joules for store in by_part.values()) == pytest.approx(energy, rel=0.01)
    assert by_part["C101"].bleed_ohms == pytest.approx(10e3, rel=1e-3)  # R101, by way of the LED
    # 2.2 kohm, 2.7 kohm by way of its LED, and the divider of 8.2, 1 and 4.7 kohm, side by side
    divider = 8.2e3 + 1e3 + 1.0 + 4.7e3
    assert by_part["C105"].bleed_ohms == pytest.approx(1.0 / (1 / 2.2e3 + 1 / 2.7e3 + 1 / divider), rel=1e-3)


def test_the_pass_transistor_burns_what_is_left_between_input_and_output() -> None:
    # (Vin - Vout) I at nominal input and full load, less what the fuse and R106 (0.51 ohm) take; some 20 mA more
    heat = hazards_of("dual15").heat["load sweep"]
    assert heat.watts["R106"] == pytest.approx(0.51 * 1.0**2, rel=0.05)
    assert heat.watts["Q101"] == pytest.approx((22.0 - 15.0) * 1.0 - (0.15 + 0.51) * 1.0**2, rel=0.05)
    assert max(heat.watts, key=heat.watts.__getitem__) in ("Q101", "Q201")


def test_an_overload_burns_more_than_full_load() -> None:
    for board in ("dual15", "adj3t"):
        heat = hazards_of(board).heat
        assert heat["overload"].total_watts > 1.3 * heat["load sweep"].total_watts


def test_a_board_at_rest_has_no_hot_part() -> None:
    assert hazards_of("dual15").heat_text("no load") == ""
