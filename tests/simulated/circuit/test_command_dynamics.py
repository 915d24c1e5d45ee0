"""The commands `transient` and `ac` of `python -m simulated.circuit`, on a filter whose answers are formulas."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from simulated.circuit import command_ac, command_transient
from simulated.circuit.command_line import OneLineParser, Refused

RC = "an RC filter\nR1 a b 1k\nC1 b 0 1u\n"


@pytest.fixture
def deck(tmp_path: Path) -> str:
    path = tmp_path / "rc.cir"
    path.write_text(RC)
    return str(path)


def run(*words: str) -> int:
    """The exit code of one command."""
    parser = OneLineParser(prog="circuit")
    commands = parser.add_subparsers(required=True)
    for command in (command_ac, command_transient):
        command.add(commands)
    options = parser.parse_args(words)
    code: int = options.run(options)
    return code


def document(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    """What one command prints with --json."""
    assert run(*words, "--json") == 0
    printed: dict[str, Any] = json.loads(capsys.readouterr().out)
    return printed


def test_a_cut_source_leaves_its_node_to_the_charge(deck: str, capsys: pytest.CaptureFixture[str]) -> None:
    words = ("--source", "a=10", "--load", "a=1k", "--cut", "1m", "--stop", "5m", "--step", "1m")
    told = document(capsys, "transient", deck, *words)
    decay = 10.0 * np.exp(-(np.array(told["seconds"][1:]) - 1e-3) / 2e-3)
    assert told["nodes"]["b"] == pytest.approx([10.0, *decay], abs=0.02)
    assert told["nodes"]["a"] == pytest.approx([10.0, *decay / 2.0], abs=0.02)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_ramp_is_followed_and_then_held(deck: str, sign: float, capsys: pytest.CaptureFixture[str]) -> None:
    words = ("--source", f"a=0:{10 * sign}:0.1", "--stop", "0.2", "--step", "0.05", "--output", "b")
    told = document(capsys, "transient", deck, *words)
    # A ramp of 100 V/s reaches the capacitor a millisecond late.
    assert told["nodes"] == {"b": pytest.approx(sign * np.array([0.0, 4.9, 9.9, 10.0, 10.0]), abs=0.02)}


def test_an_empty_start_charges_from_zero(deck: str, capsys: pytest.CaptureFixture[str]) -> None:
    told = document(capsys, "transient", deck, "--source", "a=10", "--empty", "--stop", "2m", "--step", "1m")
    assert told["nodes"]["b"] == pytest.approx([0.0, 6.321, 8.647], abs=0.02)


def test_ac_prints_magnitude_and_phase(deck: str, capsys: pytest.CaptureFixture[str]) -> None:
    corner = str(1e3 / (2.0 * np.pi))
    words = ("--source", "a=1", "--excite", "a", "--from", corner, "--to", corner, "--points", "1", "--output", "b")
    told = document(capsys, "ac", deck, *words)
    assert told["nodes"]["b"] == {"magnitude": pytest.approx([np.sqrt(0.5)]), "phase": pytest.approx([-45.0])}


def test_both_print_a_table(deck: str, capsys: pytest.CaptureFixture[str]) -> None:
    run("transient", deck, "--source", "a=10", "--stop", "1", "--step", "1", "--output", "b")
    run("ac", deck, "--source", "a=1", "--excite", "a", "--points", "2", "--output", "a")
    lines = capsys.readouterr().out.splitlines()
    assert lines == ["seconds  b", "0  10", "1  10", "hertz  a (V/V, degrees)", "10  1 0.00", "100000  1 0.00"]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("transient --source a=1:-1:2 --stop 1 --step 1", "a ramp does not cross zero; write two voltages of one sign"),
        ("transient --source a=1:2 --stop 1 --step 1", "write NODE=VOLTS, or NODE=V0:V1:SECONDS for a ramp"),
        ("transient --source x=1 --stop 1 --step 1", "there is no such node; write one of a, b"),
        ("transient --source a=1 --stop 1 --step 0", "write a step above zero, --stop at most 100000 steps away"),
        ("transient --source a=1 --stop 1 --step 1 --cut -1", "a time of -1 s is none; write seconds of zero or more"),
        ("ac --source a=1 --excite x", "--excite x: there is no such source; write one of a"),
        ("ac --source a=1 --excite a --from 0", "write two frequencies above zero, the lower one first"),
        ("ac --source a=1 --excite a --points 0", "'0' is not a whole number from 1 to 10000; write one"),
    ],
)
def test_a_wrong_command_line_is_told(deck: str, words: str, message: str) -> None:
    command, *rest = words.split()
    with pytest.raises(Refused, match=message):
        run(command, deck, *rest)
