"""The step that measures again what was measured before: final."""

import pytest

from station.asks import Draw, Feed, Quantity, Read
from station.errors import InputError
from station.lines import Outcome
from station.profile import Profile
from tests.station.boards import RAMP, profile_of
from tests.station.scripts import Script, answer

NO_LOAD = "measure: {name: no load, OUTP: {voltage: 15 V ± 1 %}, INP: {current: 16 mA .. 20 mA}}"
LOADED = (
    "measure: {name: low line, inputs: 19 V, loads: {OUTP: 0.5 A}, current limit: 1 A, OUTP: {voltage: 15 V ± 2 %}}"
)

NONE = "there is no 'measure' step before it to repeat; write it after one"


def ending_with(final: str) -> Profile:
    return profile_of(RAMP, NO_LOAD, LOADED, final)


def refusal(*steps: str) -> str:
    with pytest.raises(InputError) as refused:
        profile_of(*steps)
    return str(refused.value).partition(": ")[2]


def test_it_judges_all_that_was_measured_under_names_of_its_own() -> None:
    step = ending_with("final: {}").steps[-1]
    assert [(line.title, str(line.limit)) for line in step.form.lines(step.setup)] == [
        ("final: OUTP voltage, no load again", "15 V ± 1 %"),
        ("final: INP current, no load again", "16 mA .. 20 mA"),
        ("final: OUTP voltage, low line again", "15 V ± 2 %"),
    ]


@pytest.mark.parametrize("written", ["low line", "[low line]"])
def test_it_repeats_the_named_step_only_asking_what_that_asked(written: str) -> None:
    profile = ending_with(f"final: {{repeats: {written}}}")
    first, again = (answer(step, Script()) for step in profile.steps[-2:])
    assert again.asks == first.asks
    assert {ask.amps_limit for ask in again.of(Feed)} == {1.0}
    assert again.of(Draw, "OUTP")[0] == Draw("OUTP", 0.5)
    assert [judgement.line.step for judgement in again.judgements] == ["final"]


def test_what_was_damaged_since_fails_here_and_not_there() -> None:
    first, _, again = (
        answer(step, Script(volts={"OUTP": volts}))
        for step, volts in zip(ending_with("final: {repeats: no load}").steps[1:], (15.0, 15.0, 15.4), strict=True)
    )
    assert first.judged("voltage").outcome is Outcome.PASSED
    assert again.judged("voltage, no load again").outcome is Outcome.FAILED
    assert again.judged("voltage, no load again").value == 15.4
    asked = {(ask.terminal, ask.quantity) for ask in again.of(Read)}
    assert asked == {("OUTP", Quantity.VOLTAGE), ("INP", Quantity.CURRENT)}


def test_each_step_is_repeated_under_its_own_current_limit() -> None:
    *_, again = (answer(step, Script()) for step in ending_with("final: {}").steps)
    assert [ask.amps_limit for ask in again.of(Feed, "INP")] == [0.15, 1.0, 1.0, 1.0]


def test_it_is_fed_as_high_as_what_it_repeats() -> None:
    step = ending_with("final: {}").steps[-1]
    assert step.form.highest_volts(step.setup) == {"INP": 22.0, "INN": 22.0}
    assert step.setup.amps_limit == 1.0


def test_a_profile_says_nothing_of_an_inherited_limit_where_none_is() -> None:
    assert [note for note in ending_with("final: {}").notes if "final" in note] == []


@pytest.mark.parametrize(
    ("steps", "message"),
    [
        ([RAMP, "final: {}"], NONE),
        (
            [RAMP, NO_LOAD, LOADED, "final: {repeats: no laod}"],
            "no 'measure' step before it is called 'no laod'; write 'no load'",
        ),
        (
            [RAMP, NO_LOAD, LOADED, "final: {repeats: [no load, warm]}"],
            "no 'measure' step before it is called 'warm'; write one of no load, low line",
        ),
        ([RAMP, "final: {repeats: no load}", NO_LOAD], NONE),
        (
            [RAMP, NO_LOAD, "final: {repeats: [no load, no load]}"],
            "'no load' stands here a second time; keep one of them",
        ),
        (
            [RAMP, NO_LOAD, LOADED, "final: {repeats: []}"],
            "the step repeats nothing; write no load, low line, or leave 'repeats' out for all",
        ),
        ([RAMP, NO_LOAD, "final: {repeats: 3}"], "repeats: 3 does not fit; note that input should be a valid list"),
    ],
)
def test_what_is_wrong_with_it_is_told(steps: list[str], message: str) -> None:
    assert refusal(*steps) == message
