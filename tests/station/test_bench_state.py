"""What is said of a bench before it is used: calibration, and how well it holds the limits of a profile."""

from datetime import date

import pytest

from drivers import Supply, dialect, dialect_names, open_links
from station.bench_state import Grip, grips, looked_at
from station.calibration import calibration_facts, calibration_note, untraceable
from station.opening import opened_inside
from station.simulated_file import simulated_file
from tests.benches import full_profile
from tests.station.boards import RAMP, profile_of
from tests.station.test_benchfile import BENCH, bench_of


@pytest.mark.parametrize(
    ("today", "note"),
    [
        (date(2026, 4, 1), ""),
        (date(2027, 2, 28), ""),
        (date(2027, 3, 1), "its calibration K-17 is due on 2027-03-31"),  # thirty days before
        (date(2027, 3, 31), "its calibration K-17 is due on 2027-03-31"),
        (date(2027, 4, 1), "its calibration K-17 is past due since 2027-03-31"),
    ],
)
def test_a_calibration_is_warned_of_thirty_days_before_it_is_due(today: date, note: str) -> None:
    assert calibration_note(bench_of().form.supplies["psu"].calibration, today) == note


def test_no_calibration_is_told() -> None:
    assert calibration_note(None, date(2026, 4, 1)).startswith("no calibration is given")


def test_a_test_is_untraceable_where_a_calibration_was_past_due_on_its_day_or_never_done() -> None:
    form = bench_of().form
    facts = {"calibrations": calibration_facts({"psu": form.supplies["psu"].calibration, "dmm": None})}
    assert untraceable(facts, date(2027, 3, 31)) == ["dmm had no calibration"]
    assert untraceable(facts, date(2027, 4, 1)) == [
        "the calibration K-17 of psu was past due since 2027-03-31",
        "dmm had no calibration",
    ]


def held(limit: str, quantity: str = "voltage", terminal: str = "OUTP") -> Grip:
    profile = profile_of(RAMP, f"measure: {{{terminal}: {{{quantity}: {limit}}}}}")
    (grip,) = (each for each in grips(bench_of(BENCH).form, profile) if each.line.name == quantity)
    return grip


def test_a_limit_is_held_by_its_half_width_over_the_expanded_uncertainty() -> None:
    """On the 100 V range at 15.15 V: 45 ppm of reading and 6 ppm of range is 1.28 mV, rectangular; U = 2 u."""
    grip = held("15 V ± 1 %")
    expanded = 2.0 * (15.15 * 45e-6 + 100.0 * 6e-6) / 3.0**0.5
    assert grip.expanded == pytest.approx(expanded, rel=0.01)  # noise at ten power-line cycles adds little
    assert grip.ratio == pytest.approx(0.15 / expanded, rel=0.01)


def test_a_narrower_limit_is_held_less_well() -> None:
    assert held("15 V ± 0.01 %").ratio == pytest.approx(held("15 V ± 1 %").ratio / 100.0, rel=0.02)


def test_a_current_is_held_as_well_as_the_supplys_readback_tells_it() -> None:
    """0.1 % of 20.5 mA and five counts of 0.1 mA are a bound of 0.52 mA, rectangular; U = 2 u."""
    grip = held("16.5 mA .. 20.5 mA", "current", "INP")
    assert grip.expanded == pytest.approx(2.0 * (20.5e-6 + 0.5e-3) / 3.0**0.5, rel=0.01)


def test_what_is_no_single_reading_or_has_one_side_only_is_left_out() -> None:
    profile = profile_of(RAMP, "line sweep: {inputs: 19 V .. 26 V, OUTP: {line regulation: at most 1 %/V}}")
    assert list(grips(bench_of().form, profile)) == []


SUPPLIES = [name for name in dialect_names() if dialect(name).instrument == "supply"]


@pytest.mark.parametrize("name", SUPPLIES)
@pytest.mark.parametrize("on", [False, True])
def test_a_look_tells_what_a_supply_does_in_every_dialect_and_changes_nothing(name: str, on: bool) -> None:
    board, spoken = full_profile().board, {"supply": name}
    with opened_inside(board, 1, (), nominal=True, dialects=spoken) as inside, open_links() as links:
        form = simulated_file(board, inside.resources, dialects=spoken).form
        if on:
            session = links.open(inside.resources["supply"], name="before")
            driver = Supply(session, dialect(name), wait=inside.clock.advance, unprotected=True)
            driver.prepare(1, over_volts=20.0, over_amps_delay_seconds=0.5)
            driver.set_output(1, volts=5.0, limit_amps=2.5)  # charged before any protection minds
            driver.switch(1, True)
            inside.clock.advance(0.5)
        before = inside.supply.outputs()
        (state,) = (each for each in looked_at(form, date(2026, 11, 28)) if each.name == "supply")
        assert state.trouble == ""
        assert any("channel 1 is on" in warning for warning in state.warnings) is on
        told = "can't say whether it is on" if name == "serial words" else "constant voltage" if on else "off"
        assert told in state.facts[0]
        assert inside.supply.outputs() == before
