import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from simulated.circuit.__main__ import main

from .boards import REFERENCE

Capture = pytest.CaptureFixture[str]
DUAL15 = str(REFERENCE / "dual15.cir")
FEED = ["--source", "inp=22", "--source", "inn=-22"]
HALF = ["--load", "outp=30", "--load", "outn=30"]


def run(capsys: Capture, *arguments: str) -> tuple[int, str, str]:
    code = main(["op", *arguments])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


def solved(capsys: Capture, *arguments: str) -> Any:
    code, out, err = run(capsys, *arguments, "--json")
    assert (code, err) == (0, "")
    return json.loads(out)


def test_json_holds_nodes_sources_and_warnings(capsys: Capture) -> None:
    result = solved(capsys, DUAL15, *FEED, *HALF)
    assert result["format"] == 1
    assert result["solved"] is True
    assert result["warnings"] == []
    # dual15's sheet, half load
    assert result["nodes"]["outp"] == pytest.approx(14.9844782, abs=1e-6)
    assert result["sources"] == pytest.approx({"inp": 0.5178220974, "inn": -0.5178942882}, abs=1e-8)


def test_a_parameter_a_value_a_fault_and_a_temperature_can_be_set(capsys: Capture) -> None:
    trimmed = solved(capsys, DUAL15, *FEED, *HALF, "--set", "trim_p=0")
    assert trimmed["nodes"]["outp"] == pytest.approx(13.670249, abs=1e-5)
    assert solved(capsys, DUAL15, *FEED, "--set", "R108=82k") == solved(
        capsys, DUAL15, *FEED, "--fault", "R108:value:82k"
    )
    warm = solved(capsys, DUAL15, *FEED, "--temp", "60")
    assert warm["nodes"]["outp"] > trimmed["nodes"]["outp"]


def test_a_netlist_with_its_own_sources_and_end_is_solved(capsys: Capture) -> None:
    result = solved(capsys, str(REFERENCE / "zener_follower.cir"), "--set", "vin=24")
    assert result["nodes"]["in"] == pytest.approx(24.0)
    assert result["sources"]["VIN"] > 0.2


def test_without_json_lines_of_name_value_unit_are_printed(capsys: Capture) -> None:
    code, out, _ = run(capsys, DUAL15, *FEED)
    assert code == 0
    assert "outp      14.9945233 V\n" in out
    assert out.splitlines()[-1].startswith("inn") and out.splitlines()[-1].endswith(" A")


WRONG = [
    (["none.cir"], "none.cir: No such file or directory; write the name of a netlist file"),
    ([DUAL15, "--source", "inq=22"], "--source inq: there is no such node; write one of inp"),
    ([DUAL15, "--source", "0=22"], "--source 0: there is no such node"),
    ([DUAL15, "--source", "inp"], "'inp' is not understood; write NAME=VALUE"),
    ([DUAL15, "--source", "inp=x"], "--source inp=x: 'x' is not a number"),
    ([DUAL15, "--load", "outp=0"], "write ohms above zero"),
    ([DUAL15, "--set", "trim_q=1"], "write one of trim_p"),
    ([DUAL15, "--fault", "R999:open"], "dual15.cir has no part 'R999'"),
    ([DUAL15, "--fault", "R108:burnt"], "kind 'burnt' is not known"),
    ([DUAL15, "--source", "inp=1", "--source", "inp=2"], "form a loop of voltage sources between nodes inp and 0"),
    ([DUAL15, "--temp", "warm"], "--temp: 'warm' is not a number"),
]


@pytest.mark.parametrize(("arguments", "message"), WRONG)
def test_bad_input_is_one_line_on_stderr_and_exit_2(capsys: Capture, arguments: list[str], message: str) -> None:
    code, out, err = run(capsys, *arguments)
    assert (code, out) == (2, "")
    assert message in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    "content", [b"", b"\x7fELF\x00\x01\xff\xfe", b"title only\n", "t\nR1 a 0 1k\n".encode("utf-16")]
)
def test_a_file_that_is_no_netlist_is_exit_2(capsys: Capture, tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "x.cir"
    path.write_bytes(content)
    code, out, err = run(capsys, str(path))
    assert (code, out, err.count("\n")) == (2, "", 1)


@pytest.mark.parametrize("arguments", [[], ["op"], ["op", "x.cir", "--melt"], ["opp", "x.cir"]])
def test_a_wrong_command_is_one_line_and_exit_2(capsys: Capture, arguments: list[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(arguments)
    assert capsys.readouterr().err.count("\n") == 1


def test_no_solution_is_a_sentence_and_exit_5(capsys: Capture, tmp_path: Path) -> None:
    path = tmp_path / "x.cir"
    path.write_text("t\nV1 a 0 50\nD1 a 0 DX\n.model DX D\n")
    code, out, err = run(capsys, str(path), "--json")
    assert (code, out) == (5, "")
    assert "no DC solution was found" in err


def test_it_runs_as_a_module() -> None:
    command = [sys.executable, "-m", "simulated.circuit", "op", DUAL15, *FEED, "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
    assert json.loads(done.stdout)["nodes"]["outp"] == pytest.approx(14.99452326, abs=1e-6)
