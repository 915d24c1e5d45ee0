from pathlib import Path

import pytest

from station.board import Board, parse_board
from station.errors import InputError
from station.opening import described, open_simulated
from tests.benches import full_profile
from tests.station.boards import NETLIST, SHEET


def test_a_tolerance_on_the_sheet_reaches_the_simulated_board() -> None:
    form = parse_board(f"{SHEET}parts: {{R1: {{tolerance: 5 %}}, D1: {{polarised: true}}}}\n", "b.yaml")
    assert described(Board(form, Path("b.yaml"), "", NETLIST)).tolerances == (("R1", 0.05),)


def test_a_fault_that_the_board_can_not_have_is_the_authors_to_mend() -> None:
    board = full_profile().board
    with pytest.raises(InputError, match="R999"), open_simulated(board, {}, seed=1, faults=["R999:open"]):
        pass
