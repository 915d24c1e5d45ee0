"""Streams that end before the run: the board is tested to its end, and the exit code is its outcome."""

import os
import subprocess

import pytest

from station.store import open_store
from tests.commands import RAILBENCH, environment

RUN = [RAILBENCH, "run", "dual15/quick", "--serial", "D15-1", "--simulated", "--store", "r.sqlite"]


def run(tmp_path, words, **streams):
    """Return the exit code and what came on stderr, where that is a pipe."""
    given = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, **streams}
    done = subprocess.run(words, env=environment(tmp_path), cwd=tmp_path, text=True, timeout=60, **given)
    return done.returncode, done.stderr


def outcome(tmp_path):
    with open_store(tmp_path / "r.sqlite") as store:
        stored = store.found("D15-1")
    return stored and stored.head["outcome"]


@pytest.fixture
def unread():
    """The write end of a pipe whose reader has gone."""
    reading, writing = os.pipe()
    os.close(reading)
    yield writing
    os.close(writing)


@pytest.fixture
def full():
    with open("/dev/full", "w") as device:  # noqa: PTH123  a device, no file
        yield device


@pytest.mark.parametrize("stream", ["stdout", "stderr"])
@pytest.mark.parametrize(("fault", "code", "word"), [([], 0, "Passed"), (["--fault", "D101:reversed"], 1, "Failed")])
def test_a_reader_that_has_gone_changes_no_outcome(tmp_path, unread, stream, fault, code, word):
    assert run(tmp_path, [*RUN, *fault], **{stream: unread})[0] == code
    assert outcome(tmp_path) == word


def test_words_for_a_full_disk_change_no_outcome(tmp_path, full):
    assert run(tmp_path, RUN, stderr=full)[0] == 0
    assert outcome(tmp_path) == "Passed"


def test_a_result_for_a_full_disk_is_trouble_and_is_told(tmp_path, full):
    code, told = run(tmp_path, RUN, stdout=full, stderr=subprocess.PIPE)

    assert code == 5
    assert told.endswith("stdout can't be written (No space left on device); the record has what was tested\n")
    assert outcome(tmp_path) == "Passed"


@pytest.mark.parametrize(("closing", "code"), [("exec >&-", 0), ("exec 2>&-", 0), ("exec >&- 2>&-", 0)])
def test_a_stream_closed_from_the_start_changes_no_outcome(tmp_path, closing, code):
    assert run(tmp_path, ["sh", "-c", f'{closing}; exec "$@"', "sh", *RUN])[0] == code
    assert outcome(tmp_path) == "Passed"


def test_wrong_input_is_wrong_input_where_nobody_can_be_told(tmp_path):
    words = ["sh", "-c", 'exec 2>&-; exec "$@"', "sh", RAILBENCH, "check", "none.yaml"]

    assert run(tmp_path, words)[0] == 2
