"""The commands that list faults, solve a stored list of them, and sample boards."""

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from simulated.circuit import universe
from simulated.circuit.__main__ import main

from .boards import BOARDS, REFERENCE, board, stored
from .test_demo_boards import reached_nodes

Capture = pytest.CaptureFixture[str]
BAT5 = str(REFERENCE / "bat5.cir")


def printed(capsys: Capture, *arguments: str) -> Any:
    code = main([*arguments, "--json"])
    captured = capsys.readouterr()
    assert (code, captured.err) == (0, "")
    return json.loads(captured.out)


@pytest.mark.parametrize("name", BOARDS)
def test_a_stored_list_of_faults_is_solved_under_each_load(capsys: Capture, name: str) -> None:
    netlist, path = str(REFERENCE / f"{name}.cir"), REFERENCE / f"{name}_faults.json"
    found = {(r["id"], r["condition"]): r for r in printed(capsys, "op", netlist, "--faults", str(path))}
    faults = stored(f"{name}_faults")["faults"]
    assert list(found) == [(fault["id"], load) for fault in faults for load in ("noload", "half", "full")]
    for fault in faults:
        for load in ("noload", "half"):
            result = found[fault["id"], load]
            wanted = {node: v for node, v in reached_nodes(fault, load).items() if not node.startswith(("i(", "f_"))}
            assert result["converged"] is True
            assert {node: result["nodes"][node] for node in wanted} == pytest.approx(wanted, abs=1e-6)


def listed(tmp_path: Path, **changes: object) -> str:
    whole = {
        "sources": {"VINP": ["inp", "0", 7.2]},
        "loads_ohm": {"half": {"outp": 33.0}},
        "faults": [{"id": "B1", "edits": [{"op": "value", "element": "R1", "value": 1e9}]}],
    }
    path = tmp_path / "faults.json"
    path.write_text(json.dumps(whole | changes))
    return str(path)


def test_a_fault_without_a_solution_is_not_converged_and_the_exit_code_0(tmp_path: Path, capsys: Capture) -> None:
    short = {"id": "S", "edits": [{"op": "add", "element": "VX", "nodes": ["inp", "0"], "value": 1.0}]}
    code = main(["op", BAT5, "--faults", listed(tmp_path, faults=[short]), "--json"])
    captured = capsys.readouterr()
    assert (code, json.loads(captured.out)) == (
        0,
        [{"id": "S", "condition": "half", "converged": False, "nodes": {}}],
    )
    assert "S half: " in captured.err and "form a loop of voltage sources" in captured.err


def test_each_fault_is_in_a_line_without_json(tmp_path: Path, capsys: Capture) -> None:
    assert main(["op", BAT5, "--faults", listed(tmp_path)]) == 0
    assert capsys.readouterr().out == "B1 half: solved\n"


WRONG_LISTS: list[tuple[dict[str, object], str]] = [
    (
        {"faults": [{"id": "B1", "edits": [{"op": "value", "element": "R99", "value": 1}]}]},
        "fault B1: .* no part 'R99'",
    ),
    ({"faults": [{"id": "B1", "edits": [{"op": "melt"}]}]}, "fault B1: edit .* is not understood"),
    ({"faults": [{"id": "B1"}]}, "the list is not understood .*'edits'"),
    ({"faults": 3}, "the list is not understood"),
    ({"sources": {"V1": ["inq", "0", 7.2]}}, "has no node 'inq'; write one of inp"),
    ({"sources": {"V1": ["inp", "0"]}}, "the list is not understood"),
    ({"loads_ohm": {"half": {"outq": 33.0}}}, "has no node 'outq'; write one of outp"),
    ({"loads_ohm": {"half": {"outp": 0}}}, "a load is not above zero ohm"),
    ({"loads_ohm": {}}, "a load is not above zero ohm, or there is none"),
]


@pytest.mark.parametrize(("changes", "message"), WRONG_LISTS)
def test_a_list_that_is_wrong_is_one_line_and_exit_2(
    tmp_path: Path, capsys: Capture, changes: dict[str, object], message: str
) -> None:
    code = main(["op", BAT5, "--faults", listed(tmp_path, **changes), "--json"])
    captured = capsys.readouterr()
    assert (code, captured.out, captured.err.count("\n")) == (2, "", 1)
    assert re.search(message, captured.err), captured.err


@pytest.mark.parametrize("content", [b"", b"[1, 2]", b"{", b"[" * 100_000, b"\xff\xfe"])
def test_a_file_that_holds_no_list_is_one_line_and_exit_2(tmp_path: Path, capsys: Capture, content: bytes) -> None:
    path = tmp_path / "x.json"
    path.write_bytes(content)
    assert main(["op", BAT5, "--faults", str(path), "--json"]) == 2
    captured = capsys.readouterr()
    assert (captured.out, captured.err.count("\n")) == ("", 1)


def test_the_universe_is_printed_with_classes(capsys: Capture) -> None:
    listed_faults = printed(capsys, "faults", BAT5)
    assert [f["fault"] for f in listed_faults] == [str(defect.fault) for defect in universe(board("bat5"))]
    assert {"fault": "D1:reversed", "class": "reversed diode, zener or LED"} in listed_faults


def test_what_the_netlist_cannot_tell_is_given_by_options(capsys: Capture) -> None:
    options = ["--neighbour", "ref-fb", "--polarised", "C3", "--confused", "R8=220k", "--unmounted", "R10"]
    texts = [f["fault"] for f in printed(capsys, "faults", BAT5, *options)]
    assert texts[-1] == "ref-fb:bridge"
    assert {"C3:reversed", "R8:value:220k"} <= set(texts)
    assert not {"C1:reversed", "R10:open"} & set(texts)


def test_the_universe_is_a_table_without_json(capsys: Capture) -> None:
    assert main(["faults", BAT5]) == 0
    assert "D1:reversed      " in capsys.readouterr().out


FEED = ["--source", "inp=7.2", "--load", "outp=33", "--tolerance", "DZ1=0.01"]


def test_sampled_boards_are_those_of_the_seed(capsys: Capture) -> None:
    ten = printed(capsys, "sample", BAT5, *FEED, "--boards", "10", "--seed", "3")
    late = printed(capsys, "sample", BAT5, *FEED, "--boards", "2", "--seed", "3", "--first", "8")
    other = printed(capsys, "sample", BAT5, *FEED, "--boards", "2", "--seed", "4")
    assert [b["board"] for b in ten] == list(range(10))
    assert late == ten[8:]
    assert other[0]["nodes"]["outp"] != ten[0]["nodes"]["outp"]
    assert all(4.8 < b["nodes"]["outp"] < 5.2 for b in ten)


def test_sampled_boards_take_tolerances_matches_and_offsets(capsys: Capture) -> None:
    dual15 = str(REFERENCE / "dual15.cir")
    feed = ["--source", "inp=22", "--source", "inn=-22", "--boards", "5"]
    usual = printed(capsys, "sample", dual15, *feed)
    options = ["--tolerance", "R108=0.2", "--matched", "Q101,Q201", "--offset", "XU101.inp=3m", "--spread", "normal"]
    changed = printed(capsys, "sample", dual15, *feed, *options)
    assert np.ptp([b["nodes"]["outp"] for b in changed]) > np.ptp([b["nodes"]["outp"] for b in usual])


def test_sampled_boards_are_a_table_of_ranges_without_json(capsys: Capture) -> None:
    assert main(["sample", BAT5, *FEED, "--boards", "5"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert any(line.startswith("outp ") and " V .. " in line for line in lines)


WRONG = [
    (["sample", BAT5, "--boards", "0"], "--boards: '0' is not a whole number from 1 to 100000; write one"),
    (["sample", BAT5, "--seed", "x"], "--seed: 'x' is not a whole number"),
    (["sample", BAT5, "--tolerance", "R99=0.1"], "no part 'R99' with a tolerance in"),
    (["sample", BAT5, "--tolerance", "R1=5"], "--tolerance R1: 5 is no tolerance; write a fraction, 0.05 for 5 %"),
    (["sample", BAT5, "--offset", "Q1.b=3m"], "only subcircuit parts have an offset"),
    (["faults", BAT5, "--neighbour", "ref"], "write A-B, each a node or REFDES.PIN"),
    (["faults", BAT5, "--neighbour", "ref-fbb"], "'fbb' is no node and no pin"),
    (["faults", BAT5, "--polarised", "C99"], "has no part 'C99'; write one of"),
    (["op", BAT5, "--faults", "none.json"], "none.json: No such file or directory"),
    (["op", BAT5, "--faults", "none.json", "--source", "inp=1"], "leave them out"),
]


@pytest.mark.parametrize(("arguments", "message"), WRONG)
def test_bad_arguments_are_one_line_on_stderr_and_exit_2(capsys: Capture, arguments: list[str], message: str) -> None:
    code = main(arguments)
    captured = capsys.readouterr()
    assert (code, captured.out, captured.err.count("\n")) == (2, "", 1)
    assert message in captured.err
