"""The steps that move the input or the load: line sweep, load sweep."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import pytest

from station.asks import Draw, Drawn, Fed, Feed, Read, Wait
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


def test_line_regulation_in_millivolts_per_volt() -> None:
    given, millivolts_per_volt = WORKED["LIN-02"]
    points = [(20.0, reading(15.0)), (20.0 + given["dVin"], reading(15.0 + given["dVout"]))]
    assert 1e3 * 15.0 * line_regulation(points, nominal_volts=20.0).value == pytest.approx(millivolts_per_volt)
    sheet, limit = WORKED["LIN-07"]  # a data sheet's limit per cent, at our output
    assert 1e3 * sheet["Vout"] * sheet["pct_per_V"] / 100.0 == pytest.approx(limit)
    falls = reading(sheet["Vout"] - limit / 1e3)
    just = line_regulation([(20.0, reading(sheet["Vout"])), (21.0, falls)], nominal_volts=20.0)
    assert 100.0 * just.value == pytest.approx(sheet["pct_per_V"])


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


@pytest.mark.parametrize(("row", "ohms"), [("LOAD-04", 1.0), ("LOAD-06", 1e-3)])
def test_load_regulation_is_the_output_resistance_times_the_current_over_the_voltage(row: str, ohms: float) -> None:
    given, result = WORKED[row]
    points = [(given["I1"], reading(given["V1"])), (given["I2"], reading(given["V2"]))]
    resistance = load_regulation(points).value * given["V1"] / (given["I2"] - given["I1"])
    assert resistance == pytest.approx(result * ohms)


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
    assert [ask.volts for ask in told.of(Feed, "INP")] == [22.0, 19.0, 21.0, 23.0, 25.0, 22.0]
    assert [ask.volts for ask in told.of(Feed, "INN")] == [-22.0, -19.0, -21.0, -23.0, -25.0, -22.0]
    assert told.of(Draw) == []


def test_a_line_sweep_under_load_takes_its_load_off_again() -> None:
    loaded = step_of(
        "line sweep: {inputs: 19 V .. 25 V, points: 2, load: 0.1 A, OUTP: {line regulation: at most 1 %/V}}"
    )
    told = answer(loaded, Script())
    assert [ask.amps for ask in told.of(Draw)] == [0.1, 0.0]
    assert isinstance(told.asks[-1], Draw)


@dataclass
class Swept(Script):
    """A board whose OUTP stands where the last input (volts) or load (amps) puts it, `lag` seconds of waits later."""

    stands: Callable[[float], float] = lambda at: 15.0
    lag: float = 0.0
    at: float = 22.0
    was: float = 22.0
    waited: float = 0.0

    def __post_init__(self) -> None:
        self.volts = {"OUTP": self._outp}

    def _outp(self) -> float:
        return self.stands(self.was if self.waited < self.lag else self.at)

    def _move(self, to: float) -> None:
        if to != self.at:
            self.was, self.at, self.waited = self.at, to, 0.0

    def wait(self, ask: Wait) -> None:
        self.waited += ask.seconds
        super().wait(ask)

    def feed(self, ask: Feed) -> Fed:
        if ask.terminal == "INP":
            self._move(ask.volts)
        return super().feed(ask)


@dataclass
class Loaded(Swept):
    """The same, moved by its load."""

    at: float = 0.0
    was: float = 0.0

    def feed(self, ask: Feed) -> Fed:
        return Script.feed(self, ask)

    def draw(self, ask: Draw) -> Drawn:
        self._move(ask.amps)
        return super().draw(ask)


@pytest.mark.parametrize(
    ("rise", "outcome"), [(0.01, Outcome.PASSED), (0.09, Outcome.UNDECIDED), (0.2, Outcome.FAILED)]
)
def test_a_line_sweep_judges_its_regulation(rise: float, outcome: Outcome) -> None:
    """0.1 %/V over 6 V of 15 V are 90 mV."""
    told = answer(line_sweep, Swept(stands=lambda volts: 15.0 + rise * (volts - 19.0) / 6.0))
    assert told.judged("line regulation").outcome is outcome


def test_a_load_sweep_draws_the_lightest_load_first_and_last() -> None:
    assert [ask.amps for ask in answer(load_sweep, Script()).of(Draw)] == [0.0, 0.5, 1.0, 0.0, 0.0]


def test_a_load_sweep_looks_at_the_supplies_after_each_load() -> None:
    """Only so does a step learn that a load has pushed a supply into its limit."""
    kinds = [type(ask).__name__ for ask in answer(load_sweep, Script()).asks]
    look = ["Read", "Wait", "Read"]
    first, point = ["Draw", "Feed", "Feed", *look, *look], ["Draw", "Feed", "Feed", *look]
    assert kinds[2:] == [*first, *point * 3, "Draw"]


def test_a_sagging_rail_fails_its_load_regulation() -> None:
    told = answer(load_sweep, Loaded(stands=lambda amps: 15.0 - 0.3 * amps))
    assert told.judged("load regulation").outcome is Outcome.FAILED
    assert told.judged("load regulation").value == pytest.approx(0.02)
    assert told.asks[-1] == Draw("OUTP", 0.0)


def test_a_sweep_takes_the_quickest_effort_that_can_pass_a_perfect_output() -> None:
    """0.5 % of 15 V are 75 mV: u = 20 mV a reading could not pass, u = 2 mV can."""
    doubts = {0.02: 0.02, 1.0: 2e-3, 10.0: 2e-4}
    told = answer(load_sweep, Loaded(stands=lambda amps: 15.0 - 0.01 * amps, u=doubts.__getitem__))
    assert [ask.effort for ask in told.of(Read)][:5] == [0.02, 0.02, 1.0, 0.02, 1.0]
    assert told.judged("load regulation").effort == 1.0
    assert told.judged("load regulation").outcome is Outcome.PASSED


def test_a_sweep_in_doubt_is_taken_once_more_with_longer_looks() -> None:
    """74 mV of 75 mV: with u = 5 mV nothing is decided, with u = 0.1 mV it is."""
    doubts = {0.02: 5e-3, 1.0: 1e-4, 10.0: 1e-5}
    told = answer(load_sweep, Loaded(stands=lambda amps: 15.0 - 0.074 * amps, u=doubts.__getitem__))
    assert [ask.amps for ask in told.of(Draw)] == [0.0, 0.5, 1.0, 0.0, 0.0] * 2
    assert (told.judged("load regulation").effort, told.judged("load regulation").outcome) == (1.0, Outcome.PASSED)


def test_on_the_limit_the_best_sweep_stays_undecided() -> None:
    told = answer(load_sweep, Loaded(stands=lambda amps: 15.0 - 0.075 * amps))
    assert (told.judged("load regulation").effort, told.judged("load regulation").outcome) == (10.0, Outcome.UNDECIDED)


def test_an_output_that_comes_back_late_is_swept_again_with_as_much_patience() -> None:
    """The looks at each point see nothing move; only back at the lightest load does it show that they were early."""
    told = answer(load_sweep, Loaded(stands=lambda amps: 15.0 - 0.03 * amps, lag=0.15))
    assert [ask.amps for ask in told.of(Draw)] == [0.0, 0.5, 1.0, 0.0, 0.0] * 2
    assert max(ask.seconds for ask in told.of(Wait)) == pytest.approx(0.2)
    assert told.judged("load regulation").value == pytest.approx(0.03 / 15.0)
    assert told.judged("load regulation").outcome is Outcome.PASSED


def test_an_output_that_never_comes_back_is_not_passed() -> None:
    values = iter([15.0] * 4 + [14.99, 14.99, 14.98, 14.98])
    told = answer(load_sweep, Script(volts={"OUTP": lambda: next(values, 14.97)})).judged("load regulation")
    assert told.outcome is Outcome.UNDECIDED
    assert told.cause == "OUTP not settled: 15 V before the sweep, 14.97 V after it"
    assert told.u == pytest.approx(0.03 / math.sqrt(3.0) / 15.0, rel=0.01)


def test_a_meter_that_shows_one_number_under_every_load_is_frozen() -> None:
    told = answer(load_sweep, Script(volts={"OUTP": 15.0}))
    assert {ask.effort for ask in told.of(Read)} == {0.02, 1.0, 10.0}  # finer digits might have moved
    assert told.judged("load regulation").outcome is Outcome.UNDECIDED
    assert told.judged("load regulation").cause.startswith("OUTP not settled: exactly 15 V under every load")


def test_an_output_that_never_rests_is_not_passed_and_waited_for_once() -> None:
    swing = iter(range(10_000))
    told = answer(load_sweep, Script(volts={"OUTP": lambda: 15.0 + 0.015 * math.sin(2.0 * next(swing))}))
    assert told.judged("load regulation").outcome is Outcome.UNDECIDED
    assert told.judged("load regulation").cause.startswith("OUTP not settled within 2 s: still moving by ")
    assert sum(ask.seconds for ask in told.of(Wait)) < 6.0  # not 2 s at every point


def test_outputs_are_loaded_one_after_the_other() -> None:
    rail = "{to: 0.1 A, points: 2, load regulation: at most 1 %}"
    told = answer(step_of(f"load sweep: {{OUTP: {rail}, OUTN: {rail}}}"), Script())
    assert [(ask.terminal, ask.amps) for ask in told.of(Draw)] == [
        (name, amps) for name in ("OUTP", "OUTN") for amps in (0.0, 0.1, 0.0, 0.0)
    ]


def test_the_scanner_stays_at_the_last_output_of_a_point_for_the_first_of_the_next() -> None:
    both = step_of(
        "line sweep: {inputs: 22 V .. 25 V, points: 2, OUTP: {line regulation: at most 1 %/V}, "
        "OUTN: {line regulation: at most 1 %/V}}"
    )
    read = [ask.terminal for ask in answer(both, Script()).of(Read)]
    assert read[::2] == ["OUTP", "OUTN", "OUTP", "OUTN", "OUTN", "OUTP", "INP", "INN", "OUTP", "OUTN"]
