"""The steps that move the input or the load: line sweep, load sweep."""

import math
from itertools import pairwise

import pytest

from station.asks import Draw, Feed, Read, Wait
from station.lines import Outcome
from station.steps.sweeping import line_regulation, load_regulation, spaced
from tests.station.boards import step_of
from tests.station.references import inputs, rows
from tests.station.scripts import Script, answer, reading

# worked_examples.csv names the source and the convention of each row
WORKED = {row["id"]: (inputs(row), float(row["result"])) for row in rows("worked_examples.csv")}


def test_line_regulation_is_a_share_per_volt_of_input() -> None:
    given, percent_per_volt = WORKED["LIN-01"]
    low = given["Vout"]
    points = [(20.0, reading(low)), (20.0 + given["dVin"], reading(low + given["dVout"]))]
    assert 100.0 * line_regulation(points, nominal_volts=20.0).value == pytest.approx(percent_per_volt)


def test_line_regulation_takes_the_whole_span_over_the_value_at_nominal_input() -> None:
    given, span_percent = WORKED["LIN-06"]
    points = [(19.0, reading(given["VL"])), (22.0, reading(given["VN"])), (26.0, reading(given["VH"]))]
    assert 100.0 * 7.0 * line_regulation(points, nominal_volts=22.0).value == pytest.approx(span_percent)


def test_line_regulation_sees_a_hump_between_the_ends() -> None:
    points = [(19.0, reading(15.0)), (22.0, reading(15.3)), (25.0, reading(15.0))]
    assert line_regulation(points, nominal_volts=19.0).value == pytest.approx(0.3 / 15.0 / 6.0)


def test_load_regulation_is_a_share_of_the_voltage_at_the_lightest_load() -> None:
    given, percent = WORKED["LOAD-03"]
    points = [(0.0, reading(given["Vmin_load"])), (1.0, reading(given["Vmax_load"]))]
    assert 100.0 * load_regulation(points).value == pytest.approx(percent)
    assert 100.0 * load_regulation(points).value != pytest.approx(WORKED["LOAD-01"][1])  # the textbook's base


def test_load_regulation_takes_the_largest_change() -> None:
    points = [(0.0, reading(15.0)), (0.5, reading(14.7)), (1.0, reading(14.9))]
    assert load_regulation(points).value == pytest.approx(0.02)


def test_a_rail_that_rises_with_its_load_has_a_regulation_too() -> None:
    assert load_regulation([(0.0, reading(15.0)), (1.0, reading(15.3))]).value == pytest.approx(0.02)


def test_a_negative_rail_has_the_regulation_of_its_mirror_image() -> None:
    positive = [(0.0, reading(15.0)), (1.0, reading(14.7))]
    negative = [(0.0, reading(-15.0)), (1.0, reading(-14.7))]
    assert load_regulation(negative).value == pytest.approx(load_regulation(positive).value)
    assert load_regulation(negative).u == pytest.approx(load_regulation(positive).u)
    assert line_regulation(negative, 0.0).value == pytest.approx(line_regulation(positive, 0.0).value)


def test_what_the_meter_shares_cancels_in_a_regulation() -> None:
    """One calibration error of 1 mV in both readings moves a change of 20 mV in 15 V by next to nothing."""
    points = [(0.0, reading(15.0, 0.0, common=1e-3)), (1.0, reading(14.98, 0.0, common=1e-3))]
    assert load_regulation(points).u < 1e-3 / 15.0 * 0.002


def test_what_two_readings_do_not_share_is_the_doubt_of_a_regulation() -> None:
    points = [(0.0, reading(15.0, 1e-4)), (1.0, reading(14.98, 1e-4))]
    assert load_regulation(points).u == pytest.approx(math.sqrt(2.0) * 1e-4 / 15.0, rel=0.01)


def test_a_collapsed_rail_keeps_its_doubt_in_proportion() -> None:
    """regulation = 1 - V/V0: the derivative to V0 is V/V0², not 1/V0."""
    points = [(0.0, reading(15.0, 1e-2)), (1.0, reading(3.0, 0.0))]
    assert load_regulation(points).u == pytest.approx(1e-2 * 3.0 / 15.0**2)


def test_a_dead_rail_has_no_regulation_at_all() -> None:
    assert load_regulation([(0.0, reading(0.0)), (1.0, reading(0.0))]).value == 1.0


@pytest.mark.parametrize(("low", "high", "points"), [(19.0, 26.0, 8), (0.0, 1.0, 6), (0.1, 0.7, 4)])
def test_points_are_even_and_end_exactly(low: float, high: float, points: int) -> None:
    found = spaced(low, high, points)
    assert (found[0], found[-1], len(found)) == (low, high, points)
    assert [b - a for a, b in pairwise(found)] == pytest.approx([(high - low) / (points - 1)] * (points - 1))


line_sweep = step_of("line sweep: {inputs: 19 V .. 25 V, points: 4, OUTP: {line regulation: at most 0.1 %/V}}")
load_sweep = step_of("load sweep: {current limit: 1.3 A, OUTP: {to: 1 A, points: 3, load regulation: at most 0.5 %}}")


def test_a_line_sweep_moves_both_inputs_and_returns_to_nominal() -> None:
    told = answer(line_sweep, Script())
    assert [ask.volts for ask in told.of(Feed, "INP")] == [19.0, 21.0, 23.0, 25.0, 22.0]
    assert [ask.volts for ask in told.of(Feed, "INN")] == [-19.0, -21.0, -23.0, -25.0, -22.0]
    assert told.of(Draw) == []


def test_a_line_sweep_under_load_takes_its_load_off_again() -> None:
    loaded = step_of(
        "line sweep: {inputs: 19 V .. 25 V, points: 2, load: 0.1 A, OUTP: {line regulation: at most 1 %/V}}"
    )
    assert [ask.amps for ask in answer(loaded, Script()).of(Draw)] == [0.1, 0.1, 0.0]


@pytest.mark.parametrize(
    ("last", "outcome"), [(15.01, Outcome.PASSED), (15.09, Outcome.UNDECIDED), (15.2, Outcome.FAILED)]
)
def test_a_line_sweep_judges_its_regulation(last: float, outcome: Outcome) -> None:
    """0.1 %/V over 6 V of 15 V are 90 mV."""
    told = answer(line_sweep, Script(volts={"OUTP": [15.0, 15.0, 15.0, last]}))
    assert told.judged("line regulation").outcome is outcome


def test_a_load_sweep_draws_the_lightest_load_first_and_none_at_the_end() -> None:
    assert [ask.amps for ask in answer(load_sweep, Script()).of(Draw)] == [0.0, 0.5, 1.0, 0.0]


def test_a_load_sweep_looks_at_the_supplies_after_each_load() -> None:
    """Only so does a step learn that a load has pushed a supply into its limit."""
    kinds = [type(ask).__name__ for ask in answer(load_sweep, Script()).asks]
    assert kinds[2:] == ["Draw", "Feed", "Feed", "Wait", "Read"] * 3 + ["Draw"]


@pytest.mark.parametrize("kind", ["line sweep: {inputs: 19 V .. 26 V, OUTP: {line regulation: at most 1 %/V}",
                                  "load sweep: {OUTP: {to: 0.1 A, load regulation: at most 1 %}"])  # fmt: skip
def test_a_sweep_lets_the_board_settle_before_each_reading(kind: str) -> None:
    told = answer(step_of(f"{kind}, settle: 2 s}}"), Script())
    before = [told.asks[at - 1] for at, ask in enumerate(told.asks) if isinstance(ask, Read)]
    assert len(before) == 5 and set(before) == {Wait(2.0)}


def test_a_sagging_rail_fails_its_load_regulation() -> None:
    told = answer(load_sweep, Script(volts={"OUTP": [15.0, 14.9, 14.7]}))
    assert told.judged("load regulation").outcome is Outcome.FAILED
    assert told.judged("load regulation").value == pytest.approx(0.02)
    assert told.asks[-1] == Draw("OUTP", 0.0)


def test_a_sweep_reads_with_the_middle_effort() -> None:
    assert {ask.effort for ask in answer(load_sweep, Script()).of(Read)} == {1.0}


def test_outputs_are_loaded_one_after_the_other() -> None:
    rail = "{to: 0.1 A, points: 2, load regulation: at most 1 %}"
    told = answer(step_of(f"load sweep: {{OUTP: {rail}, OUTN: {rail}}}"), Script())
    assert [(ask.terminal, ask.amps) for ask in told.of(Draw)] == [
        ("OUTP", 0.0), ("OUTP", 0.1), ("OUTP", 0.0), ("OUTN", 0.0), ("OUTN", 0.1), ("OUTN", 0.0),
    ]  # fmt: skip
