"""The step that guides a hand at a trimmer."""

import math

import pytest

from station.asks import Toward, Turn, Turned, Warned
from station.lines import Outcome
from station.profile import BoundStep
from tests.station.boards import RAMP, SHEET, profile_of, step_of
from tests.station.scripts import Answered, Script, answer

REACH = "RV101: {parameter: trim_p, sets: OUTP, clockwise: raises"
REACHES = "reaches: 14 V .. 16 V"


class Trimmer(Script):
    """A board whose OUTP follows its trimmer, turned by a hand of a longest step (volts).

    `gain` is how much farther than asked the hand goes; it turns whole grains only (volts).
    """

    def __init__(
        self,
        volts: float,
        step_volts: float,
        *,
        terminal: str = "OUTP",
        clockwise_adds: bool = True,
        gain: float = 1.0,
        grain: float = 1e-9,
    ) -> None:
        super().__init__(volts={terminal: lambda: self.now})
        self.now, self._step, self._adds = volts, step_volts, clockwise_adds
        self._gain, self._grain = gain, grain

    def turn(self, ask: Turn) -> Turned:
        up = (ask.toward is Toward.CLOCKWISE) == self._adds
        grains = math.ceil(min(self._step, ask.remaining) * self._gain / self._grain - 1e-6)
        self.now += grains * self._grain * (1.0 if up else -1.0)
        return super().turn(ask)


class Tied(Script):
    """Two rails set exactly by their trimmers, where the second one moves the first by a share of its own move."""

    def __init__(self, outp: float, outn: float, *, shares: float) -> None:
        super().__init__(volts={"OUTP": lambda: self.outp, "OUTN": lambda: self.outn})
        self.outp, self.outn, self._shares = outp, outn, shares

    def turn(self, ask: Turn) -> Turned:
        up = 1.0 if ask.toward is Toward.CLOCKWISE else -1.0
        if ask.trimmer == "RV101":
            self.outp += up * ask.remaining
            self.outn -= up * ask.remaining * self._shares
        else:
            self.outn -= up * ask.remaining
            self.outp += up * ask.remaining * self._shares
        return super().turn(ask)


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
    assert told.events == (Warned("RV101 is at its end or stuck"),)
    assert told.judged("trimmed").outcome is Outcome.FAILED


def test_a_rail_that_never_follows_its_trimmer_ends_the_trim() -> None:
    told = answer(trim(), Script(volts={"OUTP": 14.6}))
    assert len(told.of(Turn)) == 11  # twenty seconds of turning in vain
    assert told.events == (Warned("OUTP does not follow RV101: is it the right one, is its wiper open?"),)


def test_a_rail_that_moves_the_wrong_way_ends_the_trim_before_it_is_far_off() -> None:
    board = Trimmer(14.9, 0.02, clockwise_adds=False)
    told = answer(trim(), board)
    assert len(told.of(Turn)) == 2
    (warned,) = told.events
    assert isinstance(warned, Warned) and warned.text.startswith("OUTP moves the wrong way: RV101 is turned against")


def test_a_hand_that_never_gets_there_is_let_go() -> None:
    told = answer(trim(), Trimmer(14.0, 0.001))
    assert told.events == (Warned("not in the middle after 3 min of turning"),)
    assert told.judged("trimmed").outcome is Outcome.FAILED


def test_a_rail_that_has_passed_is_brought_back_and_raised_again() -> None:
    """The window is 14.97 V to 15.03 V: back to its lower edge, then up once more."""
    board = Trimmer(14.9, 0.05, gain=1.3)
    told = answer(trim(), board)
    way = [(ask.toward, ask.overshot, round(ask.remaining, 4)) for ask in told.of(Turn)]
    up, down = Toward.CLOCKWISE, Toward.ANTICLOCKWISE
    assert way[:4] == [(up, False, 0.1), (up, False, 0.035), (down, True, 0.0405), (up, False, 0.0421)]
    assert told.judged("trimmed").outcome is Outcome.PASSED


def test_a_rail_that_comes_from_above_is_lowered_last() -> None:
    turns = answer(trim(), Trimmer(15.1, 0.05, gain=1.3)).of(Turn)
    assert turns[-1].toward is Toward.ANTICLOCKWISE and any(ask.overshot for ask in turns)


def test_a_window_finer_than_the_trimmer_is_left_inside_it() -> None:
    board = Trimmer(14.99, 1.0, grain=0.02)  # jumps past the 15 mV in the middle of a window of 60 mV
    told = answer(trim(), board)
    (warned,) = told.events
    assert isinstance(warned, Warned) and warned.text.startswith("the window is finer than RV101 can be set")
    assert told.judged("trimmed").outcome is Outcome.PASSED


def test_the_operator_may_say_that_it_is_enough() -> None:
    told = answer(trim(), Script(volts={"OUTP": 15.02}, turned=[Turned.ENOUGH]))
    assert (len(told.of(Turn)), told.events) == (1, ())
    assert told.judged("trimmed").outcome is Outcome.PASSED


def test_a_rail_that_does_not_stay_is_turned_again() -> None:
    as_found, turned, sagging = [14.9, 14.9, 14.9], 15.0, 15.02
    board = Script(volts={"OUTP": [*as_found, turned, sagging, 15.0]})
    assert len(answer(trim(), board).of(Turn)) == 2


def test_a_rail_moved_by_a_later_trimmer_is_brought_back_in_a_second_round() -> None:
    both = trim("{RV101: {OUTP: 15 V ± 0.2 %}, RV201: {OUTN: -15 V ± 0.2 %}}")
    board = Tied(14.9, -14.8, shares=0.3)
    told = answer(both, board)
    assert [ask.trimmer for ask in told.of(Turn)] == ["RV101", "RV201", "RV101", "RV201"]
    assert {told.judged("trimmed", name).outcome for name in ("OUTP", "OUTN")} == {Outcome.PASSED}


def test_rails_that_never_agree_are_left_after_three_rounds() -> None:
    both = trim("{RV101: {OUTP: 15 V ± 0.2 %}, RV201: {OUTN: -15 V ± 0.2 %}}")
    told = answer(both, Tied(14.9, -14.8, shares=1.0))
    assert len(told.of(Turn)) == 6
    assert told.events == (Warned("OUTP does not stay in its middle: another trimmer moves it"),)


def test_the_order_is_the_sheets() -> None:
    told = answer(trim("{RV201: {OUTN: -15 V ± 0.2 %}, RV101: {OUTP: 15 V ± 0.2 %}}"), Tied(14.9, -14.8, shares=0.0))
    assert [ask.trimmer for ask in told.of(Turn)] == ["RV101", "RV201"]


def reaching(volts: float) -> Answered:
    """Trim a board that was found at some volts, and whose trimmer reaches 14 V to 16 V."""
    profile = profile_of(RAMP, "trim: {RV101: {OUTP: 15 V ± 0.2 %}}", sheet=SHEET.replace(REACH, f"{REACH}, {REACHES}"))
    return answer(profile.steps[-1], Trimmer(volts, 1.0))


def test_each_turn_says_about_how_many_turns_are_left() -> None:
    assert [ask.turns_left for ask in reaching(14.6).of(Turn)] == [pytest.approx(0.4 / 2.0 * 25.0)]


def test_a_trimmer_that_ends_in_the_outer_tenth_of_its_travel_is_warned_of() -> None:
    assert reaching(14.3).events == ()
    text = "RV101 stands at about 94 % of its travel: look for a wrong value near it"
    assert reaching(14.12).events == (Warned(text),)


def test_a_rail_in_its_window_is_left_alone() -> None:
    assert answer(trim(), Script(volts={"OUTP": 15.002})).of(Turn) == []


def test_all_rails_are_read_once_more_after_the_last_turn() -> None:
    both = trim("{RV101: {OUTP: 15 V ± 0.2 %}, RV201: {OUTN: -15 V ± 0.2 %}}")
    board = Script(volts={"OUTP": [15.0, 15.0, 15.3], "OUTN": -15.0})  # the second trimmer has moved the first rail
    assert answer(both, board).judged("trimmed", "OUTP").outcome is Outcome.FAILED
