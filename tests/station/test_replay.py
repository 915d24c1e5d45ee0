import json
import random

import pytest
from sqlalchemy import text

from station.asks import Fed, Feed, Mode, Quantity, Question, Read, SafeState, Toward, Turn, Turned
from station.envelope import Envelope
from station.errors import Unreadable
from station.lines import Outcome
from station.program import compiled
from station.record import begin
from station.replay import Replay, replayed
from station.run import Ended, NoRecord, run
from station.store import Store
from station.transcript import read_ask, read_reply, written_ask, written_reply
from tests.station.boards import RAMP, profile_of, twin
from tests.station.scripts import Kept, Script, reading

WHOLE = profile_of(
    "inspect: {ask: shiny}",
    RAMP,
    "trim: {RV101: {OUTP: 15 V ± 0.2 %}}",
    "measure: {OUTP: {voltage: 15 V ± 1 %}, OUTN: {voltage: -15 V ± 1 %}, INP: {current: 16.5 mA .. 20.5 mA}}",
    "line sweep: {inputs: 19 V .. 26 V, OUTP: {line regulation: at most 0.02 %/V}}",
    "load sweep: {current limit: 1.3 A, OUTN: {to: 1 A, load regulation: at most 0.3 %}}",
    "discharge: {below: 30 V, within: 1 s}",
)
OUTP_AT_NO_LOAD = Read("OUTP", Quantity.VOLTAGE, 0.02)


class Board(Script):
    """A board of its own for every seed: noisy, and some beyond limits, stuck, unreadable or tripping."""

    def __init__(self, seed: int) -> None:
        super().__init__(u=lambda effort: 0.02 / (1.0 + 20.0 * effort))
        self._rng, self._outp = random.Random(seed), random.Random(seed).uniform(14.2, 15.8)
        self.turned = [Turned.DONE] * self._rng.randint(0, 20) + [Turned.STUCK]
        self.volts = {"OUTP": lambda: self._noisy(self._outp), "OUTN": lambda: self._noisy(-15.0)}
        self.amps = {"INP": lambda: self._noisy(0.0185) if self._rng.random() < 0.99 else float("nan")}
        self.fed = {"INN": [Mode.CV] * self._rng.randint(5, 60) + [Mode.CC]}

    def _noisy(self, value: float) -> float:
        return value + self._rng.gauss(0.0, 0.002)

    def _value(self, ask: Read) -> float:
        value = super()._value(ask)
        if value != value:
            raise Unreadable(f"{ask.terminal} {ask.quantity.value}: overload")
        return value

    def turn(self, ask: Turn) -> Turned:
        self._outp += 0.1 if self._outp < 15.0 else -0.1
        return super().turn(ask)


def recorded(store: Store, script: Script, serial: str = "SN1") -> Ended:
    record = begin(store, WHOLE, serial, simulated=True, bench={}, software="railbench 0")
    return run(compiled(WHOLE), script, record, envelope=Envelope(twin()))


def again(store: Store, serial: str = "SN1") -> Ended:
    stored = store.found(serial)
    assert stored is not None
    return run(compiled(WHOLE), replayed(stored), NoRecord(), envelope=Envelope(twin()))


def test_three_hundred_different_boards_are_judged_again_identically() -> None:
    seen = set()
    for seed in range(300):
        kept = Kept()
        first = run(compiled(WHOLE), Board(seed), kept, envelope=Envelope(twin()))
        told = [(read_ask(written_ask(a)), read_reply(written_reply(r))) for a, r in kept.only("answered")]
        second = run(compiled(WHOLE), Replay(told), NoRecord(), envelope=Envelope(twin()))
        assert second.judgements == first.judgements
        seen |= {judgement.outcome for judgement in first.judgements}
    assert seen == set(Outcome)  # the boards were not all alike


@pytest.mark.parametrize("seed", range(8))
def test_a_stored_board_is_judged_again_identically(store: Store, seed: int) -> None:
    first = recorded(store, Board(seed))
    assert again(store).judgements == first.judgements


def test_a_changed_stored_reading_changes_the_judgement(store: Store) -> None:
    first = recorded(store, Script())
    assert first.outcome is Outcome.PASSED
    with store.writing() as connection:
        found = "select sequence, reply from answers where step = 3 and ask like '%OUTN%voltage%'"
        for sequence, reply in connection.execute(text(found)).all():  # both looks
            spoilt = json.dumps({**json.loads(reply), "value": -14.0})
            connection.execute(text("update answers set reply = :r where sequence = :s"), {"r": spoilt, "s": sequence})
    judged = again(store).judgements
    differing = [new for old, new in zip(first.judgements, judged, strict=True) if old != new]
    assert [(j.line.title, j.outcome) for j in differing] == [("measure: OUTN voltage", Outcome.FAILED)]


def test_a_cut_short_run_is_judged_again_as_far_as_it_went(store: Store) -> None:
    first = recorded(store, Script(volts={"OUTP": -5.0}))
    assert first.outcome is Outcome.FAILED
    assert again(store).judgements == first.judgements


def test_new_limits_judge_an_old_board(store: Store) -> None:
    recorded(store, Script(volts={"OUTP": 15.01}))
    stored = store.found("SN1")
    assert stored is not None
    tight = profile_of(RAMP, "measure: {OUTP: {voltage: 15 V ± 1 mV}}")
    ended = run(compiled(tight), replayed(stored), NoRecord(), envelope=Envelope(twin()))
    assert ended.judgements[-1].outcome is Outcome.FAILED


def test_an_ask_that_the_record_does_not_hold_is_unreadable() -> None:
    replay = Replay([(OUTP_AT_NO_LOAD, reading(15.0))])
    with pytest.raises(Unreadable, match="the record holds no answer to Read"):
        replay.read(Read("OUTP", Quantity.VOLTAGE, 10.0))
    assert replay.read(OUTP_AT_NO_LOAD) == reading(15.0)  # and nothing was lost by asking


def test_what_the_record_does_not_hold_aborts_the_line(store: Store) -> None:
    recorded(store, Script())
    stored = store.found("SN1")
    assert stored is not None
    wider = profile_of(RAMP, "measure: {TP1: {voltage: 5 V .. 6 V}}")
    ended = run(compiled(wider), replayed(stored), NoRecord(), envelope=Envelope(twin()))
    assert ended.judgements[-1].outcome is Outcome.ABORTED
    assert ended.judgements[-1].cause.startswith("the record holds no answer to Read(terminal='TP1'")


def test_an_answer_is_given_once_and_in_order() -> None:
    replay = Replay([(OUTP_AT_NO_LOAD, reading(15.0)), (OUTP_AT_NO_LOAD, reading(15.1))])
    assert [replay.read(OUTP_AT_NO_LOAD).value for _ in range(2)] == [15.0, 15.1]
    with pytest.raises(Unreadable, match="the record holds no answer"):
        replay.read(OUTP_AT_NO_LOAD)


def test_a_reading_of_another_condition_is_never_used() -> None:
    """OUTP at 26 V of input is no answer to OUTP at 19 V: what was fed in between has to match as well."""
    told = [
        (Feed("INP", 19.0, 1.0), Fed(Mode.CV)),
        (OUTP_AT_NO_LOAD, reading(15.0)),
        (Feed("INP", 26.0, 1.0), Fed(Mode.CV)),
    ]
    replay = Replay(told)
    replay.feed(Feed("INP", 26.0, 1.0))
    with pytest.raises(Unreadable, match="the record holds no answer"):
        replay.read(OUTP_AT_NO_LOAD)


def test_what_could_not_be_read_then_can_not_be_read_now() -> None:
    with pytest.raises(Unreadable, match="overload"):
        Replay([(OUTP_AT_NO_LOAD, Unreadable("overload"))]).read(OUTP_AT_NO_LOAD)


def test_what_people_did_is_replayed_too() -> None:
    turn, question = Turn("RV101", next(iter(Toward)), 0.1), Question("shiny?")
    replay = Replay([(question, "no"), (turn, Turned.STUCK)])
    assert (replay.question(question), replay.turn(turn)) == ("no", Turned.STUCK)


def test_a_replay_has_no_bench_to_make_safe() -> None:
    assert Replay([]).make_safe() == SafeState(verified=True)
