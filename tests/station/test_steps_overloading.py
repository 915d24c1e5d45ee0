"""The overload step: where an output gives way, that it recovers, and what is refused."""

import pytest

from station.asks import Draw, Feed, Read, Wait
from station.errors import InputError
from station.lines import Outcome
from station.steps.overloading import POINTS
from tests.station.boards import step_of
from tests.station.scripts import Script, answer

overload = step_of("overload: {current limit: 2 A, OUTP: {limits at: 1.1 A .. 1.5 A}}")


def giving_way(at: int, *, recovered: float = 15.0) -> Script:
    """An output that stands until its load is raised for the `at`-th time, and then at `recovered`.

    Two looks come before: the second must agree with the first.
    """
    return Script(volts={"OUTP": [15.0, 15.0, *[15.0] * at, 3.0, recovered]})


def test_an_output_gives_way_between_the_last_load_it_held_and_the_next() -> None:
    told = answer(overload, giving_way(5)).judged("limits at")

    # ten loads from 0.85 x 1.1 A to 1.15 x 1.5 A: the fifth is 1.2861 A, the sixth 1.3739 A
    assert told.value == pytest.approx((1.2861 + 1.3739) / 2.0, abs=1e-4)
    assert told.u == pytest.approx((1.3739 - 1.2861) / 2.0 / 3.0**0.5, abs=1e-4)
    assert told.outcome is Outcome.PASSED


@pytest.mark.parametrize("at", [0, POINTS])
def test_an_output_that_gives_way_at_once_or_never_fails(at: int) -> None:
    script = giving_way(0) if at == 0 else Script(volts={"OUTP": 15.0})
    told = answer(overload, script).judged("limits at")
    assert told.outcome is Outcome.FAILED


def test_the_load_is_taken_off_before_the_output_is_asked_whether_it_recovered() -> None:
    asks = answer(overload, giving_way(2)).asks
    kinds = [type(ask) for ask in asks]
    assert asks[-6] == Draw("OUTP", 0.0)
    assert kinds[-5:] == [Feed, Feed, Read, Wait, Read]


def test_no_load_follows_once_the_output_has_given_way() -> None:
    loads = [ask.amps for ask in answer(overload, giving_way(5)).of(Draw)]
    assert len(loads) == 7 and loads[-1] == 0.0


def test_a_limit_too_near_to_the_window_is_looked_at_in_halved_steps() -> None:
    """Between 1.0228 A and 1.1106 A it gives way, the window begins at 1.1 A: which side is not known yet."""
    held_at_half = Script(volts={"OUTP": [15.0] * 4 + [3.0] + [15.0] * 4 + [15.0] + [15.0] * 4 + [3.0, 15.0]})
    told = answer(overload, held_at_half)
    loads = [ask.amps for ask in told.of(Draw)]
    assert loads[3:] == [0.0, pytest.approx(1.06667, abs=1e-4), 0.0, pytest.approx(1.08861, abs=1e-4), 0.0]
    assert told.judged("limits at").value == pytest.approx((1.06667 + 1.08861) / 2.0, abs=1e-4)
    assert told.judged("limits at").outcome is Outcome.FAILED


@pytest.mark.parametrize(("after", "outcome"), [(14.9, Outcome.PASSED), (14.7, Outcome.FAILED)])
def test_an_output_must_be_back_within_a_percent(after: float, outcome: Outcome) -> None:
    told = answer(overload, giving_way(5, recovered=after)).judged("off after overload")
    assert told.value == pytest.approx((15.0 - after) / 15.0)
    assert told.outcome is outcome


def test_recovery_need_not_be_judged() -> None:
    step = step_of("overload: {current limit: 2 A, OUTP: {limits at: 1.1 A .. 1.5 A, recovers: false}}")
    assert [line.name for line in step.form.lines(step.setup)] == ["limits at"]


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("OUTP: {limits at: at most 1.5 A}", "is no window; write where the output gives way"),
        ("OUTP: {limits at: 1.1 A .. 1.9 A}", "goes to 2.185 A, above twice its rating; write at most 1.74 A"),
        ("current limit: 1.6 A, OUTP: {limits at: 1.1 A .. 1.5 A}", "limit of 1.6 A gives way before OUTP does"),
        ("INP: {limits at: 1.1 A .. 1.5 A}", "INP is no output of the board; write one of OUTP, OUTN"),
        ("current limit: 2 A", "the step judges nothing"),
        ("OUTP: {}", "limits at"),
    ],
)
def test_what_can_not_be_done_is_refused_before_power(text: str, what: str) -> None:
    with pytest.raises(InputError, match=what):
        step_of(f"overload: {{{text}}}" if "current limit" in text else f"overload: {{current limit: 4 A, {text}}}")
