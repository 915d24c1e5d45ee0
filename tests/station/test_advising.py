"""Advice, from boards made up for it: columns are the volts at INP and OUTP, and the amps at INP."""

import dataclasses
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.advising import Boards, advised
from station.lockstep import Condition
from station.proof import Advice
from tests.dividers import PROFILE, divider

NOMINAL: Condition = (("INP", 10.0),), ()
ALL = {"ramp": 0.5, "half": 0.5}
GOOD = [4.98, 5.0, 5.02]


def passing(
    good: Sequence[float], escapes: Sequence[float], condition: Condition = NOMINAL, *, weight: float = 0.1
) -> Boards:
    """Boards that showed these volts at OUTP, under one condition, and judged them last."""
    volts = np.array([*good, *escapes])
    seen = np.column_stack([np.full(volts.size, 10.0), volts, np.full(volts.size, 0.005)])
    values = np.column_stack([np.full(volts.size, 0.005), np.full(volts.size, 5.0), volts])
    is_good = np.arange(volts.size) < len(good)
    return Boards(is_good, np.where(is_good, 0.0, weight), {condition: seen}, values)


def advice(boards: Boards, profile: str = PROFILE) -> tuple[Advice, ...]:
    return advised(divider(profile), boards, ALL)


def reading(boards: Boards) -> Advice:
    (found,) = (each for each in advice(boards) if each.write)
    return found


def test_one_more_reading_catches_the_weight_of_the_boards_outside_its_window() -> None:
    found = reading(passing(GOOD, [4.5, 5.3, 5.01]))
    assert found.text == "one more reading, OUTP voltage with 10 V in, no load"
    assert found.gain == pytest.approx(0.2)


@given(
    st.lists(st.floats(4.5, 5.5), min_size=1, max_size=30),
    st.lists(st.floats(0.0, 9.9), max_size=10),
)
def test_an_advised_window_keeps_every_good_board_and_catches_what_it_promises(
    good: list[float], escapes: list[float]
) -> None:
    for each in advice(passing(good, escapes)):
        if not each.write:
            continue
        step = divider(PROFILE + f"  {each.write}\n").steps[-1]
        (line,) = step.form.lines(step.setup)
        assert line.limit is not None and line.limit.low is not None and line.limit.high is not None
        low, high = float(line.limit.low), float(line.limit.high)
        assert low < min(good) and max(good) < high
        assert each.gain is not None and each.gain <= 0.1 * sum(not low < volts < high for volts in escapes) + 1e-9


def test_boards_that_read_like_good_ones_bring_no_advice() -> None:
    assert advice(passing(GOOD, [4.99, 5.0, 5.02])) == ()


def test_no_boards_that_escape_bring_no_advice() -> None:
    assert advice(passing(GOOD, [])) == ()


def test_what_is_hardly_ever_wrong_is_not_worth_a_reading() -> None:
    assert advice(passing(GOOD, [4.5], weight=0.0005)) == ()


def test_without_a_good_board_nothing_is_advised() -> None:
    assert advised(divider(), passing([], [4.5]), {}) == ()


@pytest.mark.parametrize(
    ("condition", "words"),
    [
        (NOMINAL, "name: one more look, OUTP: {"),
        (((("INP", 11.0),), ()), "name: one more look, inputs: 11 V, OUTP: {"),
        (((("INP", 10.0),), (("OUTP", 0.1),)), "loads: {OUTP: 0.1 A}, current limit: 0.13 A, OUTP: {"),
        (((("INP", 10.0),), (("OUTP", 0.0),)), "name: one more look, OUTP: {"),
    ],
)
def test_the_step_to_write_asks_for_the_condition_that_was_seen(condition: Condition, words: str) -> None:
    assert words in reading(passing(GOOD, [4.5], condition)).write


def test_what_is_on_the_way_up_is_no_condition_to_ask_for() -> None:
    low: Condition = (("INP", 4.0),), ()
    assert not any(each.write for each in advice(passing(GOOD, [4.5], low)))


def test_a_condition_that_some_good_board_did_not_see_is_not_asked_for() -> None:
    boards = passing(GOOD, [4.5])
    boards.visited[NOMINAL][0] = np.nan
    assert not any(each.write for each in advice(boards))


def test_a_limit_can_be_tightened_as_far_as_good_boards_go() -> None:
    """Room is a quarter of 40 mV and 2 mV + 0.02 %; then outward to whole hundredths: 4.96 V and 5.04 V."""
    (found,) = (each for each in advice(passing(GOOD, [4.6])) if not each.write)
    assert found.text == "tighten half: OUTP voltage to 4.96 V .. 5.04 V: no good board leaves it"
    assert found.gain == pytest.approx(0.1)


def test_a_side_that_a_limit_leaves_open_stays_open() -> None:
    least = PROFILE.replace("5 V ± 10 %", "at least 4 V")
    (found,) = (each for each in advice(passing(GOOD, [4.6, 9.0]), least) if not each.write)
    assert "to at least 4.96 V:" in found.text and found.gain == pytest.approx(0.1)


def test_a_limit_is_never_widened() -> None:
    narrow = PROFILE.replace("5 V ± 10 %", "4.99 V .. 5.5 V")
    (found,) = (each for each in advice(passing(GOOD, [5.3]), narrow) if not each.write)
    assert "to 4.99 V .. 5.04 V:" in found.text


MORE = PROFILE + "  - measure: {name: again, OUTP: {voltage: 5 V ± 10 %}}\n  - discharge: {below: 2 V}\n"


def test_a_step_that_was_never_the_first_is_named_unless_others_need_it() -> None:
    boards = passing(GOOD, [])
    six = dataclasses.replace(boards, values=np.hstack([boards.values] * 2))
    found = advised(divider(MORE), six, {"half": 1.0})
    assert [each.text for each in found] == ["'again' adds nothing: it was never the first step to fail a faulty board"]
    assert found[0].gain is None
