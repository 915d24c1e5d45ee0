"""The step that a person answers: inspect."""

import pytest

from station.asks import Question
from station.lines import Outcome
from tests.station.boards import RAMP, profile_of, step_of
from tests.station.scripts import Script, answer

POINTS = "inspect: {points: ['LEDs lit', 'fuses whole', 'insulators whole']}"
DISCHARGE = "discharge: {below: 2 V}"


@pytest.mark.parametrize(("said", "outcome"), [("yes", Outcome.PASSED), ("no", Outcome.FAILED)])
def test_an_inspection_is_what_the_operator_says(said: str, outcome: Outcome) -> None:
    told = answer(step_of("inspect: {ask: 'Joints shiny?'}"), Script(said=[said]))
    assert told.asks == (Question("Joints shiny?", ("yes", "no")),)
    assert (told.judged("Joints shiny?").outcome, told.judgements[0].cause) == (outcome, f"answered {said}")


def test_each_point_is_judged_by_its_own_answer_and_a_no_ends_no_asking() -> None:
    told = answer(step_of(POINTS), Script(said=["yes", "no", "yes"]))
    assert [ask.text for ask in told.of(Question)] == ["LEDs lit", "fuses whole", "insulators whole"]
    assert [judgement.outcome.value for judgement in told.judgements] == ["Passed", "Failed", "Passed"]
    assert [judgement.line.title for judgement in told.judgements][1] == "inspect: fuses whole"


@pytest.mark.parametrize(
    ("before", "live"),
    [
        ([], False),
        ([RAMP], True),
        ([RAMP, "measure: {OUTP: {voltage: 15 V ± 1 %}}", POINTS], True),
        ([RAMP, DISCHARGE], False),
        ([RAMP, DISCHARGE, RAMP], True),
    ],
)
def test_the_caution_says_whether_the_board_is_live(before: list[str], live: bool) -> None:
    step = profile_of(*before, POINTS).steps[-1]
    caution = step.form.caution(step.setup)
    assert caution.startswith("The board is live" if live else "Board unpowered")
