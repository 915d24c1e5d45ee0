"""The step that reads a board at rest."""

from itertools import cycle

import pytest

from station.asks import Feed, Quantity, Read
from station.lines import Outcome
from tests.station.boards import step_of
from tests.station.scripts import Answered, Script, answer

measure = step_of("measure: {OUTP: {voltage: 15 V ± 1 %}, INP: {current: 16.5 mA .. 20.5 mA}}")


def efforts(told: Answered) -> list[float]:
    """Of what was judged: the first look only tells whether the second has settled."""
    return [ask.effort for ask in told.of(Read)][1:]


def test_a_measurement_feeds_nominal_inputs_first() -> None:
    told = answer(measure, Script())
    assert told.asks[:2] == (Feed("INP", 22.0, 0.15), Feed("INN", -22.0, 0.15))


def test_a_measurement_judges_what_it_read() -> None:
    told = answer(measure, Script(volts={"OUTP": 14.0}, amps={"INP": 0.018}))
    assert told.judged("voltage").outcome is Outcome.FAILED
    assert told.judged("current").outcome is Outcome.PASSED
    assert (told.judged("voltage").value, told.judged("current").value) == (14.0, 0.018)


def test_far_from_a_limit_the_quickest_look_is_enough() -> None:
    step = step_of("measure: {OUTP: {voltage: 15 V ± 1 %}}")
    assert efforts(answer(step, Script(volts={"OUTP": 15.0}))) == [0.02]


def test_near_a_limit_doubt_buys_longer_looks() -> None:
    step = step_of("measure: {OUTP: {voltage: 15 V ± 1 %}}")
    doubts = {0.02: 0.1, 1.0: 0.05, 10.0: 0.001}
    told = answer(step, Script(volts={"OUTP": 15.1}, u=doubts.__getitem__))
    assert efforts(told) == [0.02, 1.0, 10.0]
    assert (told.judged("voltage").outcome, told.judged("voltage").effort) == (Outcome.PASSED, 10.0)


def test_a_look_that_settles_the_outcome_is_the_last() -> None:
    step = step_of("measure: {OUTP: {voltage: 15 V ± 1 %}}")
    doubts = {0.02: 0.1, 1.0: 0.001}
    assert efforts(answer(step, Script(volts={"OUTP": 15.1}, u=doubts.__getitem__))) == [0.02, 1.0]


def test_on_the_limit_the_best_look_stays_undecided() -> None:
    step = step_of("measure: {OUTP: {voltage: 15 V ± 1 %}}")
    told = answer(step, Script(volts={"OUTP": 15.15}))
    assert efforts(told) == [0.02, 1.0, 10.0]
    assert told.judged("voltage").outcome is Outcome.UNDECIDED


def test_escalation_ends_at_the_best_the_instrument_has() -> None:
    step = step_of("measure: {OUTP: {voltage: 15 V ± 1 %}}")
    told = answer(step, Script(volts={"OUTP": 15.15}, best_effort=0.5))
    assert efforts(told) == [0.02, 1.0]


def test_the_last_look_an_instrument_has_may_spend_the_rest_of_the_risk() -> None:
    """At 2.5 u inside, an early look (2.88 u) is in doubt, and a last one (2.14 u) is not."""
    step = step_of("measure: {OUTP: {voltage: at most 15 V}}")
    inside = {"OUTP": 15.0 - 2.5e-4}
    assert answer(step, Script(volts=inside, best_effort=0.01)).judged("voltage").outcome is Outcome.PASSED
    assert len(answer(step, Script(volts=inside)).of(Read)) == 4


def test_a_current_is_read_where_the_board_draws_it() -> None:
    assert Read("INP", Quantity.CURRENT, 0.02) in answer(measure, Script()).asks


def test_a_rail_that_swings_slowly_is_not_passed() -> None:
    """The second look comes a tenth of a second later at least, and meets another height; no height is the last."""
    step = step_of("measure: {settle within: 0.3 s, OUTP: {voltage: 15 V ± 1 %}}")
    heights = cycle([15.0, 15.03])
    judgement = answer(step, Script(volts={"OUTP": lambda: next(heights)})).judged("voltage")
    assert judgement.outcome is Outcome.UNDECIDED
    assert judgement.cause == "OUTP not settled within 300 ms: still moving by 30 mV"
    assert judgement.u == pytest.approx(0.015 / 3.0**0.5, rel=0.01)


def test_a_rail_that_swings_outside_its_window_fails() -> None:
    step = step_of("measure: {settle within: 0.3 s, OUTP: {voltage: 15 V ± 1 %}}")
    heights = cycle([16.0, 16.03])
    assert answer(step, Script(volts={"OUTP": lambda: next(heights)})).judged("voltage").outcome is Outcome.FAILED
