"""Two stations, each a process of its own, write into one record at once: nothing acknowledged is lost."""

import json
import sqlite3
import subprocess
import sys
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import pytest

from station.store import open_store

STATION = """
import json, sys
from itertools import count
from station.asks import Quantity, Read, SafeState, StepStarted
from station.lines import Outcome
from station.record import begin
from station.store import open_store
from tests.station.boards import RAMP, profile_of
from tests.station.scripts import reading

place, name, runs, readings = sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
profile, value = profile_of(RAMP), count()
print("ready", flush=True)
sys.stdin.readline()
with open_store(place) as store:
    for number in range(runs):
        record = begin(store, profile, f"{name}-{number}", simulated=True, bench={}, software="test")
        record.noted(StepStarted(0, "ramp"))
        for _ in range(readings):
            taken = float(next(value))
            record.answered(Read("OUTP", Quantity.VOLTAGE), reading(taken))
            print(json.dumps([record.id, taken]), flush=True)
        record.ended(Outcome.PASSED, "", SafeState(True))
"""


def ready(place: Path, name: str, runs: int, readings: int) -> "subprocess.Popen[str]":
    words = [sys.executable, "-c", STATION, str(place), name, str(runs), str(readings)]
    process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdin is not None  # it waits there, so that all begin at once
    return process


def begun(*stations: "subprocess.Popen[str]") -> None:
    for station in stations:
        assert station.stdout is not None and station.stdout.readline() == "ready\n"
    for station in stations:
        assert station.stdin is not None
        station.stdin.write("\n")
        station.stdin.flush()


def acknowledged(lines: Sequence[str]) -> list[tuple[str, float]]:
    return [(run, value) for run, value in map(json.loads, lines)]


def stored(place: Path, serial: str) -> list[tuple[str, float]]:
    with closing(sqlite3.connect(place)) as reader:
        assert reader.execute("pragma integrity_check").fetchall() == [("ok",)]
        assert reader.execute("pragma foreign_key_check").fetchall() == []
        wanted = "select run, value from readings join runs on runs.id = run where serial like ? order by value"
        return [(run, value) for run, value in reader.execute(wanted, (f"{serial}-%",))]


def test_two_stations_at_once_lose_nothing_in_one_record(tmp_path: Path) -> None:
    place = tmp_path / "shared.sqlite"
    stations = {name: ready(place, name, runs=4, readings=25) for name in ("north", "south")}
    begun(*stations.values())  # both find no record yet

    told = {name: station.communicate(timeout=60) for name, station in stations.items()}

    assert [error for _, error in told.values()] == ["", ""]
    for name, (lines, _) in told.items():
        written = acknowledged(lines.splitlines())
        assert len(written) == 100 and stored(place, name) == written
    with open_store(place) as store:
        assert [head["outcome"] for head in store.heads()] == ["Passed"] * 8


def test_a_killed_station_loses_nothing_it_acknowledged_and_holds_up_nobody(tmp_path: Path) -> None:
    place = tmp_path / "shared.sqlite"
    killed, other = ready(place, "north", runs=1, readings=10_000), ready(place, "south", runs=2, readings=25)
    with open_store(place), closing(sqlite3.connect(place, isolation_level=None)) as third:
        third.execute("begin immediate")
        begun(killed, other)
        with pytest.raises(subprocess.TimeoutExpired):  # somebody writes: they wait, and don't give up
            other.communicate(timeout=0.4)
        third.execute("commit")
    assert killed.stdout is not None
    seen = [killed.stdout.readline() for _ in range(25)]

    killed.kill()
    lines, errors = other.communicate(timeout=60)

    seen += [line for line in killed.communicate()[0].splitlines(keepends=True) if line.endswith("\n")]
    assert errors == "" and len(lines.splitlines()) == 50
    assert stored(place, "south") == acknowledged(lines.splitlines())
    assert set(acknowledged(seen)) <= set(stored(place, "north"))
