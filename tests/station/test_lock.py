"""One run at a time on an instrument, also of another process."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from station.errors import BenchError
from station.lock import locked
from tests.station.test_benchfile import bench_of

HOLDING = """
import sys
from pathlib import Path
from station.lock import locked
from tests.station.test_benchfile import bench_of

with locked(bench_of().form, Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.readline()
"""


def holder(folder: Path) -> "subprocess.Popen[str]":
    words = [sys.executable, "-c", HOLDING, str(folder)]
    process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None and process.stdout.readline() == "held\n"
    return process


def test_a_held_bench_is_refused_with_who_holds_it_and_since_when(tmp_path: Path) -> None:
    with holder(tmp_path) as process:
        told = rf"^psu .* is in use by .+, process {process.pid}, since 20\d\d-.*; wait"
        with pytest.raises(BenchError, match=told), locked(bench_of().form, tmp_path):
            pass
        process.communicate("\n")
    with locked(bench_of().form, tmp_path):
        pass


def test_a_lock_does_not_outlive_its_process(tmp_path: Path) -> None:
    with holder(tmp_path) as process:
        process.kill()
    with locked(bench_of().form, tmp_path):
        pass


def test_benches_without_an_instrument_in_common_are_free_of_each_other(tmp_path: Path) -> None:
    other = re.sub(r"192\.0\.2", "198.51.100", bench_of().text)
    with locked(bench_of().form, tmp_path), locked(bench_of(other).form, tmp_path):
        pass


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_cant_be_written_is_told(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(BenchError, match="the bench can't be locked"), locked(bench_of().form, tmp_path / "locks"):
        pass


def test_an_error_of_the_run_is_not_taken_for_one_of_the_lock(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="disk full"), locked(bench_of().form, tmp_path):
        raise OSError("disk full")
