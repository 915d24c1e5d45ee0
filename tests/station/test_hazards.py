"""What can hurt at a board: the arithmetic against worked examples, and how it is worded."""

import math

import pytest

from station.hazards import Hazard, Hazards, Heat, Store, coulombs, decay_seconds, joules
from tests.station.references import inputs, rows

# worked_examples.csv names the source of each row
WORKED = {row["id"]: (inputs(row), float(row["result"])) for row in rows("worked_examples.csv")}


@pytest.mark.parametrize(("row", "capacitors"), [("SAFE-01", 1), ("SAFE-06", 1), ("SAFE-07", 2)])
def test_energy_is_that_of_the_worked_example(row: str, capacitors: int) -> None:
    given, energy = WORKED[row]
    assert capacitors * joules(given["C"], given["V"]) == pytest.approx(energy, rel=1e-6)


@pytest.mark.parametrize("row", ["SAFE-02", "SAFE-03", "SAFE-08", "SAFE-11"])
def test_decay_is_that_of_the_worked_example(row: str) -> None:
    given, seconds = WORKED[row]
    decay = decay_seconds(given["R"], given["C"], from_volts=given["V0"], to_volts=given["V1"])
    assert decay == pytest.approx(seconds, rel=1e-6)


def test_the_bleeder_of_the_worked_example_takes_its_time() -> None:
    given, ohms = WORKED["SAFE-04"]
    assert decay_seconds(ohms, given["C"], from_volts=given["V0"], to_volts=given["V1"]) == pytest.approx(given["t"])


def test_charge_is_that_of_the_worked_example() -> None:
    given, microcoulombs = WORKED["SAFE-10"]
    assert 1e6 * coulombs(given["C"], given["V"]) == pytest.approx(microcoulombs)


def test_a_capacitor_below_the_voltage_needs_no_time() -> None:
    assert decay_seconds(1e4, 1e-3, from_volts=1.0, to_volts=2.0) == 0.0


def test_rails_add_up_over_all_terminals_and_ground() -> None:
    assert Hazards(volts={"INP": 26.0, "INN": -26.0, "OUTP": 15.0}).widest() == (52.0, "INN", "INP")
    assert Hazards(volts={"INP": 9.0}).widest() == (9.0, "GND", "INP")


# RAW-13 of the sample board: 42.2 V a rail are 84.4 V between rails, above 60 V
@pytest.mark.parametrize(
    ("volts", "told"),
    [
        ({"INP": 42.2, "INN": -42.2}, "Rails add up: up to 84.4 V d.c. from INN to INP, above the 60 V that are hazar"),
        ({"INP": 30.0, "INN": -30.0}, "Rails add up: up to 60 V d.c. from INN to INP: below the 60 V limit for dry"),
        ({"INP": 20.0, "INN": -20.0}, "Rails add up: up to 40 V d.c. from INN to INP: below the 60 V limit for dry"),
        ({"INP": 17.5, "INN": -17.5}, "Rails add up: up to 35 V d.c. from INN to INP: below the limits of 60 V dry an"),
        ({"INP": 9.0}, "Up to 9 V d.c. from GND to INP: below the limits of 60 V dry and 35 V wet."),
        ({}, ""),
    ],
)
def test_volts_are_held_against_the_limits(volts: dict[str, float], told: str) -> None:
    text = Hazards(volts=volts).rails_text()
    assert text[: len(told)] == told and bool(text) == bool(told)


def sample_board(**bleeders: float) -> Hazards:
    """The sample board of SAFE-06 to -08: 4700 uF a rail at 42.2 V, here with a bleeder each."""
    return Hazards(
        stores=tuple(Store(part, 4700e-6, 42.2, ohms) for part, ohms in bleeders.items()), safe_below_volts=10.0
    )


def test_charge_is_told_with_its_energy_and_the_slowest_decay() -> None:
    assert sample_board(C1=2200.0, C2=1100.0).stored_text() == (
        "Capacitors hold up to 8.4 J; C1 takes up to 15 s to fall below 10 V through 2.2 kΩ alone, and a dark LED "
        "proves nothing: measure."
    )


def test_a_capacitor_that_nothing_empties_is_told_as_that() -> None:
    assert "no resistor is sure to empty C2: discharge it" in sample_board(C1=2200.0, C2=math.inf).stored_text()


def test_a_small_capacitor_that_nothing_empties_says_nothing_about_the_waiting() -> None:
    board = Hazards(stores=(Store("C1", 1e-3, 20.0, 1e3), Store("C2", 1e-6, 20.0, math.inf)))
    assert "C1 takes up to 2 s" in board.stored_text()


@pytest.mark.parametrize(("volts", "told"), [(42.2, False), (84.4, True)])
def test_charge_is_hazardous_only_above_the_voltage_limit(volts: float, told: bool) -> None:
    board = Hazards(stores=(Store("C1", 4700e-6, volts, 2200.0),))
    assert ("45 µC" in board.stored_text()) is told


def test_hot_parts_are_named_the_hottest_first_and_cool_ones_are_not() -> None:
    watts = {"R1": 0.2, "Q1": 6.31, "Q2": 6.3, "R2": 0.52, "R3": 0.3}
    told = Hazards(heat={"load sweep": Heat(watts, 7.0)})
    assert told.heat_text("load sweep") == "Hottest by estimate: Q1 6.3 W, Q2 6.3 W, R2 520 mW."
    assert told.heat_text("ramp") == ""
    assert Hazards(heat={"ramp": Heat({"R1": 0.2}, 0.2)}).heat_text("ramp") == ""


def test_a_board_that_gets_too_hot_to_touch_is_told_how_hot() -> None:
    given, celsius = WORKED["THM-07"]
    heat = {"soak": Heat({"Q1": given["P"]}, given["P"])}
    told = Hazards(heat=heat, kelvin_per_watt=given["Rsa"]).heat_text("soak")
    assert f"ends some {celsius - given['Ta']:.0f} K above the room" in told
    assert "above the room" not in Hazards(heat=heat, kelvin_per_watt=5.0).heat_text("soak")


def test_mains_are_told_where_the_sheet_has_them() -> None:
    assert Hazards(mains_volts=230.0).text(Hazard.MAINS).startswith("Mains of 230 V reach this board")
    assert Hazards().text(Hazard.MAINS) == ""


def test_first_power_tells_volts_and_charge() -> None:
    board = Hazards(volts={"INP": 9.0}, stores=(Store("C1", 1e-3, 9.0, 1e3),))
    assert board.text(Hazard.POWER) == f"{board.rails_text()} {board.stored_text()}"
