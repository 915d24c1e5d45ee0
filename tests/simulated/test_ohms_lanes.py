"""Boards under an ohmmeter side by side: a board's reading is its own whatever stands beside it."""

from pathlib import Path

import numpy as np
import pytest

from simulated.board import BoardDescription, designed, fitted, misbuilt
from simulated.circuit.universe import universe
from simulated.ohms_lanes import OhmsLanes, OhmsTest

FOLDER = Path(__file__).parents[2] / "profiles" / "adj3t"
# Its regulator's input is left open: inside is a node that next to nothing holds, and the last bit of the amperes
# beside it is microvolts there. It was solved in some company and not in other.
OPEN = "XU1.in:open"


SEEDS = (900, 901)


def described() -> BoardDescription:
    text = (FOLDER / "board.cir").read_text(encoding="utf-8")
    inputs, outputs, probes = (("INP", "inp"),), (("OUTP", "outp"),), (("TP1", "adj"),)
    return BoardDescription(text, "board.cir", FOLDER, inputs, outputs, probes)


def read(faults: list[str], terminal: str) -> list[float]:
    """Return the volts that a milliampere drives into a terminal of the open boards, among those with other faults."""
    description = described()
    netlists = [misbuilt(designed(description), description, (fault,)) for fault in faults]
    parts = [fitted(each, description, [np.random.default_rng(seed) for seed in SEEDS]) for each in netlists]
    lanes, boards = OhmsLanes(netlists, parts, description, turned=False), len(faults) * len(SEEDS)
    volts, solved = lanes.volts(np.arange(boards), [OhmsTest(terminal, False, 1e-3)] * boards, {})
    assert all(solved)
    first = faults.index(OPEN) * len(SEEDS)
    return volts[first : first + len(SEEDS)]


@pytest.mark.parametrize("terminal", ["OUTP", "TP1"])
def test_a_board_reads_the_same_in_any_company(terminal):
    faults = [str(defect.fault) for defect in universe(designed(described()))]
    alone = read([OPEN], terminal)
    for every in (3, 4, 8):
        assert read(faults[faults.index(OPEN) % every :: every], terminal) == pytest.approx(alone, rel=1e-5)
