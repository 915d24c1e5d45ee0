"""Boards cut into lots, and what is kept of those that were run."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.lines import Outcome
from station.lockstep import LaneBoard
from station.lots import LEAST_BOARDS, LOT_BOARDS, MOST_FAULTS, OUTCOMES, Lot, Told, cut, run_lot
from tests.dividers import PROFILE, divider


def boards(*counts: int) -> list[LaneBoard]:
    """So many boards of each fault, one fault after the other."""
    return [LaneBoard(at, (f"R{fault}:open",)) for fault, count in enumerate(counts) for at in range(count)]


def sizes(*counts: int) -> list[int]:
    return [len(lot.boards) for lot in cut(boards(*counts), 0)]


@pytest.mark.parametrize(
    ("counts", "lots"),
    [
        ((), []),
        ((1,), [1]),
        ((LEAST_BOARDS,), [LEAST_BOARDS]),
        ((LEAST_BOARDS + 1,), [LEAST_BOARDS, 1]),  # a fault's boards may lie in two lots
        ((2,) * MOST_FAULTS, [2 * MOST_FAULTS]),
        ((2,) * MOST_FAULTS + (2,), [2 * MOST_FAULTS, 2]),
        ((100,) * 15, [LEAST_BOARDS, 500]),
        ((3 * LOT_BOARDS + 3,), [LOT_BOARDS, 2667, 1778, 1186, 1000, 1000, 372]),  # a third of what is left
        ((5 * LOT_BOARDS,), [LOT_BOARDS, LOT_BOARDS, LOT_BOARDS, 2666, 1778, 1185, 1000, 1000, 371]),
    ],
)
def test_a_lot_holds_so_many_boards_and_faults_and_no_more(counts: tuple[int, ...], lots: list[int]) -> None:
    assert sizes(*counts) == lots


@given(st.lists(st.integers(1, 300), max_size=70), st.integers(0, 9000))
def test_lots_hold_every_board_once_in_order_from_where_they_start(counts: list[int], start: int) -> None:
    lots = list(cut(boards(*counts), start))
    assert [board for lot in lots for board in lot.boards] == boards(*counts)
    assert all(after.start == before.start + len(before.boards) for before, after in pairwise(lots))
    assert all(lot.start == start for lot in lots[:1])


def ran(*more: LaneBoard, profile: str = PROFILE) -> Told:
    return run_lot((divider(profile), Lot(40, more)), lambda: False)


def test_each_boards_outcomes_stand_line_by_line_with_what_was_judged() -> None:
    told = ran(LaneBoard(1), LaneBoard(2, ("R2:short",)), LaneBoard(3, ("R3:short",)))
    words = [[OUTCOMES[code] for code in row] for row in told.outcomes.tolist()]
    passed, failed, none = Outcome.PASSED, Outcome.FAILED, Outcome.NOT_STARTED
    assert (told.start, words[:2]) == (40, [[passed, passed, passed], [passed, passed, failed]])
    assert (words[2][0], words[2][2]) == (failed, none)  # the ramp stopped it
    assert told.values[0] == pytest.approx([0.005, 5.0, 5.0], rel=0.1)
    assert np.isnan(told.values[2, 2])


def test_only_boards_that_passed_are_remembered_under_the_conditions_they_saw() -> None:
    told = ran(LaneBoard(1), LaneBoard(2, ("R2:short",)))
    nominal = told.visited[(("INP", 10.0),), ()]
    assert nominal[0] == pytest.approx([10.0, 5.0, 0.005], rel=0.03)  # INP, OUTP, the current at INP
    assert np.isnan(nominal[1]).all()
    assert [fed for (fed, _) in told.visited] == [(("INP", volts),) for volts in (2.0, 4.0, 6.0, 8.0, 10.0)]


def test_a_step_that_reads_with_every_input_off_is_named() -> None:
    told = ran(LaneBoard(1), profile=PROFILE + "  - discharge: {below: 2 V}\n")
    assert told.unfed_steps == {"discharge"}
    assert told.step_seconds.keys() == {"ramp", "half", "discharge"}
