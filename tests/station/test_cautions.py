"""Cautions as a program tells them, and has them acknowledged."""

from dataclasses import replace

import pytest

from station.asks import Draw, Feed, Question, StepStarted
from station.hazards import LOCAL_RULES, Hazard, Hazards, Heat, Store
from station.lines import Outcome
from station.profile import Profile
from station.program import compiled
from tests.station.boards import RAMP, profile_of
from tests.station.scripts import Script
from tests.station.test_program import driven

INSPECT = "inspect: {ask: shiny}"
MEASURE = "measure: {OUTP: {voltage: 15 V ± 1 %}}"
OVERLOAD = "overload: {current limit: 2 A, OUTP: {limits at: 1.1 A .. 1.6 A}}"
DISCHARGE = "discharge: {below: 2 V, within: 1 s}"
HAZARDS = Hazards(
    volts={"INP": 22.0, "INN": -22.0},
    stores=(Store("C1", 2.2e-3, 22.0, 10e3),),
    heat={"overload": Heat({"Q1": 19.0}, 20.0)},
)


def says_yes() -> Script:
    return Script(said=["yes", "acknowledged"])


def with_mains(profile: Profile) -> Profile:
    form = profile.board.form.model_copy(update={"mains_side": 230.0})
    board = replace(profile.board, form=form)
    steps = tuple(replace(step, setup=replace(step.setup, board=board)) for step in profile.steps)
    return replace(profile, board=board, steps=steps)


def questions(profile: Profile, hazards: Hazards | None, script: Script) -> list[Question]:
    told, _ = driven(compiled(profile, hazards), script)
    return [ask for ask in told if isinstance(ask, Question)]


def test_first_power_and_each_new_kind_of_danger_are_acknowledged_once() -> None:
    profile = profile_of(INSPECT, RAMP, MEASURE, OVERLOAD, MEASURE, OVERLOAD, DISCHARGE)
    asked = questions(profile, HAZARDS, says_yes())
    assert [ask.text for ask in asked] == [
        "shiny",
        "ramp: first power. Cautions read and kept?",
        "overload: overload on purpose. Cautions read and kept?",
    ]
    assert asked[1].answers == ("acknowledged", "stop")


def test_what_is_acknowledged_is_what_was_computed_and_what_the_step_says() -> None:
    power, overload = questions(profile_of(RAMP, OVERLOAD), HAZARDS, Script(said=["acknowledged"]))
    assert "up to 44 V d.c. from INN to INP" in power.caution and "C1 takes up to 53 s" in power.caution
    assert "eye protection on" in power.caution
    assert "Outputs are overloaded on purpose" in overload.caution and "Q1 19 W" in overload.caution


def test_a_step_tells_the_caution_that_it_has_acknowledged() -> None:
    told, _ = driven(compiled(profile_of(RAMP), HAZARDS), Script(said=["acknowledged"]))
    assert isinstance(told[0], StepStarted) and isinstance(told[1], Question)
    assert told[0].caution == told[1].caution


def test_every_caution_leaves_the_last_word_to_local_rules() -> None:
    told, _ = driven(compiled(profile_of(INSPECT, RAMP, MEASURE, OVERLOAD, DISCHARGE), HAZARDS), says_yes())
    cautions = [ask.caution for ask in told if isinstance(ask, StepStarted) and ask.caution]
    assert len(cautions) == 4  # a plain measurement brings nothing new
    assert all(caution.endswith(LOCAL_RULES) for caution in cautions)


def test_before_the_leads_come_off_the_charge_is_told_again() -> None:
    told, _ = driven(compiled(profile_of(RAMP, DISCHARGE), HAZARDS), Script(said=["acknowledged"]))
    assert "C1 takes up to 53 s to fall below 2 V" in [a.caution for a in told if isinstance(a, StepStarted)][-1]


def test_a_board_with_mains_is_told_so_at_first_power() -> None:
    hazards = replace(HAZARDS, mains_volts=230.0)
    (asked,) = questions(with_mains(profile_of(RAMP, MEASURE)), hazards, Script(said=["acknowledged"]))
    assert asked.text == "ramp: first power and mains side. Cautions read and kept?"
    assert "Mains of 230 V" in asked.caution


def test_a_board_sheet_says_whether_mains_reach_it() -> None:
    step = with_mains(profile_of(RAMP)).steps[0]
    assert step.form.dangers(step.setup) == (Hazard.POWER, Hazard.MAINS)
    assert profile_of(RAMP).steps[0].form.dangers(profile_of(RAMP).steps[0].setup) == (Hazard.POWER,)


def test_a_raw_supply_is_acknowledged_for_its_mains_side() -> None:
    raw = (
        "raw supply: {secondary: 15 V, capacitance: 2200 uF, bleeder: 10 kΩ, INP: {board never above: 28 V}, "
        "INN: {board never above: 28 V}}"
    )
    step = profile_of(raw).steps[0]
    assert step.form.dangers(step.setup) == (Hazard.MAINS,)


def test_nothing_is_powered_without_an_acknowledgement() -> None:
    told, judgements = driven(compiled(profile_of(INSPECT, RAMP, MEASURE), HAZARDS), Script(said=["yes", "stop"]))
    assert [ask for ask in told if isinstance(ask, Feed)] == []
    assert {judgement.outcome for judgement in judgements[1:5]} == {Outcome.ABORTED}
    assert judgements[1].cause == "the cautions of 'ramp' were not acknowledged"
    assert judgements[5].outcome is Outcome.NOT_STARTED


def test_an_overload_that_is_not_acknowledged_does_not_happen() -> None:
    script = Script(said=["acknowledged", "stop"])
    told, judgements = driven(compiled(profile_of(RAMP, OVERLOAD), HAZARDS), script)
    assert [ask for ask in told if isinstance(ask, Draw)] == []
    assert [judgement.outcome for judgement in judgements[4:]] == [Outcome.ABORTED] * 2


@pytest.mark.parametrize("steps", [(RAMP,), (INSPECT, RAMP, OVERLOAD)])
def test_where_nobody_is_at_risk_nobody_is_asked(steps: tuple[str, ...]) -> None:
    asked = questions(profile_of(*steps), None, says_yes())
    assert [ask.caution for ask in asked] == [""] * len(asked)
