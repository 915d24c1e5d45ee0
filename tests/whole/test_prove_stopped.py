"""Proving stopped with Ctrl-C, as a terminal sends it: to the command and all its processes at once."""

import json
import os
import re
import select
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import pytest

from tests.commands import RAILBENCH, environment


class Shown:
    """What a command in a session of its own shows on the terminal that is its stderr."""

    def __init__(self, words: list[str], environment, terminal: int, other: int) -> None:
        self.text, self._terminal = "", terminal
        self.process = subprocess.Popen(
            words, env=environment, stdout=subprocess.PIPE, stderr=other, text=True, start_new_session=True
        )
        os.close(other)

    def until(self, wanted: str) -> re.Match[str]:
        """Read on until something is shown."""
        while not (found := re.search(wanted, self.text)):
            assert self._more(), f"the command ended before it showed {wanted}"
        return found

    def interrupt(self) -> None:
        os.killpg(self.process.pid, signal.SIGINT)

    def end(self) -> tuple[int, str, str]:
        """Read until no process is left that could write, orphans neither.

        Returns the exit code, stdout, and what was told since the progress was wiped off.
        """
        while self._more():
            pass
        stdout, _ = self.process.communicate(timeout=60)
        return self.process.returncode, stdout, re.split(r"\x1b\[2K", self.text)[-1].strip()

    def _more(self) -> bool:
        ready, _, _ = select.select([self._terminal], [], [], 60.0)
        assert ready, f"nothing is shown any more, and somebody still could: {self.text[-200:]!r}"
        with suppress(OSError):  # how a terminal says that nobody is left to write to it
            read = os.read(self._terminal, 4096).decode()
            self.text += read
            return bool(read)
        return False


@contextmanager
def proving(tmp_path, *more: str) -> Iterator[Shown]:
    words = [RAILBENCH, "prove", "adj3t/full", "--boards", "400", "--per-fault", "4", "--json", *more]
    terminal, other = os.openpty()
    try:
        shown = Shown(words, environment(tmp_path, TERM="xterm", COLUMNS="80"), terminal, other)
        yield shown
    finally:
        with suppress(ProcessLookupError):
            os.killpg(shown.process.pid, signal.SIGKILL)
        shown.process.wait()
        os.close(terminal)


@pytest.mark.parametrize("jobs", ["1", "2"])
def test_stopped_before_the_first_boards_are_done_it_says_so_in_one_line(tmp_path, jobs):
    with proving(tmp_path, "--jobs", jobs) as shown:
        shown.until("0/888")
        shown.interrupt()

        code, stdout, told = shown.end()

        assert (code, stdout) == (4, "")
        assert told == "stopped by the operator before anything was tested"


@pytest.mark.parametrize("jobs", ["1", "2"])
def test_stopped_while_boards_are_simulated_it_reports_those_that_were_done(tmp_path, jobs):
    with proving(tmp_path, "--jobs", jobs) as shown:
        shown.until(" [1-9][0-9]*/888")
        shown.interrupt()

        code, stdout, told = shown.end()

        proof = json.loads(stdout)
        assert (code, told, proof["stopped"]) == (4, "", True)
        assert 200 <= proof["boards"] < 888


def test_stopped_when_all_boards_are_done_it_reports_them_and_calls_no_fault_invisible(tmp_path):
    with proving(tmp_path, "--jobs", "2") as shown:
        shown.until("888/888")
        shown.interrupt()

        code, stdout, told = shown.end()

        proof = json.loads(stdout)
        assert (code, told, proof["stopped"], proof["boards"]) == (4, "", True, 888)
        assert proof["coverage"] == proof["coverage_of_visible"]
        assert {escape["reason"] for escape in proof["escapes"]} == {"ended before it was looked into"}
