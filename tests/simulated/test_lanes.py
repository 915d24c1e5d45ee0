"""Benches side by side without a wire: what a lane applies, what results, and that it is its own."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from simulated.board import BoardDescription, TrimmerDescription
from simulated.circuit import CircuitError
from simulated.errors import SimulatedError
from simulated.instruments.converter import range_for
from simulated.lanes import Lane, LaneBoard, Lanes
from simulated.powered import Warmth

NETLIST = """two dividers, one of them below ground, and a diode that can not stand more than its drop
R1 inp out 1k
R2 out 0 {1k+trim*1k}
R3 inn b 1k
R4 b 0 1k
E1 z 0 out ref 10
V1 ref 0 7
D1 z 0 DX
.model DX D(IS=1e-14)
.param trim=0
"""
DESCRIPTION = BoardDescription(
    netlist=NETLIST,
    netlist_name="two.cir",
    folder=Path(),
    inputs=(("INP", "inp"), ("INN", "inn")),
    outputs=(("OUT", "out"),),
    probes=(("TP1", "b"),),
    negative=frozenset({"INN"}),
    trimmers=(TrimmerDescription("RV1", "trim", 10.0),),
    tolerances=(("R2", 0.01),),
)
WARM = replace(DESCRIPTION, warmth=Warmth(kelvin_per_watt=10.0, seconds=100.0))


def one(description: BoardDescription = DESCRIPTION, *faults: str) -> tuple[Lanes, Lane]:
    lanes = Lanes(description, [LaneBoard(1, faults)])
    return lanes, lanes.lanes[0]


def settled(*boards: LaneBoard, description: BoardDescription = DESCRIPTION) -> Lanes:
    """Boards that are fed 10 V, positive and negative, and loaded with 1 mA."""
    lanes = Lanes(description, boards)
    for lane in lanes.lanes:
        lane.feed("INP", 10.0, 1.0)
        lane.feed("INN", 10.0, 1.0)
        lane.draw("OUT", 0.001)
    lanes.settle(lanes.lanes)
    return lanes


def test_a_board_is_the_same_in_any_company() -> None:
    boards = [LaneBoard(3), LaneBoard(4, ("R1:cold",)), LaneBoard(5, ("R2:short",)), LaneBoard(6, ("R1:cold",))]
    together = settled(*boards, *(LaneBoard(seed) for seed in range(100, 140)), boards[0])
    for at, board in enumerate(boards):
        assert np.array_equal(settled(board).volts[0], together.volts[at])
    assert np.array_equal(together.volts[0], together.volts[-1])


def test_boards_of_mixed_faults_keep_their_places() -> None:
    good, short = LaneBoard(1), LaneBoard(1, ("R2:short",))
    lanes = settled(good, short, good, short)
    assert [lane.volts("OUT") < 0.1 for lane in lanes.lanes] == [False, True, False, True]


def test_another_seed_is_another_board_and_bench() -> None:
    lanes = settled(LaneBoard(1), LaneBoard(2))
    first, second = lanes.lanes
    assert first.volts("OUT") != second.volts("OUT")
    assert first.volts("INP") != second.volts("INP")


def test_volts_are_in_the_boards_frame_and_currents_positive() -> None:
    (lane,) = settled(LaneBoard(1)).lanes
    assert lane.volts("INN") == pytest.approx(-10.0, rel=0.01) and lane.volts("TP1") == pytest.approx(-5.0, rel=0.03)
    assert lane.shown_amps("INN") == pytest.approx(0.005, abs=0.001)


def test_feeding_the_same_again_changes_nothing() -> None:
    lanes, lane = one()
    assert lane.feed("INP", 10.0, 1.0)
    lanes.settle([lane])
    assert not lane.feed("INP", 10.0, 1.0)
    assert not lane.stale
    assert lane.feed("INP", 10.0, 0.5) and lane.stale  # another current limit


def test_0_volts_is_off_and_holds_nothing() -> None:
    lanes, lane = one()
    lane.feed("INP", 10.0, 1.0)
    lanes.settle([lane])
    assert lane.feed("INP", 0.0, 1.0)
    lanes.settle([lane])
    assert abs(lane.volts("INP")) < 1e-6
    assert not lanes.on.any()
    assert not lane.feed("INP", 0.0, 0.2)  # whatever the limit of what is off


def test_drawing_the_same_again_changes_nothing_and_0_amps_is_off() -> None:
    lanes, lane = one()
    assert lane.draw("OUT", 0.1)
    assert not lane.draw("OUT", 0.1)
    assert lane.draw("OUT", 0.0)
    assert lanes.drawn[0, 0] == 0.0


def test_a_turn_moves_the_rail_and_makes_what_was_read_stale() -> None:
    lanes = settled(LaneBoard(1))
    (lane,) = lanes.lanes
    before = lane.volts("OUT")
    lane.turn("trim", 0.9)
    assert lane.stale and lane.volts("OUT") == before  # until it is solved
    lanes.settle([lane])
    assert lane.trimmers == {"trim": 0.9} and lane.volts("OUT") > before + 0.1


def test_only_the_lanes_that_are_given_are_solved() -> None:
    lanes = settled(LaneBoard(1), LaneBoard(2))
    first, second = lanes.lanes
    before = second.volts("OUT")
    for lane in lanes.lanes:
        lane.feed("INP", 5.0, 1.0)
    lanes.settle([first])
    assert (first.stale, second.stale) == (False, True)
    assert first.volts("OUT") < 4.0 and second.volts("OUT") == before


def test_a_supply_at_its_limit_says_so() -> None:
    lanes, lane = one()
    lane.feed("INP", 10.0, 0.002)
    lanes.settle([lane])
    assert lane.limited("INP") and not lane.limited("INN")
    assert lane.volts("INP") == pytest.approx(0.002 * 2500.0, rel=0.05)


def test_what_has_no_solution_is_said_and_touches_no_other() -> None:
    """R2 open leaves 9 V at OUT: E1 puts 20 V straight across a diode."""
    lanes = settled(LaneBoard(1), LaneBoard(2, ("R2:open",)), LaneBoard(3))
    assert [lane.solved for lane in lanes.lanes] == [True, False, True]
    assert lanes.lanes[2].volts("OUT") == settled(LaneBoard(3)).lanes[0].volts("OUT")


def test_a_lane_without_a_solution_may_have_one_under_another_condition() -> None:
    lanes = settled(LaneBoard(2, ("R2:open",)))
    (lane,) = lanes.lanes
    lane.feed("INP", 5.0, 1.0)
    lanes.settle([lane])
    assert lane.solved and lane.volts("OUT") == pytest.approx(4.0, rel=0.03)  # 1 mA through 1 kohm


def test_a_board_warms_by_what_it_dissipates_and_is_solved_anew_when_it_has() -> None:
    """10 V at 5.5 mA and 10 V at 5 mA, less 1 mA at 4.6 V for the load, are 0.1 W: 1 K in the end, 0.02 K in 2 s."""
    lanes = settled(LaneBoard(1), description=WARM)
    (lane,) = lanes.lanes
    lane.clock.advance(1.5)
    assert not lane.stale
    lane.clock.advance(1.0)
    assert lane.stale
    lanes.settle([lane])
    assert not lane.stale


def test_a_board_that_has_warmed_through_stays_as_it_is() -> None:
    lanes = settled(LaneBoard(1), description=WARM)
    (lane,) = lanes.lanes
    lane.clock.advance(5000.0)
    lanes.settle([lane])
    lane.clock.advance(1e6)
    assert not lane.stale


def test_a_board_whose_warmth_is_not_described_never_drifts() -> None:
    (lane,) = settled(LaneBoard(1)).lanes
    lane.clock.advance(1e6)
    assert not lane.stale


def test_readings_scatter_about_the_true_volts_and_overload_is_no_number() -> None:
    (lane,) = settled(LaneBoard(1)).lanes
    shown = [lane.shown_volts("OUT", range_for(10.0), 1.0) for _ in range(5)]
    assert shown == pytest.approx([lane.volts("OUT")] * 5, rel=1e-3)
    assert lane.shown_volts("INN", range_for(1.0), 1.0) == -9.9e37


@pytest.mark.parametrize(
    ("description", "faults", "error", "message"),
    [
        (replace(DESCRIPTION, outputs=(("OUT", "nowhere"),)), (), SimulatedError, "OUT is at node 'nowhere'"),
        (DESCRIPTION, ("R9:open",), CircuitError, "has no part 'R9'"),
        (replace(DESCRIPTION, tolerances=(("R9", 0.1),)), (), CircuitError, "R9"),
    ],
)
def test_a_wrong_description_or_fault_is_refused(
    description: BoardDescription, faults: tuple[str, ...], error: type[Exception], message: str
) -> None:
    with pytest.raises(error, match=message):
        one(description, *faults)
