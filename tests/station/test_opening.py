from dataclasses import replace
from pathlib import Path

import pytest

from station.asks import Feed
from station.board import Board, parse_board
from station.errors import BenchError, InputError
from station.opening import described, open_simulated
from station.rehearsal import rehearsed
from tests.benches import full_profile
from tests.station.boards import NETLIST, SHEET


def test_a_tolerance_on_the_sheet_reaches_the_simulated_board() -> None:
    form = parse_board(f"{SHEET}parts: {{R1: {{tolerance: 5 %}}, D1: {{polarised: true}}}}\n", "b.yaml")
    assert described(Board(form, Path("b.yaml"), "", NETLIST)).tolerances == (("R1", 0.05),)


def test_a_fault_that_the_board_can_not_have_is_the_authors_to_mend() -> None:
    board = full_profile().board
    with pytest.raises(InputError, match="R999"), open_simulated(board, {}, seed=1, faults=["R999:open"]):
        pass


def test_a_board_that_loses_its_operating_point_under_power_is_told_as_that_and_not_as_a_cable() -> None:
    board = without_solution_above_a_volt()
    with (
        pytest.raises(BenchError, match=r"the simulated bench broke down: .* has no operating point with INP at 5"),
        open_simulated(board, {"INP": 5.0, "INN": 5.0}, seed=1) as bench,
    ):
        bench.performer.feed(Feed("INP", 5.0, 0.1))


def test_on_the_nominal_board_a_lost_operating_point_is_the_authors_to_mend() -> None:
    full = full_profile()
    powered = tuple(step for step in full.steps if step.form.kind != "resistance")  # cold, it fails already
    profile = replace(full, board=without_solution_above_a_volt(), steps=powered)
    with pytest.raises(InputError, match=r"has no operating point with INP at .*; look for a node that nothing holds"):
        rehearsed(profile)


def without_solution_above_a_volt() -> Board:
    """Return a dual15 with an ideal junction straight across a source that follows the input a thousandfold."""
    board = full_profile().board
    return replace(board, netlist=f"{board.netlist}\nE9 zz 0 inp 0 1000\nD9 zz 0 DCL\n")
