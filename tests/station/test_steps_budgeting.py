"""The step that sets the power given against the power taken: efficiency."""

import math

import numpy as np
import pytest

from station.asks import Draw, Drawn, Feed, Quantity, Read, Reading
from station.lines import Outcome
from station.steps.budgeting import Power, dissipation, efficiency
from tests.station.boards import step_of
from tests.station.references import inputs, rows
from tests.station.scripts import SAG_OHMS, Script, answer, reading

# worked_examples.csv names the source and the convention of each row
WORKED = {row["id"]: (inputs(row), float(row["result"])) for row in rows("worked_examples.csv")}
STEP = "efficiency: {current limit: 1.5 A, efficiency: at least 60 %, dissipation: at most 18 W}"
FULL_LOAD = {"INP": 1.02, "INN": 1.02}
GIVEN, TAKEN = 2 * (15.0 - SAG_OHMS), 2 * 22.0 * 1.02  # watts at 1 A on each rail


def power(volts: float, amps: float) -> Power:
    return reading(volts), reading(amps, source="readback")


def test_efficiency_is_over_both_rails_with_the_no_load_current_in_it() -> None:
    given, percent = WORKED["EFF-01"]
    taken = [power(given["Vraw"], given["Iinp"]), power(given["Vraw"], given["Iinn"])]
    passed_on = [power(given["Vp"], given["Ip"]), power(given["Vn"], given["In"])]
    assert 100.0 * efficiency(taken, passed_on).value == pytest.approx(percent)


def test_without_a_no_load_current_efficiency_is_the_ratio_of_the_voltages() -> None:
    given, percent = WORKED["THM-05"]
    assert 100.0 * efficiency([power(given["Vin"], 0.5)], [power(given["Vout"], 0.5)]).value == pytest.approx(percent)


def test_dissipation_is_what_does_not_come_out() -> None:
    given, watts = WORKED["THM-01"]
    taken, passed_on = power(given["Vin"], given["I"]), power(given["Vout"], given["I"])
    assert dissipation([taken], [passed_on]).value == pytest.approx(watts)


def test_a_board_that_takes_nothing_gives_nothing() -> None:
    assert efficiency([power(22.0, 0.0)], [power(0.0, 1.0)]).value == 0.0


# Against JCGM 101: the same readings drawn at random, each with its own noise, the meter's error common to all volts.
def drawn(readings: list[Power], common: dict[str, np.ndarray], rng: np.random.Generator) -> np.ndarray:
    def values(each: Reading) -> np.ndarray:
        own = each.u_random * rng.standard_normal(len(common["meter"]))
        return each.value + own + each.u_common * common[each.source]

    watts: np.ndarray = np.sum([values(volts) * values(amps) for volts, amps in readings], axis=0)
    return watts


@pytest.mark.parametrize(("u_volts", "u_amps"), [(0.03, 1e-5), (1e-5, 2e-3), (0.03, 2e-3)])
def test_the_uncertainties_are_those_of_readings_drawn_at_random(u_volts: float, u_amps: float) -> None:
    def of(volts: float, amps: float, at: str) -> Power:
        return reading(volts, u_volts / 5.0, common=u_volts), reading(amps, u_amps, common=u_amps, source=at)

    taken, given = [of(22.0, 1.02, "one"), of(22.1, 1.03, "other")], [of(15.0, 1.0, "load"), of(14.9, 1.0, "load 2")]
    rng = np.random.default_rng(5)
    common = {name: rng.standard_normal(100_000) for name in ("meter", "one", "other", "load", "load 2")}
    watts_in, watts_out = drawn(taken, common, rng), drawn(given, common, rng)
    assert efficiency(taken, given).u == pytest.approx(float(np.std(watts_out / watts_in)), rel=0.02)
    assert dissipation(taken, given).u == pytest.approx(float(np.std(watts_in - watts_out)), rel=0.02)


def test_a_meters_error_that_all_volts_share_cancels_for_the_most_part() -> None:
    def apart(source: str, volts: float, amps: float) -> Power:
        return reading(volts, 0.0, common=0.001 * volts, source=source), reading(amps, 0.0)

    one = efficiency([apart("meter", 22.0, 1.0)], [apart("meter", 15.0, 1.0)])
    two = efficiency([apart("meter", 22.0, 1.0)], [apart("another", 15.0, 1.0)])
    assert one.u == pytest.approx(0.0, abs=1e-12)
    assert two.u == pytest.approx(15.0 / 22.0 * 0.001 * math.sqrt(2.0))


def test_every_output_is_loaded_with_its_rating_before_anything_is_read_and_unloaded_afterwards() -> None:
    told = answer(step_of(STEP), Script(amps=FULL_LOAD))
    first_read = next(at for at, ask in enumerate(told.asks) if isinstance(ask, Read))
    assert [ask for ask in told.asks[:first_read] if isinstance(ask, Draw)] == [Draw("OUTP", 1.0), Draw("OUTN", 1.0)]
    assert told.of(Draw)[2:] == [Draw("OUTP", 0.0), Draw("OUTN", 0.0)]
    assert {(ask.terminal, ask.quantity) for ask in told.of(Read)} == {
        *((name, Quantity.VOLTAGE) for name in ("INP", "INN", "OUTP", "OUTN")),
        *((name, Quantity.CURRENT) for name in ("INP", "INN")),
    }


def test_a_board_is_judged_by_both_figures() -> None:
    told = answer(step_of(STEP), Script(amps=FULL_LOAD, u=lambda effort: 0.01))
    assert [judgement.line.title for judgement in told.judgements] == [
        "efficiency: efficiency",
        "efficiency: dissipation",
    ]
    assert told.judged("efficiency").value == pytest.approx(GIVEN / TAKEN)
    assert told.judged("dissipation").value == pytest.approx(TAKEN - GIVEN)
    assert {judgement.outcome for judgement in told.judgements} == {Outcome.PASSED}


def test_a_board_that_burns_more_than_its_limit_fails() -> None:
    told = answer(step_of(STEP), Script(amps={"INP": 1.3, "INN": 1.02}))
    assert told.judged("dissipation").outcome is Outcome.FAILED
    assert told.judged("efficiency").outcome is Outcome.FAILED


def test_it_may_be_asked_at_another_load_and_input() -> None:
    told = answer(step_of("efficiency: {load: 100 mA, inputs: 20 V, dissipation: at most 3 W}"), Script())
    assert [ask.volts for ask in told.of(Feed, "INN")] == [-20.0, -20.0, -22.0]
    assert told.of(Draw, "OUTN") == [Draw("OUTN", 0.1), Draw("OUTN", 0.0)]
    assert [judgement.line.name for judgement in told.judgements] == ["dissipation"]


def test_the_loads_own_accuracy_counts() -> None:
    class Vague(Script):
        def draw(self, ask: Draw) -> Drawn:
            super().draw(ask)
            return Drawn(0.02)

    sharp, vague = (answer(step_of(STEP), kind(amps=FULL_LOAD)).judged("efficiency") for kind in (Script, Vague))
    assert sharp.u is not None and vague.u is not None
    # two loads of 15 V, 2 % each, independent: 0.02 / √2 of the efficiency
    assert math.sqrt(vague.u**2 - sharp.u**2) == pytest.approx(0.02 / math.sqrt(2.0) * GIVEN / TAKEN)
