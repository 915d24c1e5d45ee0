"""Stopped with Ctrl-C, SIGTERM or SIGKILL: outputs off on the instruments' side, and nothing acknowledged is lost."""

import json
import signal
import subprocess
import sys
import time

import pytest

from station.store import open_store
from tests.commands import FULL, RAILBENCH, environment

OFF = [[False, 0.0], [False, 0.0]]


def started(tmp_path, serial="D15-1"):
    words = [sys.executable, "-m", "tests.whole.stoppable", str(tmp_path / "r.sqlite"), serial]
    return subprocess.Popen(words, cwd=FULL.parent.parent.parent, stdout=subprocess.PIPE, text=True)


def read_until(process, ask):
    for line in process.stdout:
        if line == f"ask {ask}\n":
            return
    raise AssertionError(f"the run ended before ask {ask}")


@pytest.mark.parametrize(
    ("signals", "ask", "cause"),
    [
        ([signal.SIGINT], 3, "stopped by Ctrl-C"),  # on the ramp
        ([signal.SIGINT], 90, "stopped by Ctrl-C"),  # at full voltage
        ([signal.SIGINT] * 3, 60, "stopped by Ctrl-C"),
        ([signal.SIGTERM], 140, "stopped by SIGTERM"),  # in a sweep
    ],
)
def test_a_stopped_run_leaves_every_output_off_at_0_volts(tmp_path, signals, ask, cause):
    process = started(tmp_path)
    read_until(process, ask)

    for number in signals:
        process.send_signal(number)
        time.sleep(0.01)  # two signals at once would be one
    told = json.loads(process.communicate(timeout=60)[0].splitlines()[-1])

    assert told["outputs"] == OFF and told["inputs"] == [False, False]
    assert (told["outcome"], told["cause"], told["verified"]) == ("Aborted", cause, True)


def test_a_finished_run_leaves_every_output_off_at_0_volts(tmp_path):
    told = json.loads(started(tmp_path).communicate(timeout=60)[0].splitlines()[-1])

    assert (told["outcome"], told["outputs"], told["inputs"]) == ("Passed", OFF, [False, False])


@pytest.mark.parametrize("ask", [1, 20, 55, 81, 110, 147, 160, 181])
def test_a_killed_run_has_every_acknowledged_answer_on_disk(tmp_path, ask):
    with started(tmp_path) as process:
        read_until(process, ask)

        process.kill()
        acknowledged = ask + sum(line.startswith("ask ") and line.endswith("\n") for line in process.stdout)

    with open_store(tmp_path / "r.sqlite") as store:
        stored = store.found("D15-1")
    assert stored is not None
    assert [row["sequence"] for row in stored.answers][:acknowledged] == list(range(1, acknowledged + 1))
    assert stored.head["outcome"] is None


def test_a_check_stopped_by_ctrl_c_exits_4_and_shows_no_half_view(tmp_path):
    words = [RAILBENCH, "--debug", "check", str(FULL)]
    process = subprocess.Popen(
        words, env=environment(tmp_path), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stderr is not None
    for line in process.stderr:
        if "OUTP ON" in line:  # the nominal board is fed
            break

    process.send_signal(signal.SIGINT)
    stdout, _ = process.communicate(timeout=60)

    assert (process.returncode, stdout) == (4, "")


def test_the_command_stopped_by_ctrl_c_exits_4_and_says_so(tmp_path):
    words = [RAILBENCH, "run", str(FULL), "--serial", "D15-1", "--simulated", "--store", str(tmp_path / "r.sqlite")]
    process = subprocess.Popen(
        words, env=environment(tmp_path), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stderr is not None
    for line in process.stderr:
        if line.startswith("step 4/"):
            break

    process.send_signal(signal.SIGINT)
    stdout, _ = process.communicate(timeout=60)

    assert process.returncode == 4
    assert stdout == "SIMULATED D15-1  Aborted: stopped by Ctrl-C\n"


def test_a_demo_stopped_by_ctrl_c_ends_the_boards_at_work_and_starts_no_more(tmp_path):
    words = [RAILBENCH, "demo", "--store", str(tmp_path / "r.sqlite")]
    process = subprocess.Popen(
        words, env=environment(tmp_path), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stderr is not None
    for line in process.stderr:
        if line.startswith("  1/12"):
            break

    process.send_signal(signal.SIGINT)
    stdout, _ = process.communicate(timeout=60)

    with open_store(tmp_path / "r.sqlite") as store:
        heads = store.heads()
    assert process.returncode == 4 and stdout == ""
    assert 1 <= len(heads) < 12
    assert all(head["outcome"] is not None and '"verified": true' in head["safe"] for head in heads)
