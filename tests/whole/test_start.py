"""Ctrl-C before and after a run: one line and exit code 4, or the run's own exit code."""

import subprocess
import sys

import pytest

STOP = "os.kill(os.getpid(), signal.{number})"

# Nothing of ours can be caught at a certain moment of its loading, so something is put in its place.
WHILE_LOADING = f"""
import os, signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)  # ignored where the tests run behind an '&'
class Slow:
    def find_spec(self, name, path, target=None):
        if name == "station.cli":
            {STOP.format(number="SIGINT")}
sys.meta_path.insert(0, Slow())
"""
WHILE_COMMANDS_LOAD = WHILE_LOADING.replace("station.cli", "station.lookup")
AFTER_ALL = """
import atexit, os, signal, sys, types
sys.modules["station.cli"] = types.SimpleNamespace(main=lambda: 1)
atexit.register(lambda: {stop})
"""


def started(before):
    program = f"{before}\nfrom station.start import main\nmain()\n"
    words = [sys.executable, "-c", program, "records", "list"]
    return subprocess.run(words, capture_output=True, text=True, timeout=60)


@pytest.mark.parametrize("before", [WHILE_LOADING, WHILE_COMMANDS_LOAD])
def test_ctrl_c_while_loading_is_told_in_one_line(before):
    done = started(before)

    assert (done.returncode, done.stderr) == (4, "stopped by the operator before anything was tested\n")


@pytest.mark.parametrize("number", ["SIGINT", "SIGTERM"])
def test_a_signal_after_all_is_told_changes_no_exit_code(number):
    done = started(AFTER_ALL.format(stop=STOP.format(number=number)))

    assert (done.returncode, done.stderr) == (1, "")
