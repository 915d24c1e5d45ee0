"""Netlists that are wrong in the ways netlists are: what is said, and how soon."""

import time
from pathlib import Path

import pytest

from simulated.circuit import Circuit, CircuitError, NetlistError, TopologyError, read_netlist
from simulated.circuit.__main__ import main

from .boards import BOARDS, board

HEAD = "a board\nV1 in 0 5\nR1 in out 1k\nR2 out 0 1k\n"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (HEAD + "D1 out 0 DX\n", "netlist:5: D1: model 'dx' is not defined; write its .model, or one of"),
        (
            HEAD + "X1 out 0 AMP\n.subckt AMP a b c\nR1 a b 1\n.ends\n",
            r"netlist:5: X1 has 2 nodes, amp has 3 pins; write",
        ),
        (HEAD + "X1 out 0 AMQ\n.subckt AMP a b\nR1 a b 1\n.ends\n", "subcircuit 'amq' is not defined; .* one of amp"),
        (HEAD + ".include ../secret.cir\n", "leaves the netlist's own folder; copy that file beside the netlist"),
        (HEAD + ".include /etc/passwd\n", "leaves the netlist's own folder"),
        (HEAD + "E1 out 0 POLY(1) in 0 1\n", "netlist:5: E1: POLY sources are not simulated, only linear ones; write"),
    ],
)
def test_a_wrong_card_is_told_with_its_place(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(NetlistError, match=message):
        read_netlist(text, folder=tmp_path)


def test_a_link_out_of_the_folder_is_no_way_out(tmp_path: Path) -> None:
    (tmp_path / "board").mkdir()
    (tmp_path / "secret.cir").write_text("R9 a 0 1\n")
    (tmp_path / "board" / "way.cir").symlink_to(tmp_path / "secret.cir")
    with pytest.raises(NetlistError, match="leaves the netlist's own folder"):
        read_netlist(HEAD + ".include way.cir\n", folder=tmp_path / "board")


def test_a_loop_of_sources_is_told_by_its_parts() -> None:
    with pytest.raises(TopologyError, match="V1, V2, V3 form a loop of voltage sources between nodes in and 0"):
        Circuit(read_netlist("t\nV1 in mid 2\nV2 mid 0 3\nV3 in 0 5\nR1 in 0 1k\n"))


def test_a_node_behind_capacitors_is_told_by_its_parts() -> None:
    warnings = Circuit(read_netlist(HEAD + "C1 out mid 1u\nC2 mid 0 1u\n")).warnings
    assert any("no DC path to ground from mid (on C1, C2)" in warning for warning in warnings)


@pytest.mark.parametrize("wrong", ["otu", "ouut", "ot", "oot", "outt"])
def test_a_slip_in_a_node_is_suspected(wrong: str) -> None:
    (warning,) = read_netlist(HEAD + f"R3 {wrong} in 1k\n").warnings
    assert warning == f"netlist:5: node {wrong} hangs on R3 alone, and out is one letter away; write out if it is meant"


@pytest.mark.parametrize("node", ["out2", "oup", "outp", "supply"])
def test_a_node_with_a_name_of_its_own_is_not_suspected(node: str) -> None:
    assert read_netlist(HEAD + f"R3 {node} in 1k\n").warnings == ()


@pytest.mark.parametrize("name", BOARDS)
def test_the_demo_boards_raise_no_suspicion(name: str) -> None:
    assert board(name).warnings == ()


def nested(levels: int, each: int) -> str:
    bodies = [
        f".subckt s{level} a b\n" + "".join(f"X{n} a b s{level + 1}\n" for n in range(each)) + ".ends\n"
        for level in range(levels)
    ]
    return HEAD + "X1 out 0 s0\n" + "".join(bodies) + f".subckt s{levels} a b\nR1 a b 1k\n.ends\n"


LARGE = {
    "resistors": HEAD + "".join(f"R{n}x n{n} n{n + 1} 1k\n" for n in range(150_000)),
    "continuations": HEAD + "R3 out 0\n" + "+\n" * 2_000_000 + "+ 1k\n",
    "one line": HEAD + "R3 out 0 " + "1" * 5_000_000,
    "parentheses": HEAD + "R3 out 0 {" + "(" * 5_000_000,
    "a chain of parameters": HEAD + "".join(f".param p{n}=p{n + 1}\n" for n in range(4000)) + ".param p4000=1\n",
    "subcircuits without end": nested(levels=12, each=10),
    "comments": HEAD + "* nothing\n" * 500_000,
}


@pytest.mark.parametrize("what", LARGE)
def test_a_large_netlist_is_read_or_refused_soon(what: str) -> None:
    started = time.process_time()
    try:
        read_netlist(LARGE[what])
    except CircuitError as error:
        assert "; give it one board at a time" in str(error) or "; write it as several cards" in str(error)
        assert len(str(error)) < 200
    assert time.process_time() - started < 10.0  # 0.1 to 2 s when this was written


def test_a_file_of_five_megabytes_is_refused_in_a_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "large.cir"
    path.write_text(LARGE["one line"])
    assert main(["op", str(path)]) == 2
    assert capsys.readouterr().err == f"{path}: the file is larger than 2 MB; give it one board at a time\n"
