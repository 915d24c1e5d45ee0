"""The soak: drift, jumps, how long, and what is refused."""

import pytest

from station.asks import Draw, Read, Wait
from station.errors import InputError
from station.lines import Outcome
from station.steps.soaking import drift, largest_jump
from tests.station.boards import step_of
from tests.station.scripts import Script, answer, reading

SOAK = "soak: {for: 60 s, every: 10 s, current limit: 1 A, OUTP: {drift: at most 15 mV}"


def test_a_soak_reads_at_its_start_and_after_each_interval() -> None:
    asks = answer(step_of(f"{SOAK}}}"), Script()).asks
    taken = [type(ask) for ask in asks if isinstance(ask, (Read, Wait))]
    assert taken == [Read, *[Wait, Read] * 6]


@pytest.mark.parametrize(("last", "outcome"), [(15.010, Outcome.PASSED), (15.020, Outcome.FAILED)])
def test_the_span_of_all_readings_is_the_drift(last: float, outcome: Outcome) -> None:
    climb = [15.0 + (last - 15.0) * at / 6 for at in range(7)]
    told = answer(step_of(f"{SOAK}}}"), Script(volts={"OUTP": climb})).judged("drift")
    assert told.value == pytest.approx(last - 15.0)
    assert told.outcome is outcome


def test_what_moves_while_the_board_warms_up_is_no_drift() -> None:
    told = answer(step_of(f"{SOAK}, warm up: 20 s}}"), Script(volts={"OUTP": [15.1, 15.05, 15.0, 15.0]}))
    assert told.judged("drift").value == pytest.approx(0.0)


def test_an_instruments_own_error_cancels_in_a_drift() -> None:
    told = drift([reading(15.0, 1e-4, common=5e-3), reading(15.01, 1e-4, common=5e-3)])
    assert told.u == pytest.approx(2.0**0.5 * 1e-4)


def test_a_contact_that_gives_for_a_moment_is_a_jump_and_a_slow_drift_is_none() -> None:
    steady = [reading(15.0 + 1e-3 * at) for at in range(10)]
    given = [*steady[:5], reading(15.2), *steady[5:]]
    assert largest_jump(steady).value == 0.0
    assert largest_jump(given).value == pytest.approx(0.196, abs=1e-3)


def test_a_jump_fails_the_soak() -> None:
    script = Script(volts={"OUTP": [15.0, 15.0, 15.01, 15.0, 15.0, 15.0, 15.0]})
    assert answer(step_of(f"{SOAK}}}"), script).judged("largest jump").outcome is Outcome.FAILED
    assert answer(step_of(f"{SOAK}}}"), Script()).judged("largest jump").outcome is Outcome.PASSED


def test_a_soak_under_load_takes_the_load_off_at_its_end() -> None:
    asks = answer(step_of(f"{SOAK}, load: 0.5 A}}"), Script()).of(Draw)
    assert [ask.amps for ask in asks] == [0.5, 0.0]


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("for: 0 s, OUTP: {drift: at most 1 mV}", "a soak of 0 s has no two readings 10 s apart"),
        ("for: 15 s, OUTP: {drift: at most 1 mV}", "a soak of 15 s has no two readings 10 s apart"),
        ("for: 60 s, warm up: 50 s, OUTP: {drift: at most 1 mV}", "over before the board is warm"),
        ("for: 60 s, load: 2 A, OUTP: {drift: at most 1 mV}", "2 A is above the 1 A of a rating"),
        ("for: 60 s", "the step judges nothing"),
        ("for: 60 s, TP1: {drift: at most 1 mV}", "TP1 is no output of the board"),
    ],
)
def test_what_makes_no_sense_is_refused_before_power(text: str, what: str) -> None:
    with pytest.raises(InputError, match=what):
        step_of(f"soak: {{current limit: 4 A, {text}}}")
