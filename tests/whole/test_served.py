"""A run on instruments that another process serves: the file, the lock, the guardian."""

import json
import os
import random
import signal
import time
from pathlib import Path
from typing import Any

import pytest

from station.store import open_store
from station.watchdogs import BITES_AFTER_SECONDS
from tests.commands import railbench
from tests.whole.served import Served, served, until


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    with served(tmp_path_factory.mktemp("served")) as open_bench:
        yield open_bench


def head(bench: Served, store: str) -> dict[str, Any]:
    with open_store(bench.home / store, create=False) as record:
        return record.heads()[-1]


def powered(bench: Served, run) -> bool:
    assert run.poll() is None, run.communicate()
    return bench.outputs() == "1,1"


def test_a_board_passes_on_the_instruments_of_a_bench_file_and_is_marked_as_simulated(bench):
    run = bench.start("--store", "one.sqlite")
    out, told = run.communicate(timeout=90)

    assert (run.returncode, out) == (0, "SIMULATED S1  Passed: all 11 lines\n"), told
    assert "bench verified safe" in told
    assert bench.outputs() == "0,0"
    assert head(bench, "one.sqlite")["simulated"]
    with open_store(bench.home / "one.sqlite", create=False) as record:
        shown = railbench("records", "show", "S1", "--store", record.place, "--json", home=bench.home)
        assert record.text(json.loads(shown.stdout)["texts"]["bench file"]) == bench.file.read_text(encoding="utf-8")


def test_a_bench_in_use_is_refused_by_name_and_left_alone(bench):
    first = bench.start("--store", "two.sqlite")
    until("the outputs are on", lambda: powered(bench, first))

    second = bench.start("--store", "two.sqlite", serial="S2")
    _, told = second.communicate(timeout=60)

    assert second.returncode == 5
    assert "is in use by " in told and f"process {first.pid}, since 20" in told
    assert first.communicate(timeout=90)[0] == "SIMULATED S1  Passed: all 11 lines\n"


def test_an_instrument_that_is_not_who_the_file_says_is_never_powered(bench):
    other = bench.home / "other.bench.yaml"
    other.write_text(bench.file.read_text().replace("RAILBENCH,SIM-SUPPLY", "MAKER,OTHER-SUPPLY"))
    run = Served(bench.home, other, bench.profile, bench.process).start("--store", "three.sqlite")
    _, told = run.communicate(timeout=60)

    assert run.returncode == 5
    assert "says it is 'RAILBENCH,SIM-SUPPLY,4,1.0', but the bench file has 'MAKER,OTHER-SUPPLY'" in told


def test_a_station_that_is_killed_leaves_its_outputs_off_and_its_run_closed(bench, exhaustive):
    """Any moment is tried, from before the first output to the discharge; about four seconds are under power."""
    rng = random.Random(1)
    for number in range(50 if exhaustive else 3):
        store, errors = f"killed{number}.sqlite", bench.home / f"killed{number}.err"
        run = bench.start("--store", store, serial=f"K{number}", errors=errors)
        until("the outputs are on", lambda run=run: powered(bench, run))
        until("a moment has passed", lambda: rng.random() < 0.005)

        os.killpg(run.pid, signal.SIGKILL)
        seconds = until("the outputs are off", lambda: bench.outputs() == "0,0")
        run.communicate()
        until("the run is closed", lambda store=store: head(bench, store)["outcome"] is not None)
        assert bench.ask("supply", "OUTP:PROT:WDOG?") == "0"

        closed = head(bench, store)
        if closed["cause"]:  # not over before it was killed
            assert closed["outcome"] == "Aborted"
            assert "the station died without a goodbye" in closed["cause"]
            assert "outputs and loads verified off" in errors.read_text()
        assert seconds < 5.0  # 0.3 s to 0.4 s on a quiet machine; this bound is for one that is not


def test_with_the_guardian_dead_too_the_supply_switches_off_by_itself(bench, exhaustive, tmp_path):
    """As when the computer loses power. It waits ten real seconds for the supply's watchdog, so not in CI."""
    if not exhaustive:
        pytest.skip("waits for the watchdog: with --exhaustive only")
    run = bench.start("--store", "dead.sqlite", errors=tmp_path / "dead.err")
    until("the outputs are on", lambda: powered(bench, run))
    until("a moment has passed", lambda: random.random() < 0.01)

    children = Path(f"/proc/{run.pid}/task/{run.pid}/children").read_text().split()
    for pid in (run.pid, *map(int, children)):
        os.kill(pid, signal.SIGKILL)
    run.communicate()
    time.sleep(BITES_AFTER_SECONDS + 2.0)  # asking anything would feed it

    assert int(bench.ask("supply", "STAT:QUES:COND? (@1)")) & 2048
    assert abs(float(bench.ask("supply", "MEAS:VOLT? (@1)"))) < 15.0  # 22 V were fed; the board bleeds slowly


def test_a_run_without_anybody_at_the_keyboard_ends_aborted_when_it_asks(bench):
    text = bench.profile.read_text().replace("steps:\n", "steps:\n  - inspect: {ask: 'All shiny?'}\n")
    asking = Path(bench.home / "asking.yaml")
    asking.write_text(text)
    run = Served(bench.home, bench.file, asking, bench.process).start("--store", "asking.sqlite", typed="")
    out, _ = run.communicate(timeout=60)

    assert run.returncode == 4
    assert out == "SIMULATED S1  Aborted: nobody answers: the keyboard's input has ended\n"
    assert bench.outputs() == "0,0"


def test_a_trimmer_is_turned_by_what_is_typed_at_the_bench(bench):
    bench.process.stdin.write("RV101 +2.5\nRV999 +1\n")
    bench.process.stdin.flush()
    assert bench.process.stderr.readline() == "RV101 stands at 60.0 % of its travel\n"
    assert bench.process.stderr.readline() == "'RV999 +1' turns nothing; type for example 'RV101 +1.5'\n"


def test_a_bench_is_looked_at_without_being_touched(bench):
    done = railbench("bench", bench.file, "--profile", "dual15/full", "--json", home=bench.home)
    told = json.loads(done.stdout)

    assert done.returncode == 0
    assert [each["identity"].split(",")[0] for each in told["instruments"]] == [
        "RAILBENCH SIM-SUPPLY",
        "RAILBENCH SIM-METER",
        "RAILBENCH SIM-LOAD",
    ]
    assert [fact.split(",")[0] for fact in told["instruments"][0]["facts"]] == ["channel 1: off", "channel 2: off"]
    (current,) = (each for each in told["limits"] if each["line"] == "no load: INP current")
    assert current["ratio"] == pytest.approx(0.002 / current["expanded"])


def test_an_instrument_that_does_not_answer_is_told_and_the_others_are_looked_at(bench):
    other = bench.home / "gone.bench.yaml"
    other.write_text(bench.file.read_text().replace(f"::{bench.port('load')}::", "::1::"))
    done = railbench("bench", other, home=bench.home)

    assert done.returncode == 5
    assert "load (TCPIP0::127.0.0.1::1::SOCKET): the link was lost at opening the link" in done.stderr
    assert "supply: RAILBENCH SIM-SUPPLY" in done.stderr and "meter: RAILBENCH SIM-METER" in done.stderr


def test_another_file_is_not_overwritten(tmp_path):
    (tmp_path / "dual15.bench.yaml").write_text("bench: my own\n")
    done = railbench("bench", "--simulate", "dual15", home=tmp_path)
    assert done.returncode == 2
    assert done.stderr == "dual15.bench.yaml is there, and no file of a simulated bench; name another --output\n"
    assert (tmp_path / "dual15.bench.yaml").read_text() == "bench: my own\n"


def test_a_board_that_there_is_not_is_told(tmp_path):
    done = railbench("bench", "--simulate", "dual16", home=tmp_path)
    assert (done.returncode, done.stderr) == (
        2,
        "there is no board 'dual16'; write 'dual15', or the name of a board sheet\n",
    )
