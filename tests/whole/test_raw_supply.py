"""The shipped raw supply from check to certificate: on the simulated bench the operator's hands close its switch."""

import json
from pathlib import Path

import pytest

from tests.commands import railbench
from tests.whole.served import served, until

FULL = "raw-supply/full"
RIPPLE = "ripple rms, meter's bandwidth"


def test_check_works_its_windows_out(tmp_path: Path) -> None:
    done = railbench("check", FULL, home=tmp_path)
    assert done.returncode == 0, done.stderr
    told = done.stdout + done.stderr
    assert "VP voltage without load: 43.74 V .. 59.09 V" in told
    assert "from VN to VP; rails add up" in told


def test_a_good_supply_passes_with_its_cautions_told(tmp_path: Path) -> None:
    done = railbench("run", FULL, "--serial", "R1", "--simulated", home=tmp_path)
    assert done.returncode == 0, done.stderr
    told = done.stdout + done.stderr
    for words in ("Mains of 230 V reach", "licensed", "Rails add up: up to 118 V", "The reservoirs hold 70 J"):
        assert words in told
    assert "R1  Passed: all 10 lines" in told


@pytest.mark.parametrize(
    ("fault", "failed", "code"),
    [
        ("D4:open", f"raw supply: VN {RIPPLE}", 1),
        ("R1:open", "raw supply: VP voltage left", 6),  # and what is left is dangerous
    ],
)
def test_what_is_wrong_with_it_is_told(tmp_path: Path, fault: str, failed: str, code: int) -> None:
    done = railbench("run", FULL, "--serial", "R1", "--simulated", "--fault", fault, "--json", home=tmp_path)
    assert done.returncode == code, done.stderr
    judged = json.loads(done.stdout)["lines"]
    wrong = [f"{each['step']}: {each['terminal']} {each['name']}" for each in judged if each["outcome"] == "Failed"]
    assert wrong == [failed]


def test_a_proof_of_it_is_refused_in_words(tmp_path: Path) -> None:
    done = railbench("prove", FULL, "--boards", 20, "--per-fault", 1, "--jobs", 1, home=tmp_path)
    assert done.returncode == 2
    assert "boards in lockstep are always at rest; try its faults one by one" in done.stderr
    assert "Traceback" not in done.stderr and "Warning" not in done.stderr


def test_its_mains_are_switched_by_what_is_typed_at_a_served_bench(tmp_path: Path) -> None:
    with served(tmp_path, board="raw-supply") as bench:
        assert "supplies:\n  {}" in bench.file.read_text()  # nothing is there that could feed it
        bench.ask("meter", "ROUT:CLOS (@101);:ROUT:CLOS? (@101)")
        assert bench.process.stdin is not None and bench.process.stderr is not None
        bench.process.stdin.write("mains on\n")
        bench.process.stdin.flush()
        assert bench.process.stderr.readline() == "mains are on\n"
        until("VP is up", lambda: float(bench.ask("meter", "MEAS:VOLT? 100")) > 43.0)
