"""The steps that read a board at rest: measure, trim."""

from itertools import cycle

import pytest

from station.asks import Feed, Quantity, Read, Toward, Turn, Turned, Warned
from station.lines import Outcome
from station.profile import BoundStep
from tests.station.boards import step_of
from tests.station.scripts import Answered, Script, answer

measure = step_of("measure: {OUTP: {voltage: 15 V ± 1 %}, INP: {current: 16.5 mA .. 20.5 mA}}")


def efforts(told: Answered) -> list[float]:
    """Of what was judged: the first look only tells whether the second has settled."""
    return [ask.effort for ask in told.of(Read)][1:]


class Trimmer(Script):
    """A board whose OUTP follows its trimmer, turned by a hand that moves it a step at a time."""

    def __init__(self, volts: float, step_volts: float, *, terminal: str = "OUTP", clockwise_adds: bool = True) -> None:
        super().__init__(volts={terminal: lambda: self.now})
        self.now, self._step, self._adds = volts, step_volts, clockwise_adds

    def turn(self, ask: Turn) -> Turned:
        self.asks.append(ask)
        up = (ask.toward is Toward.CLOCKWISE) == self._adds
        self.now += min(self._step, ask.remaining) * (1.0 if up else -1.0)
        return Turned.DONE


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


def trim(window: str = "{RV101: {OUTP: 15 V ± 0.2 %}}") -> BoundStep:
    return step_of(f"trim: {window}")


def test_a_rail_is_turned_until_it_is_well_inside_its_window() -> None:
    board = Trimmer(14.6, 0.15)
    told = answer(trim(), board)
    assert [ask.toward for ask in told.of(Turn)] == [Toward.CLOCKWISE] * 3
    assert board.now == pytest.approx(15.0)
    assert told.judged("trimmed").outcome is Outcome.PASSED


def test_each_turn_says_how_much_is_missing() -> None:
    told = answer(trim(), Trimmer(14.6, 0.15))
    assert [ask.remaining for ask in told.of(Turn)] == [pytest.approx(volts) for volts in (0.4, 0.25, 0.1)]


@pytest.mark.parametrize(
    ("trimmer", "terminal", "start", "adds", "toward"),
    [
        ("RV101", "OUTP", 14.6, True, Toward.CLOCKWISE),
        ("RV101", "OUTP", 15.4, True, Toward.ANTICLOCKWISE),
        ("RV201", "OUTN", -14.6, False, Toward.CLOCKWISE),  # clockwise raises the magnitude
        ("RV201", "OUTN", -15.4, False, Toward.ANTICLOCKWISE),
        ("RV301", "OUTP", 14.6, False, Toward.ANTICLOCKWISE),  # clockwise lowers
        ("RV301", "OUTP", 15.4, False, Toward.CLOCKWISE),
    ],
)
def test_a_trimmer_is_turned_the_way_its_rail_needs(
    trimmer: str, terminal: str, start: float, adds: bool, toward: Toward
) -> None:
    nominal = "-15 V" if terminal == "OUTN" else "15 V"
    board = Trimmer(start, 0.5, terminal=terminal, clockwise_adds=adds)
    told = answer(trim(f"{{{trimmer}: {{{terminal}: {nominal} ± 0.2 %}}}}"), board)
    assert [(ask.trimmer, ask.toward) for ask in told.of(Turn)] == [(trimmer, toward)]
    assert told.judged("trimmed").outcome is Outcome.PASSED


def test_a_rail_outside_the_coarse_window_is_not_trimmed() -> None:
    told = answer(trim(), Trimmer(12.0, 0.15))
    assert told.of(Turn) == []
    assert told.judged("before trim").outcome is Outcome.FAILED
    assert told.judged("trimmed").outcome is Outcome.NOT_STARTED
    assert told.judged("trimmed").cause == "not trimmed: a rail is outside the coarse window, diagnose the board first"


def test_one_rail_outside_the_coarse_window_keeps_all_from_being_trimmed() -> None:
    both = trim("{RV101: {OUTP: 15 V ± 0.2 %}, RV201: {OUTN: -15 V ± 0.2 %}}")
    told = answer(both, Script(volts={"OUTP": 15.4, "OUTN": -3.0}))
    assert told.of(Turn) == []
    assert [j.outcome for j in told.judgements[2:]] == [Outcome.NOT_STARTED, Outcome.NOT_STARTED]


def test_a_stuck_trimmer_ends_its_trim_and_is_told() -> None:
    told = answer(trim(), Script(volts={"OUTP": 14.6}, turned=[Turned.DONE, Turned.STUCK]))
    assert len(told.of(Turn)) == 2
    assert told.events == (Warned("RV101: the trimmer is at its end or stuck"),)
    assert told.judged("trimmed").outcome is Outcome.FAILED


def test_a_rail_that_never_follows_its_trimmer_ends_the_trim() -> None:
    told = answer(trim(), Script(volts={"OUTP": 14.6}))
    assert len(told.of(Turn)) == 60
    assert told.events == (Warned("RV101: not inside after 60 turns"),)


def test_a_rail_in_its_window_is_left_alone() -> None:
    assert answer(trim(), Script(volts={"OUTP": 15.002})).of(Turn) == []


def test_all_rails_are_read_once_more_after_the_last_turn() -> None:
    both = trim("{RV101: {OUTP: 15 V ± 0.2 %}, RV201: {OUTN: -15 V ± 0.2 %}}")
    board = Script(volts={"OUTP": [15.0, 15.0, 15.3], "OUTN": -15.0})  # the second trimmer has moved the first rail
    assert answer(both, board).judged("trimmed", "OUTP").outcome is Outcome.FAILED
