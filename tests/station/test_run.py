from collections.abc import Callable
from typing import Any

import pytest

from station.asks import Ask, Draw, Feed, Mode, Performer, Quantity, Question, Read, SafeState, StepStarted
from station.envelope import Envelope
from station.errors import BenchError, InputError, Interrupted, StoreError, Unreadable
from station.interrupts import Interrupts
from station.lines import Judgement, Outcome
from station.program import Program
from station.run import Ended, NoRecord, run
from tests.station.boards import RAMP, program_of, twin
from tests.station.scripts import Kept, Script

INSPECT = "inspect: {ask: shiny}"
MEASURE = "measure: {OUTP: {voltage: 15 V ± 1 %}}"
LOADED = "load sweep: {current limit: 1.3 A, OUTP: {to: 1 A, points: 2, load regulation: at most 0.5 %}}"
PASSED, FAILED, ABORTED, NOT_STARTED = Outcome.PASSED, Outcome.FAILED, Outcome.ABORTED, Outcome.NOT_STARTED


def held(program: Program, performer: Performer, record: Kept, **more: Any) -> Ended:
    return run(program, performer, record, envelope=Envelope(twin()), **more)


class Bad(Program):
    """A program that awaits what a test hands it."""

    def __init__(self, awaits: Callable[[], Any]) -> None:
        super().__init__(program_of(INSPECT).steps)
        object.__setattr__(self, "_awaits", awaits)

    async def run(self) -> tuple[Judgement, ...]:
        await self._awaits()  # type: ignore[attr-defined]  # set above, past the frozen class
        return ()


def test_a_good_board_passes_and_the_bench_is_made_safe_once() -> None:
    script, record = Script(), Kept()
    ended = held(program_of(INSPECT, RAMP, MEASURE), script, record)
    assert (ended.outcome, ended.trouble, script.made_safe) == (PASSED, None, 1)
    assert record.facts[-1] == ("ended", (PASSED, ""), script.safe)


def test_every_answer_is_recorded_before_the_program_goes_on() -> None:
    record = Kept()

    class Watching(Script):
        def _next(self, key: str, values: Any) -> Any:
            assert len(record.only("answered")) == len(self.asks) - 1, "the answer before this ask is not yet kept"
            return super()._next(key, values)

    script = Watching(volts={"OUTP": [15.0], "OUTN": [-15.0]})
    held(program_of(INSPECT, RAMP, MEASURE), script, record)
    assert [ask for ask, _ in record.only("answered")] == script.asks


def test_what_is_fed_and_drawn_is_stamped_on_every_reading() -> None:
    record = Kept()
    held(program_of(RAMP, LOADED), Script(), record)
    readings = [reply for ask, reply in record.only("answered") if isinstance(ask, Read)]
    assert readings[0].conditions.fed == (("INP", pytest.approx(2.0)), ("INN", pytest.approx(-2.0)))
    assert readings[0].conditions.drawn == ()
    assert readings[-1].conditions.fed == (("INP", 22.0), ("INN", -22.0))
    assert (("OUTP", 1.0),) in [each.conditions.drawn for each in readings]
    assert readings[-1].conditions.drawn == (("OUTP", 0.0),)  # a sweep ends where it began


def test_a_program_judges_the_stamped_reading() -> None:
    seen: list[Any] = []
    held(program_of(RAMP, MEASURE), Script(), Kept(), told=lambda ask, reply: seen.append((ask, reply)))
    assert all(reply.conditions.fed for ask, reply in seen if isinstance(ask, Read))


def test_screen_and_record_are_told_the_same() -> None:
    seen: list[Ask[Any]] = []
    record = Kept()
    held(program_of(INSPECT, RAMP), Script(), record, told=lambda ask, reply: seen.append(ask))
    assert seen == [fact for what, fact, _ in record.facts if what != "ended"]


def test_an_unreadable_is_recorded_in_place_of_its_answer() -> None:
    error = Unreadable("OUTP voltage: overload")
    record = Kept()
    ended = held(program_of(RAMP, MEASURE), Script(volts={"OUTP": [*[15.0] * 11, error]}), record)
    assert record.only("answered")[-1] == (Read("OUTP", Quantity.VOLTAGE, 0.02), error)
    assert ended.outcome is ABORTED
    assert ended.trouble is None  # the station did its work; the reading was not to be had


@pytest.mark.parametrize("mode", [Mode.CC, Mode.TRIPPED])
def test_a_ramp_into_a_limit_has_failed_and_nothing_follows(mode: Mode) -> None:
    script, record = Script(fed={"INN": [Mode.CV, mode]}), Kept()
    ended = held(program_of(RAMP, MEASURE), script, record)
    assert ended.outcome is FAILED
    assert [(j.line.terminal, j.outcome) for j in ended.judgements] == [
        ("INP", NOT_STARTED), ("INN", FAILED), ("OUTP", NOT_STARTED), ("OUTN", NOT_STARTED), ("OUTP", NOT_STARTED),
    ]  # fmt: skip
    assert len([ask for ask in script.asks if isinstance(ask, Feed)]) == 4  # two steps, and none after it
    assert record.only("answered")[-1][1].mode is mode  # what stopped it is on record


@pytest.mark.parametrize(("terminal", "volts"), [("OUTP", -3.0), ("OUTP", 19.0), ("OUTN", 3.0), ("OUTN", -19.0)])
def test_a_rail_of_wrong_sign_or_above_its_ceiling_stops_the_ramp(terminal: str, volts: float) -> None:
    ended = held(program_of(RAMP, MEASURE), Script(volts={terminal: volts}), Kept())
    failed = [judgement for judgement in ended.judgements if judgement.outcome is FAILED]
    assert [(j.line.step, j.line.terminal) for j in failed] == [("ramp", terminal)]


def test_a_lost_link_aborts_the_open_step_and_is_returned() -> None:
    class Lost(Script):
        def draw(self, ask: Draw) -> Any:
            raise BenchError("load: no reply")

    script, record = Lost(), Kept()
    ended = held(program_of(RAMP, LOADED, MEASURE), script, record)
    assert (str(ended.trouble), ended.outcome, script.made_safe) == ("load: no reply", ABORTED, 1)
    assert [j.outcome for j in ended.judgements] == [*[PASSED] * 4, ABORTED, NOT_STARTED]
    assert [j.cause for j in ended.judgements[4:]] == ["load: no reply"] * 2
    assert record.facts[-1] == ("ended", (ABORTED, "load: no reply"), script.safe)


def test_what_a_cut_short_run_left_is_on_record_too() -> None:
    record, interrupts = Kept(), Interrupts()
    interrupts.ask_to_end("stopped by Ctrl-C")
    ended = held(program_of(INSPECT, RAMP), Script(), record, interrupts=interrupts)
    assert [event.judgement for event, _ in record.only("judged")] == list(ended.judgements)
    assert [j.outcome for j in ended.judgements] == [ABORTED, *[NOT_STARTED] * 4]


def test_a_board_that_had_failed_before_the_trouble_has_failed() -> None:
    class Lost(Script):
        def draw(self, ask: Draw) -> Any:
            raise BenchError("load: no reply")

    ended = held(program_of(RAMP, MEASURE, LOADED), Lost(volts={"OUTP": 14.0}), Kept())
    assert ended.outcome is FAILED


def test_an_interrupt_is_noticed_before_the_next_ask() -> None:
    interrupts = Interrupts()

    class Pressing(Script):
        def question(self, ask: Question) -> str:
            interrupts.ask_to_end("stopped by Ctrl-C")
            interrupts.ask_to_end("stopped by SIGTERM")  # the first cause is kept
            return super().question(ask)

    script, record = Pressing(), Kept()
    ended = held(program_of(INSPECT, RAMP), script, record, interrupts=interrupts)
    assert isinstance(ended.trouble, Interrupted)
    assert (str(ended.trouble), ended.outcome, script.made_safe) == ("stopped by Ctrl-C", ABORTED, 1)
    assert script.asks == [ask for ask, _ in record.only("answered")]  # the answer given is kept, nothing is fed


def test_an_interrupt_inside_a_long_ask_ends_the_run_too() -> None:
    class Waiting(Script):
        def wait(self, ask: Any) -> None:
            raise Interrupted("stopped by SIGTERM")

    script = Waiting()
    ended = held(program_of(RAMP), script, Kept())
    assert (ended.outcome, script.made_safe) == (ABORTED, 1)


@pytest.mark.parametrize("bug", [ZeroDivisionError("a bug"), KeyboardInterrupt(), MemoryError()], ids=repr)
def test_a_bug_in_the_performer_is_raised_once_the_bench_is_safe_and_the_record_closed(bug: BaseException) -> None:
    class Broken(Script):
        def wait(self, ask: Any) -> None:
            raise bug

    script, record = Broken(), Kept()
    with pytest.raises(type(bug)):
        held(program_of(RAMP), script, record)
    assert script.made_safe == 1
    assert record.facts[-1] == ("ended", (ABORTED, str(bug)), script.safe)


def test_a_bug_in_the_program_is_raised_once_the_bench_is_safe() -> None:
    def bug() -> Any:
        raise ZeroDivisionError("a bug")

    script, record = Script(), Kept()
    with pytest.raises(ZeroDivisionError, match="a bug"):
        held(Bad(bug), script, record)
    assert (script.made_safe, record.facts[-1][0]) == (1, "ended")


def test_a_bug_in_the_screen_is_raised_once_the_bench_is_safe() -> None:
    def screen(ask: Ask[Any], reply: object) -> None:
        raise ZeroDivisionError("a bug")

    script = Script()
    with pytest.raises(ZeroDivisionError, match="a bug"):
        held(program_of(INSPECT), script, Kept(), told=screen)
    assert script.made_safe == 1


class NoAsk:
    def __await__(self) -> Any:
        yield "coffee"


def test_a_program_that_awaits_what_is_no_ask_is_refused() -> None:
    script = Script()
    with pytest.raises(
        TypeError, match=r"a program awaited 'coffee', which is no ask; await only what station\.asks has"
    ):
        held(Bad(NoAsk), script, Kept())
    assert script.made_safe == 1


def test_an_ask_beyond_the_sheet_reaches_nobody() -> None:
    script = Script()
    ended = held(Bad(lambda: Feed("INP", 99.0, 1.0)), script, Kept())
    assert isinstance(ended.trouble, InputError)
    assert (script.asks, script.made_safe) == ([], 1)


@pytest.mark.parametrize("fails_at", ["answered", "noted", "judged"])
def test_a_store_that_fails_in_mid_run_ends_it_safely(fails_at: str) -> None:
    script, record = Script(), Kept(fails_at=fails_at, error=StoreError("store x: disk full"))
    ended = held(program_of(INSPECT, RAMP), script, record)
    assert (str(ended.trouble), ended.outcome, script.made_safe) == ("store x: disk full", ABORTED, 1)


def test_a_store_that_fails_at_the_end_is_told() -> None:
    script, record = Script(), Kept(fails_at="ended", error=StoreError("store x: disk full"))
    ended = held(program_of(INSPECT), script, record)
    assert (str(ended.trouble), ended.safe) == ("store x: disk full", script.safe)


def test_a_bench_that_is_not_safe_is_told_and_recorded() -> None:
    unsafe = SafeState(verified=False, problems=("OUTP still holds 9 V",), volts=(("OUTP", 9.0),), seconds=12.0)
    script, record = Script(safe=unsafe), Kept()
    ended = held(program_of(INSPECT), script, record)
    assert ended.safe == unsafe
    assert record.facts[-1][2] == unsafe


def test_a_dry_run_keeps_nothing_and_judges_the_same() -> None:
    program = program_of(INSPECT, RAMP, MEASURE)
    dry = run(program, Script(), NoRecord(), envelope=Envelope(twin()))
    assert dry == held(program, Script(), Kept())


def test_the_open_step_is_known_from_its_begin() -> None:
    record = Kept()
    held(program_of(INSPECT, RAMP), Script(), record)
    started = [fact for fact, _ in record.only("noted") if isinstance(fact, StepStarted)]
    assert [(event.index, event.title) for event in started] == [(0, "inspect"), (1, "ramp")]
    assert started[1].caution


def test_a_program_that_is_cut_short_is_closed_before_the_bench_is_made_safe() -> None:
    order: list[str] = []

    class Noting(Script):
        def make_safe(self) -> SafeState:
            order.append("made safe")
            return super().make_safe()

    class Open(Bad):
        async def run(self) -> tuple[Judgement, ...]:
            try:
                return await super().run()
            finally:
                order.append("closed")

    interrupts = Interrupts()
    interrupts.ask_to_end("stopped by Ctrl-C")
    held(Open(lambda: Question("shiny")), Noting(), Kept(), interrupts=interrupts)
    assert order == ["closed", "made safe"]
