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
from simulated.powered import Warmth

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


OHMS = 1.0 / (1.0 / 1000.0 + 1.0 / 5510.0)  # what drains the positive rail: R2 beside R3 and R4 at mid-travel


@pytest.fixture
def feed(board, clock):
    """Set a supply and, unless told otherwise, give the board the time to come to rest."""

    def fed(terminal="INP", volts=10.0, limit=1.0, on=True, seconds=5.0):
        board.feed(terminal, volts=volts, limit_amps=limit, on=on)
        clock.advance(seconds)

    return fed


def test_a_negative_input_is_below_ground_and_its_channel_sees_plus(board, feed):
    feed("INN", 10.0)

    assert board.volts("INN") == pytest.approx(-10.0)
    assert board.supply_state("INN").volts == pytest.approx(10.0)
    assert board.supply_state("INN").amps == pytest.approx(10.0 / 1000.1, rel=1e-3)


def test_a_supply_at_its_limit_tells_constant_current(board, feed):
    feed(volts=10.0, limit=0.005, seconds=20.0)

    state = board.supply_state("INP")
    assert state.regulation is Regulation.CURRENT
    assert state.amps == pytest.approx(0.005)
    assert state.volts == pytest.approx(0.005 * OHMS, rel=1e-3)


@pytest.mark.parametrize("seconds", [0.1, 0.5, 2.0])
def test_after_the_cut_a_rail_decays_with_its_own_time_constant(board, feed, seconds):
    feed()
    feed(on=False, seconds=seconds)

    assert board.volts("INP") == pytest.approx(10.0 * math.exp(-seconds / (1e-3 * OHMS)), abs=0.15)
    assert board.supply_state("INP").amps == 0.0
    assert board.supply_state("INP").regulation is Regulation.OFF


def test_a_rail_lowered_under_power_falls_to_its_new_setting_and_no_further(board, feed, clock):
    feed()
    feed(volts=5.0, seconds=0.1)

    falling = board.volts("INP")
    clock.advance(10.0)

    assert 8.0 < falling < 9.5
    assert board.volts("INP") == pytest.approx(5.0)


def test_the_other_rail_keeps_decaying_when_one_is_cut(board, feed):
    feed()
    feed("INN")
    feed(on=False, seconds=0.2)
    halfway = board.volts("INP")

    feed("INN", on=False, seconds=0.2)

    assert board.volts("INP") / halfway == pytest.approx(halfway / 10.0, abs=0.01)


def test_an_open_input_holds_nothing(clock):
    board = SimulatedBoard(DESCRIPTION, clock, faults=["R1:open"])
    board.feed("INP", volts=10.0, limit_amps=1.0, on=True)
    clock.advance(1.0)
    board.feed("INP", volts=0.0, limit_amps=1.0, on=False)
    clock.advance(0.01)

    assert abs(board.volts("INP")) < 0.01


def test_a_loaded_board_warms_to_its_dissipation_times_its_thermal_resistance(clock):
    warm = replace(DESCRIPTION, warmth=Warmth(kelvin_per_watt=100.0, seconds=60.0))
    board = SimulatedBoard(warm, clock)
    board.feed("INP", volts=10.0, limit_amps=1.0, on=True)

    temperatures = []
    for _ in range(60):
        clock.advance(10.0)
        board.volts("INP")
        temperatures.append(board.celsius)

    watts = 10.0 * 10.0 / OHMS
    assert temperatures == sorted(temperatures)
    assert temperatures[5] == pytest.approx(27.0 + 100.0 * watts * (1.0 - math.exp(-1.0)), abs=0.1)
    assert temperatures[-1] == pytest.approx(27.0 + 100.0 * watts, abs=0.1)


def test_parts_differ_from_board_to_board_and_not_for_one_seed():
    def volts(seed):
        clock = VirtualClock()
        board = SimulatedBoard(DESCRIPTION, clock, rng=np.random.default_rng(seed))
        board.feed("INP", volts=10.0, limit_amps=1.0, on=True)
        clock.advance(5.0)
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
    board.feed("INN", volts=10.0, limit_amps=1.0, on=True)
    clock.advance(5.0)
    board.draw("OUTN", 0.1)

    assert board.volts("OUTN") == pytest.approx(-10.0, abs=0.02)
    assert board.load_state("OUTN").volts == pytest.approx(10.0, abs=0.02)
    assert board.load_state("OUTN").amps == pytest.approx(0.1)


def test_a_load_put_on_after_the_cut_empties_the_rail_sooner(board, feed, clock):
    feed()
    feed(on=False, seconds=0.2)
    before = board.volts("INP")

    board.draw("OUT", 0.005)
    at_once = board.volts("INP")
    clock.advance(0.2)

    # 1000 uF into 846 ohm and a constant 5 mA: towards minus 5 mA x 846 ohm, with the time constant of both
    towards = -0.005 * OHMS
    expected = towards + (before - towards) * math.exp(-0.2 / (1e-3 * OHMS))
    assert at_once == pytest.approx(before, rel=1e-6)
    assert board.volts("INP") == pytest.approx(expected, abs=0.1)


def test_a_rail_charges_in_a_straight_line_under_its_current_limit(board, clock):
    board.feed("INP", volts=10.0, limit_amps=1.0, on=True)

    for milliseconds in (2, 5, 8):
        clock.advance(milliseconds * 1e-3 - clock.seconds())
        assert board.supply_state("INP").regulation is Regulation.CURRENT
        assert board.volts("INP") == pytest.approx(0.1 + 1.0 * milliseconds, abs=0.1)  # 1 A into 1000 uF, and R1

    clock.advance(0.1)
    assert board.supply_state("INP").regulation is Regulation.VOLTAGE
    assert board.volts("INP") == pytest.approx(10.0)


def test_looking_often_changes_nothing():
    def decayed(looks):
        clock = VirtualClock()
        board = SimulatedBoard(DESCRIPTION, clock)
        board.feed("INP", volts=10.0, limit_amps=1.0, on=True)
        clock.advance(5.0)
        board.feed("INP", volts=10.0, limit_amps=1.0, on=False)
        for _ in range(looks):
            clock.advance(0.5 / looks)
            board.volts("INP")
        return board.volts("INP")

    assert decayed(50) == pytest.approx(decayed(1), abs=0.02)


def test_a_trimmer_turned_on_the_way_takes_part(board, feed, clock):
    feed(seconds=0.004)
    board.turn("trim", 0.0)
    clock.advance(0.002)

    assert board.volts("OUT") == pytest.approx(board.volts("INP") * 1000.0 / 1010.0, rel=0.02)


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
def test_hands_find_a_window_from_either_side_in_a_dozen_turns(board, feed, clock, seed):
    feed()

    for target in (9.95, 9.97):
        turns = turned_in(board, clock, target, seed)
        assert turns is not None and turns <= 15


def test_hands_stop_at_the_end_of_the_travel(board, feed, clock):
    feed()

    assert turned_in(board, clock, 20.0) is None
    assert board.trimmers["trim"] == 1.0


def test_hands_turn_no_more_than_five_turns_without_another_look(board, feed, clock):
    feed()
    long_travel = TrimmerDescription("RV1", "trim", 100.0)
    hands = Hands(board, (long_travel,), clock, np.random.default_rng(1))
    hands.turn("RV1", clockwise=True, missing_volts=1.0)
    before = board.trimmers["trim"]

    hands.turn("RV1", clockwise=True, missing_volts=0.9999)  # hardly moved: by that feel, thousands of turns

    assert board.trimmers["trim"] - before == pytest.approx(5.0 / 100.0)


def test_a_modulated_input_comes_through_as_the_rc_low_pass_lets_it(board, feed):
    feed()
    board.modulate("INP", rms_volts=1.0, hertz=100.0)

    # R1 with C1, and what else hangs there: |1 / (1 + jwRC)| for 0.1 ohm and 1000 uF at 100 Hz
    expected = 1.0 / math.hypot(1.0, 2.0 * math.pi * 100.0 * 0.1 * 1e-3) * (5500.0 / 5510.0)
    assert board.ripple_volts("OUT") == pytest.approx(expected, rel=0.001)
    assert board.ripple_volts("INP") == pytest.approx(1.0)


def test_without_modulation_nothing_alternates(board, feed):
    feed()

    assert board.ripple_volts("OUT") == 0.0


def test_a_test_current_charges_what_hangs_on_its_terminal(board, clock):
    """1 mA into 1000 uF beside OHMS (847 ohm): I R (1 - exp(-t / R C))."""
    board.test("INP", turned=False, amps=1e-3, most_volts=5.0)
    for seconds in (0.2, 0.3, 0.5, 2.0):
        clock.advance(seconds)
        passed = clock.seconds()
        due = 1e-3 * OHMS * (1.0 - math.exp(-passed / (OHMS * 1e-3)))
        assert board.volts("INP") == pytest.approx(due, abs=0.025)  # a hundredth of a volt a step


def test_turned_round_it_is_drawn_out(board, clock):
    board.test("INP", turned=True, amps=1e-3, most_volts=5.0)
    clock.advance(30.0)
    assert board.volts("INP") == pytest.approx(-1e-3 * OHMS, rel=0.01)


def test_from_one_way_round_to_the_other_the_charge_goes_along(board, clock):
    board.test("INP", turned=True, amps=1e-3, most_volts=5.0)
    clock.advance(30.0)
    board.test("INP", turned=False, amps=1e-3, most_volts=5.0)
    assert board.volts("INP") == pytest.approx(-1e-3 * OHMS, abs=0.01)
    clock.advance(30.0)
    assert board.volts("INP") == pytest.approx(1e-3 * OHMS, rel=0.01)


def test_a_test_current_drives_no_more_than_its_volts(board, clock):
    board.test("INP", turned=False, amps=1.0, most_volts=5.0)
    clock.advance(30.0)
    assert board.volts("INP") == pytest.approx(5.0, rel=1e-3)


def test_what_it_charged_stays_when_the_ohmmeter_is_taken_off(board, clock):
    board.test("INP", turned=False, amps=1e-3, most_volts=5.0)
    clock.advance(10.0)
    board.end_test()
    before = board.volts("INP")
    clock.advance(OHMS * 1e-3)
    assert before == pytest.approx(1e-3 * OHMS, rel=0.01)
    assert board.volts("INP") == pytest.approx(before / math.e, abs=0.025)  # a hundredth of a volt a step


def test_a_board_that_is_fed_takes_no_test_current_and_feeding_takes_the_ohmmeter_off(board, clock, feed):
    feed("INP", 10.0)
    board.test("INP", turned=False, amps=1e-3, most_volts=5.0)
    assert board.supply_state("INP").volts == pytest.approx(10.0, rel=1e-3)
    feed("INP", on=False, seconds=60.0)
    board.test("INP", turned=False, amps=1e-3, most_volts=5.0)
    feed("INP", 8.0)
    assert board.supply_state("INP").volts == pytest.approx(8.0, rel=1e-3)


def test_while_an_ohmmeter_is_on_supplies_and_loads_are_off(board, clock):
    board.test("INP", turned=False, amps=1e-3, most_volts=5.0)
    clock.advance(1.0)
    assert board.supply_state("INP").regulation is Regulation.OFF
    assert board.load_state("OUT").amps == 0.0


def test_what_is_programmed_on_a_supply_that_is_off_does_not_reach_the_board(board, clock, feed):
    other_clock = VirtualClock()
    left_alone = SimulatedBoard(DESCRIPTION, other_clock)
    for each, own in ((board, clock), (left_alone, other_clock)):
        each.feed("INP", volts=10.0, limit_amps=1.0, on=True)
        own.advance(5.0)
        each.feed("INP", volts=10.0, limit_amps=1.0, on=False)
        own.advance(0.25)
    board.feed("INP", volts=3.0, limit_amps=0.5, on=False)
    for own in (clock, other_clock):
        own.advance(0.25)
    assert board.volts("INP") == left_alone.volts("INP") > 1.0  # to the last bit: nothing began anew
