"""An outlook is remembered for these very texts and this very program, and for nothing else."""

import math
from dataclasses import replace

import pytest

from station.hazards import Hazards, Heat, Store
from station.outlook import Outlook, foreseen
from station.shipped import found_profile

SHOWN = Outlook(
    12.3,
    Hazards(
        volts={"INP": 28.0, "INN": -28.0},
        stores=(Store("C1", 2.2e-3, 1 / 3, math.inf),),
        heat={"ramp": Heat({"Q1": 0.7}, 0.9)},
        kelvin_per_watt=8.0,
    ),
)


class Rehearsals:
    """Counts how often a rehearsal was held."""

    def __init__(self):
        self.held = 0

    def __call__(self):
        self.held += 1
        return SHOWN


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path / "railbench" / "outlooks"


@pytest.fixture
def profile():
    return found_profile("dual15/quick")


def test_a_rehearsal_is_held_once_and_remembered_to_the_last_digit(profile):
    rehearsals = Rehearsals()
    assert [foreseen(profile, rehearsals) for _ in range(3)] == [SHOWN] * 3
    assert rehearsals.held == 1


@pytest.mark.parametrize("what", ["profile", "sheet", "netlist", "included"])
def test_another_text_is_rehearsed_anew(profile, what):
    rehearsals, board = Rehearsals(), profile.board
    foreseen(profile, rehearsals)
    other = {
        "profile": replace(profile, text=profile.text + "\n"),
        "sheet": replace(profile, board=replace(board, text=board.text + "\n")),
        "netlist": replace(profile, board=replace(board, netlist=board.netlist + "\n")),
        "included": replace(profile, board=replace(board, included=(("models.inc", "* none"),))),
    }
    foreseen(other[what], rehearsals)
    assert rehearsals.held == 2


def test_another_program_rehearses_anew(profile, monkeypatch):
    rehearsals = Rehearsals()
    foreseen(profile, rehearsals)
    monkeypatch.setattr("station.outlook._ROOMS", ("station", "drivers"))
    foreseen(profile, rehearsals)
    assert rehearsals.held == 2


@pytest.mark.parametrize("text", ["", "{", "[1]", '{"seconds": "soon", "hazards": {}}', '{"seconds": 1}', "\ufeff"])
def test_a_memory_that_is_damaged_is_replaced(profile, folder, text):
    rehearsals = Rehearsals()
    foreseen(profile, rehearsals)
    (memory,) = folder.iterdir()
    memory.write_text(text, encoding="utf-8")
    assert [foreseen(profile, rehearsals) for _ in range(2)] == [SHOWN] * 2
    assert rehearsals.held == 2
    assert list(folder.iterdir()) == [memory]


def test_where_nothing_can_be_kept_every_run_rehearses(profile, tmp_path):
    (tmp_path / "railbench").write_text("a file in the way")
    rehearsals = Rehearsals()
    assert [foreseen(profile, rehearsals) for _ in range(2)] == [SHOWN] * 2
    assert rehearsals.held == 2
