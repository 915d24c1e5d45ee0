"""Settling: when looks agree, what becomes of tails, frozen values and boards that never rest."""

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

import pytest

from station.asks import Ask, Quantity, Read, Reading, Wait
from station.steps.kinds import Setup
from station.steps.settling import Settled, inputs_settled, settled
from tests.station.boards import step_of
from tests.station.scripts import Script, reading

SETUP = step_of("measure: {OUTP: {voltage: 15 V ± 1 %}}").setup
NOISE = {0.02: 1e-3, 1.0: 1e-4, 10.0: 1e-5}
LOOK_SECONDS = 2.6e-3  # what a quick look takes


@dataclass
class Moving(Script):
    """An output that follows a course (seconds to volts), seen through the noise of a meter."""

    course: Callable[[float], float] = lambda seconds: 15.0
    noise: float = 1.0
    now: float = 0.0
    rng: random.Random = field(default_factory=lambda: random.Random(1))

    def wait(self, ask: Wait) -> None:
        self.now += ask.seconds
        super().wait(ask)

    def read(self, ask: Read) -> Reading:
        self.asks.append(ask)
        self.now += LOOK_SECONDS + 0.04 * (ask.effort if ask.effort > 0.5 else 0.0)
        u = NOISE[ask.effort]
        value = self.course(self.now) + self.noise * self.rng.gauss(0.0, u)
        return Reading(round(value, 9), u, 0.0, "meter", ask.effort, self.now)


def followed(board: Script, **options: object) -> Settled:
    program = settled(SETUP, "OUTP", **options)  # type: ignore[arg-type]  # whatever a test asks
    reply: object = None
    try:
        while True:
            ask = program.send(reply)
            assert isinstance(ask, Ask)
            reply = ask.put_to(board)
    except StopIteration as end:
        assert isinstance(end.value, Settled)
        return end.value


def quick() -> Read:
    return Read("OUTP", Quantity.VOLTAGE, 0.02)


def test_two_looks_that_agree_are_enough() -> None:
    board = Moving()
    assert followed(board).unrest == ""
    assert board.asks == [quick(), Wait(0.005), quick()]


def test_the_reading_itself_may_take_more_effort_and_must_agree_with_the_quick_look() -> None:
    board = Moving()
    assert followed(board, effort=10.0).reading.effort == 10.0
    assert board.asks == [quick(), Wait(0.005), Read("OUTP", Quantity.VOLTAGE, 10.0)]


def test_an_earlier_look_counts_and_needs_no_pause() -> None:
    board = Moving()
    followed(board, earlier=reading(15.0, 1e-3))
    assert board.asks == [quick()]


def test_the_first_reading_after_a_change_of_range_may_be_off() -> None:
    board = Script(volts={"OUTP": [14.2, 15.0, 15.0, 15.0]}, u=NOISE.__getitem__)
    found = followed(board)
    assert (found.reading.value, found.unrest) == (15.0, "")


@pytest.mark.parametrize("tau", [0.003, 0.01, 0.03, 0.1, 0.2])
def test_a_tail_that_was_seen_is_followed_below_the_noise(tau: float) -> None:
    """A volt that fades: what is left is at most what one look's noise (1 mV) hides anyway, on 200 boards each."""
    left = []
    for seed in range(200):
        board = Moving(course=lambda now: 15.0 + math.exp(-now / tau), rng=random.Random(seed))
        assert followed(board).unrest == ""
        left.append(math.exp(-board.now / tau))
    assert sorted(left)[-5] < 2e-3  # all but one in fifty
    assert max(left) < 5e-3


def test_a_reservoir_that_empties_is_waited_for_and_not_much_longer() -> None:
    """8 V/s from 22 V to 19 V: done after 0.375 s; half as long again shows that it is."""
    board = Moving(course=lambda now: max(19.0, 22.0 - 8.0 * now))
    assert abs(followed(board).reading.value - 19.0) < 4e-3
    assert 0.375 < board.now < 0.66


def test_a_board_that_swings_is_told_with_its_spread_as_doubt() -> None:
    board = Moving(course=partial(swinging, 9.0, 0.0))
    found = followed(board)
    assert found.unrest == "OUTP not settled within 2 s: still moving by 29 mV"
    assert found.reading.u_random == pytest.approx(0.015 / math.sqrt(3.0), rel=0.1)
    assert 2.0 < board.now < 2.3


def swinging(hertz: float, turn: float, now: float) -> float:
    return 15.0 + 0.015 * math.sin(2.0 * math.pi * hertz * now + turn)


@pytest.mark.parametrize("hertz", [4.0, 7.0, 9.0, 11.0, 20.0, 50.0])
def test_hardly_any_swing_is_met_at_the_same_height_by_all_looks(hertz: float) -> None:
    """30 mV from peak to peak, noise of 1 mV, the change at any phase: 40 phases each, those seen to move at first."""
    settled_ = []
    for phase in range(40):
        turn = 2.0 * math.pi * phase / 40.0
        board = Moving(course=partial(swinging, hertz, turn))
        found = followed(board)
        if len(board.asks) > 3:
            settled_.append(found.unrest == "")
    assert sum(settled_) <= 1


def test_the_time_that_settling_may_take_can_be_shorter() -> None:
    board = Moving(course=lambda now: 15.0 + now)
    assert followed(board, within=0.25).unrest.startswith("OUTP not settled within 250 ms: still moving by ")
    assert board.now < 0.35


def test_a_restless_reading_has_the_effort_that_was_asked() -> None:
    assert followed(Moving(course=lambda now: 15.0 + now), effort=1.0).reading.effort == 1.0


def test_a_value_that_repeats_what_was_before_the_change_is_frozen() -> None:
    found = followed(Script(volts={"OUTP": 15.002}), before=reading(15.002))
    assert found.unrest == "OUTP not settled within 2 s: still exactly 15.002 V, as before the change"


def test_a_value_that_moves_after_all_was_only_late() -> None:
    board = Script(volts={"OUTP": [15.0, 15.0, 15.0, 15.1]})
    found = followed(board, before=reading(15.0))
    assert (found.reading.value, found.unrest) == (15.1, "")


def test_a_value_near_what_was_before_is_not_frozen() -> None:
    assert followed(Script(volts={"OUTP": 15.0021}), before=reading(15.002)).unrest == ""


def test_noise_alone_costs_a_further_look_hardly_ever() -> None:
    """Looks that differ by three standard deviations of their difference: once in 370."""
    asked = []
    for seed in range(4000):
        board = Moving(rng=random.Random(seed))
        followed(board)
        asked.append(len(board.asks) > 3)
    assert 2 <= sum(asked) <= 24  # 10.8 expected


def inputs_followed(setup: Setup, board: Script) -> str:
    program = inputs_settled(setup, {"INP": 19.0, "INN": 19.0})
    reply: object = None
    try:
        while True:
            reply = program.send(reply).put_to(board)
    except StopIteration as end:
        return str(end.value)


def test_inputs_are_there_when_they_stand_where_they_are_fed() -> None:
    board = Script(volts={"INP": [20.0, 19.5, 19.01, 19.01, 19.01, 19.01], "INN": -19.02})
    assert inputs_followed(SETUP, board) == ""


def test_an_input_that_stands_elsewhere_is_named() -> None:
    board = Script(volts={"INP": 19.0, "INN": -21.0})
    assert inputs_followed(SETUP, board) == "INN not settled within 2 s: INN is at -21 V, fed 19 V"
