from collections.abc import Iterator
from typing import Any

import pytest

from station.asks import Ask, Judged, Quantity, Read, StepEnded, StepStarted
from station.errors import BoardStopped, Unreadable
from station.lines import Judgement, Line, Outcome, not_here, overall
from station.profile import BoundStep
from station.program import Program, compiled
from station.steps import KINDS, Setup, StepForm, step_kind
from tests.station.boards import RAMP, profile_of, program_of
from tests.station.scripts import Script

INSPECT = "inspect: {ask: shiny}"
MEASURE = "measure: {OUTP: {voltage: 15 V ± 1 %}, OUTN: {voltage: -15 V ± 1 %}}"
DISCHARGE = "discharge: {below: 2 V, within: 1 s}"
PASSED, FAILED, ABORTED, NOT_STARTED = Outcome.PASSED, Outcome.FAILED, Outcome.ABORTED, Outcome.NOT_STARTED


def driven(program: Program, script: Script) -> tuple[list[Ask[Any]], tuple[Judgement, ...]]:
    """Drive a program by hand; what the script raises is thrown in, as a runner does."""
    coroutine, reply = program.run(), None
    told: list[Ask[Any]] = []
    while True:
        try:
            ask = coroutine.throw(reply) if isinstance(reply, Exception) else coroutine.send(reply)
        except StopIteration as end:
            return told, end.value
        told.append(ask)
        try:
            reply = ask.put_to(script)
        except (Unreadable, BoardStopped) as error:
            reply = error


def outcomes(judgements: tuple[Judgement, ...]) -> list[Outcome]:
    return [judgement.outcome for judgement in judgements]


def test_a_program_is_its_profiles_steps() -> None:
    profile = profile_of(INSPECT, RAMP)
    assert compiled(profile).steps == profile.steps


def test_a_program_judges_exactly_the_lines_it_promises() -> None:
    program = program_of(INSPECT, RAMP, MEASURE, DISCHARGE)
    _, judgements = driven(program, Script())
    assert tuple(judgement.line for judgement in judgements) == program.lines()
    assert len(program.lines()) == 1 + 4 + 2 + 4


def test_each_step_is_told_with_its_judgements_between_begin_and_end() -> None:
    told, _ = driven(program_of(INSPECT, RAMP), Script())
    kinds = [type(ask).__name__ for ask in told if isinstance(ask, StepStarted | Judged | StepEnded)]
    assert kinds == ["StepStarted", "Judged", "StepEnded", "StepStarted", *["Judged"] * 4, "StepEnded"]


def test_a_failed_inspection_leaves_the_rest_not_started() -> None:
    told, judgements = driven(program_of(INSPECT, RAMP, MEASURE), Script(said=["no"]))
    assert outcomes(judgements) == [FAILED, *[NOT_STARTED] * 6]
    assert judgements[1].cause == "'inspect' failed"
    assert [ask for ask in told if isinstance(ask, StepStarted)] == [told[0]]


def test_a_failed_measurement_lets_the_rest_go_on() -> None:
    _, judgements = driven(program_of(RAMP, MEASURE, MEASURE), Script(volts={"OUTP": 14.0}))
    assert outcomes(judgements)[4:] == [FAILED, PASSED, FAILED, PASSED]


def test_a_reading_that_can_not_be_taken_aborts_a_powered_step_and_what_follows() -> None:
    broken = Script(volts={"OUTP": [*[15.0] * 11, Unreadable("OUTP voltage: overload")]})
    _, judgements = driven(program_of(RAMP, MEASURE, DISCHARGE), broken)
    assert outcomes(judgements)[4:] == [ABORTED, ABORTED, *[NOT_STARTED] * 4]
    assert judgements[4].cause == "OUTP voltage: overload"
    assert judgements[6].cause == "'measure' could not be read"


def test_a_reading_that_can_not_be_taken_without_power_stops_nothing() -> None:
    broken = Script(volts={"INP": Unreadable("INP voltage: no answer")})
    _, judgements = driven(program_of(DISCHARGE, INSPECT), broken)
    assert outcomes(judgements) == [*[ABORTED] * 4, PASSED]


def test_what_the_board_does_fails_the_line_at_that_terminal() -> None:
    stopped = Script(volts={"OUTN": [*[-15.0] * 11, BoardStopped("OUTN", "wrong sign", 3.0)]})
    _, judgements = driven(program_of(RAMP, MEASURE, DISCHARGE), stopped)
    assert outcomes(judgements)[4:] == [NOT_STARTED, FAILED, *[NOT_STARTED] * 4]
    assert judgements[4].cause == "the board stopped the step at OUTN"
    assert judgements[5].cause == "wrong sign"
    assert judgements[6].cause == "the board stopped 'measure': OUTN: wrong sign"


def test_what_the_board_does_at_a_terminal_without_a_line_fails_the_first_line() -> None:
    stopped = Script(volts={"OUTP": [*[15.0] * 11, BoardStopped("TP1", "wrong sign", 3.0)]})
    _, judgements = driven(program_of(RAMP, MEASURE), stopped)
    assert outcomes(judgements)[4:] == [FAILED, NOT_STARTED]


@pytest.fixture
def kinds() -> Iterator[None]:
    """What a test registers is gone after it."""
    before = dict(KINDS)
    yield
    KINDS.clear()
    KINDS.update(before)


def test_a_step_that_judges_other_lines_than_it_promised_is_a_bug(kinds: None) -> None:
    @step_kind("forgetful")
    class Forgetful(StepForm):
        """Promises a line and judges none."""

        def lines(self, setup: Setup) -> tuple[Line, ...]:
            return (setup.line("voltage", "OUTP", None),)

        async def program(self, setup: Setup) -> tuple[Judgement, ...]:
            return ()

    setup = Setup(profile_of(RAMP).board, profile_of(RAMP).rule, "forgetful")
    with pytest.raises(AssertionError, match="the step 'forgetful' promised 1 lines and judged others"):
        driven(Program((BoundStep(Forgetful(), setup),)), Script())


def test_a_kind_is_registered_once() -> None:
    with pytest.raises(TypeError, match="the step kind 'measure' is there already, as Measure"):
        step_kind("measure")(StepForm)


def test_a_kind_says_what_it_does(kinds: None) -> None:
    silent = type("Silent", (StepForm,), {"__doc__": None})
    with pytest.raises(TypeError, match="the step kind 'silent' has no docstring; say in one sentence what it does"):
        step_kind("silent")(silent)


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_every_kind_declares_its_lines_and_cautions_before_any_run(kind: type[StepForm]) -> None:
    assert kind.kind in KINDS
    assert (kind.__doc__ or "").strip().endswith(".")


def judgement(outcome: Outcome) -> Judgement:
    return Judgement(Line("step", "line", "OUTP", None), outcome)


@pytest.mark.parametrize(
    ("lines", "whole"),
    [
        ([PASSED, PASSED], PASSED),
        ([PASSED, Outcome.UNDECIDED], Outcome.UNDECIDED),
        ([Outcome.UNDECIDED, ABORTED], ABORTED),
        ([ABORTED, FAILED, NOT_STARTED], FAILED),  # a board that failed has failed, whatever came after
        ([PASSED, NOT_STARTED], NOT_STARTED),
        ([], NOT_STARTED),
    ],
)
def test_a_run_is_as_good_as_its_worst_line(lines: list[Outcome], whole: Outcome) -> None:
    assert overall(tuple(judgement(outcome) for outcome in lines)) is whole


def test_a_run_rests_on_the_lines_that_its_bench_can_start() -> None:
    missing = not_here(Line("step", "line", "OUTP", None), "nothing ripples in front")
    assert missing.outcome is NOT_STARTED
    assert overall((judgement(PASSED), missing)) is PASSED
    assert overall((judgement(FAILED), missing)) is FAILED
    assert overall((missing,)) is NOT_STARTED


def test_an_ask_of_no_kind_is_refused() -> None:
    with pytest.raises(NotImplementedError, match="Ask is no ask of its own; await one of its kinds"):
        Ask[None]().put_to(Script())


def test_an_ask_awaited_is_handed_out_and_its_answer_handed_in() -> None:
    async def program() -> object:
        return await Read("OUTP", Quantity.VOLTAGE)

    coroutine = program()
    assert coroutine.send(None) == Read("OUTP", Quantity.VOLTAGE)
    with pytest.raises(StopIteration) as end:
        coroutine.send(3.0)
    assert end.value.value == 3.0
