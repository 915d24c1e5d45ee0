"""One simulated board: what its terminals show while it is fed, loaded, trimmed and cut off."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from simulated.board import BoardDescription, SimulatedBoard, TrimmerDescription
from simulated.circuit import CircuitError
from simulated.clock import VirtualClock
from simulated.errors import SimulatedError
from simulated.hands import Hands
from simulated.ports import Regulation

RC = """two rails that only hold charge
R1 inp a 0.1
C1 a 0 1000u
R2 a 0 1k
R3 a out 10
R4 out 0 {1k+9k*trim}
R5 inn b 0.1
C2 b 0 500u
R6 b 0 1k
.param trim=0.5
"""
TRIMMER = TrimmerDescription("RV1", "trim", 10.0)
DESCRIPTION = BoardDescription(
    netlist=RC,
    netlist_name="rc.cir",
    folder=Path(),
    inputs=(("INP", "inp"), ("INN", "inn")),
    outputs=(("OUT", "out"),),
    negative=frozenset({"INN"}),
    trimmers=(TRIMMER,),
)


@pytest.fixture
def clock():
    return VirtualClock()


@pytest.fixture
def board(clock):
    return SimulatedBoard(DESCRIPTION, clock)


def feed(board, terminal="INP", volts=10.0, limit=1.0, on=True):
    board.feed(terminal, volts=volts, limit_amps=limit, on=on)


def test_a_negative_input_is_below_ground_and_its_channel_sees_plus(board):
    feed(board, "INN", 10.0)

    assert board.volts("INN") == pytest.approx(-10.0)
    assert board.supply_state("INN").volts == pytest.approx(10.0)
    assert board.supply_state("INN").amps == pytest.approx(10.0 / 1000.1, rel=1e-3)


def test_a_supply_at_its_limit_tells_constant_current(board):
    feed(board, volts=10.0, limit=0.005)

    state = board.supply_state("INP")
    assert state.regulation is Regulation.CURRENT
    assert state.amps == pytest.approx(0.005)
    assert state.volts < 5.0


def test_after_the_cut_a_rail_decays_with_its_own_time_constant(board, clock):
    feed(board)
    farads, ohms = 1e-3, 10.0 / board.supply_state("INP").amps
    feed(board, on=False)

    clock.advance(0.5)

    assert board.volts("INP") == pytest.approx(10.0 * math.exp(-0.5 / (farads * ohms)), rel=1e-6)
    assert board.supply_state("INP").amps == 0.0
    assert board.supply_state("INP").regulation is Regulation.OFF


def test_a_rail_lowered_under_power_falls_to_its_new_setting_and_no_further(board, clock):
    feed(board)
    feed(board, volts=5.0)

    before = board.volts("INP")
    clock.advance(10.0)

    assert before == pytest.approx(10.0, rel=1e-3)
    assert board.volts("INP") == pytest.approx(5.0)


def test_the_other_rail_keeps_decaying_when_one_is_cut(board, clock):
    feed(board)
    feed(board, "INN")
    feed(board, on=False)
    clock.advance(0.2)
    halfway = board.volts("INP")

    feed(board, "INN", on=False)
    clock.advance(0.0)

    assert board.volts("INP") == pytest.approx(halfway, rel=1e-6)


def test_an_open_input_holds_nothing(clock):
    board = SimulatedBoard(DESCRIPTION, clock, faults=["R1:open"])
    feed(board)
    feed(board, on=False)

    clock.advance(0.001)

    assert abs(board.volts("INP")) < 0.01


def test_parts_differ_from_board_to_board_and_not_for_one_seed(clock):
    def volts(seed):
        board = SimulatedBoard(DESCRIPTION, clock, rng=np.random.default_rng(seed))
        feed(board)
        return board.volts("OUT")

    assert volts(1) == volts(1)
    assert volts(1) != volts(2)


@pytest.mark.parametrize(
    ("change", "error", "message"),
    [
        (
            {"outputs": (("OUT", "nowhere"),)},
            SimulatedError,
            "terminal OUT is at node 'nowhere', which rc.cir does not",
        ),
        ({"netlist": "title\nR1 inp\n"}, CircuitError, "rc.cir:2"),
    ],
)
def test_a_board_that_can_not_be_made_is_refused_in_words(clock, change, error, message):
    description = replace(DESCRIPTION, **change)

    with pytest.raises(error, match=message):
        SimulatedBoard(description, clock)


def test_a_circuit_without_a_solution_shows_no_numbers(clock):
    board = SimulatedBoard(replace(DESCRIPTION, netlist=f"{RC}E9 z 0 z 0 1\nR9 z 0 1k\n"), clock)

    with pytest.raises(SimulatedError, match=r"rc\.cir has no operating point with INP off, INN off; look for a node"):
        board.volts("OUT")


def test_a_load_on_a_negative_output_sees_plus(clock):
    description = replace(DESCRIPTION, outputs=(("OUTN", "b"),), negative=frozenset({"INN", "OUTN"}))
    board = SimulatedBoard(description, clock)
    feed(board, "INN", 10.0)
    board.draw("OUTN", 0.1)

    assert board.volts("OUTN") == pytest.approx(-10.0, abs=0.02)
    assert board.load_state("OUTN").volts == pytest.approx(10.0, abs=0.02)
    assert board.load_state("OUTN").amps == pytest.approx(0.1)


def test_a_load_put_on_after_the_cut_empties_the_rail_sooner(board, clock):
    feed(board)
    feed(board, on=False)
    clock.advance(0.2)
    before = board.volts("INP")

    board.draw("OUT", 0.005)
    at_once = board.volts("INP")
    amps = before / 1000.1 + 0.005 + (before - 0.05) / 5510.0  # through R2, the load, and R4
    clock.advance(0.2)

    assert at_once == pytest.approx(before, rel=1e-6)
    assert board.volts("INP") == pytest.approx(before * math.exp(-0.2 / (1e-3 * before / amps)), rel=0.01)


def turned_in(board, clock, target, seed=1):
    """Let the hands turn until the output is within 0.5 mV of the target; returns how many turns it took."""
    hands = Hands(board, (TRIMMER,), clock, np.random.default_rng(seed))
    for turn in range(60):
        missing = target - board.volts("OUT")
        if abs(missing) < 0.0005:
            return turn
        if not hands.turn("RV1", clockwise=missing > 0.0, missing_volts=abs(missing)):
            return None
    raise AssertionError("the hands did not get there")


@pytest.mark.parametrize("seed", range(5))
def test_hands_find_a_window_from_either_side_in_a_dozen_turns(board, clock, seed):
    feed(board)

    for target in (9.95, 9.97):
        turns = turned_in(board, clock, target, seed)
        assert turns is not None and turns <= 15


def test_hands_stop_at_the_end_of_the_travel(board, clock):
    feed(board)

    assert turned_in(board, clock, 20.0) is None
    assert board.trimmers["trim"] == 1.0
