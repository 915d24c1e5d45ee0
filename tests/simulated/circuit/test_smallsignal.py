"""Small signal: the demo boards' stored responses, textbook filters, and what it says of wrong questions."""

import csv
from typing import Any

import numpy as np
import pytest

from simulated.circuit import Circuit, CircuitError, SupplyEnd, SupplySetting, draw_parts, read_netlist
from simulated.circuit.smallsignal import transfer

from .boards import BOARDS, REFERENCE, bench_circuit, board, fed_board

# The issue allows 0.2 dB; measured 6e-7 dB, the digits stored.
DECIBELS = 1e-5
FILTER = "t\nV1 in 0 1\nR1 in a 1k\nC1 a 0 1u\nL1 in b 10m\nR2 b 0 1k\nI1 0 c 1m\nR3 c 0 50\n"
CORNER_C, CORNER_L = 1e3 / (2.0 * np.pi), 1e5 / (2.0 * np.pi)  # 1/RC and R/L, in hertz


@pytest.mark.parametrize("name", BOARDS)
def test_every_stored_response_agrees(name: str) -> None:
    rows = list(csv.DictReader((REFERENCE / f"{name}_ac.csv").read_text().splitlines()))
    circuit = Circuit(fed_board(name))
    point = circuit.operating_point()
    for source in {row["excited_source"] for row in rows}:
        own = [row for row in rows if row["excited_source"] == source]
        nodes = [column.removeprefix("mag_") for column in own[0] if column.startswith("mag_")]
        wanted = np.array([[float(row[f"mag_{node}"]) for node in nodes] for row in own])
        found = np.abs(
            transfer(circuit, point, source=source, nodes=nodes, hertz=[float(row["freq"]) for row in own])[0]
        )
        heard = wanted > 0.0
        assert np.abs(20.0 * np.log10(found[heard] / wanted[heard])).max() < DECIBELS
        assert (found[~heard] < 1e-9).all()


@pytest.mark.parametrize(
    ("source", "node", "hertz", "response"),
    [
        ("V1", "a", CORNER_C, 0.5 - 0.5j),
        ("V1", "b", CORNER_L, 0.5 - 0.5j),
        ("V1", "in", 10.0, 1.0),
        ("i1", "c", 10.0, 50.0),
        ("V1", "0", 10.0, 0.0),
    ],
)
def test_a_textbook_filter_answers_by_its_formula(source: str, node: str, hertz: float, response: complex) -> None:
    circuit = Circuit(read_netlist(FILTER))
    found = transfer(circuit, circuit.operating_point(), source=source, nodes=[node], hertz=[hertz])
    assert found[0, 0, 0] == pytest.approx(response, abs=1e-8)


def test_a_batch_answers_as_its_boards_do_one_by_one() -> None:
    circuit, netlist = bench_circuit(board("dual15")), board("dual15")
    parts, supplies = draw_parts(netlist, np.random.default_rng(3), 3), feed()
    asked: Any = {"source": "INP", "nodes": ("outp", "outn"), "hertz": (100.0, 1e4)}
    together = transfer(circuit, circuit.operating_point(parts=parts, supplies=supplies), parts=parts, **asked)
    for lane in range(3):
        alone = parts.board(lane)
        own = transfer(circuit, circuit.operating_point(parts=alone, supplies=supplies), parts=alone, **asked)
        assert together[lane] == pytest.approx(own[0], rel=1e-5, abs=1e-12)


def feed(limit: float = 1.0) -> dict[str, SupplySetting]:
    return {name: SupplySetting(22.0, limit) for name in ("INP", "INN")}


def test_a_supply_at_its_limit_has_no_voltage_that_wobbles() -> None:
    circuit = bench_circuit(board("dual15"))
    point = circuit.operating_point(supplies=feed(limit=0.01))
    assert transfer(circuit, point, source="INP", nodes=["outp"], hertz=[100.0])[0, 0, 0] == 0.0


def test_a_loaded_supply_end_wobbles_as_an_ideal_source_does() -> None:
    netlist = "t\nR1 a b 1k\nC1 b 0 1u\n"
    circuit = Circuit(read_netlist(netlist), supplies=(SupplyEnd("S", "a", "0"),))
    point = circuit.operating_point(supplies={"S": SupplySetting(5.0)})
    assert transfer(circuit, point, source="S", nodes=["b"], hertz=[CORNER_C])[0, 0, 0] == pytest.approx(0.5 - 0.5j)


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"source": "VX"}, "there is no source 'VX'; write one of V1"),
        ({"nodes": ["x"]}, "there is no node 'x'"),
        ({"hertz": [-1.0]}, "a frequency is below zero or not finite"),
        ({"parameters": {"trim": 1.0}}, "has no parameter 'trim'"),
    ],
)
def test_a_wrong_question_is_told(asked: Any, message: str) -> None:
    circuit = Circuit(read_netlist(FILTER))
    question = {"source": "V1", "nodes": ["a"], "hertz": [1.0], **asked}
    with pytest.raises(CircuitError, match=message):
        transfer(circuit, circuit.operating_point(), **question)


def test_another_circuits_operating_point_is_refused() -> None:
    point = Circuit(read_netlist("t\nV1 x 0 1\nR1 x 0 1\n")).operating_point()
    with pytest.raises(CircuitError, match="the operating point is another circuit's"):
        transfer(Circuit(read_netlist(FILTER)), point, source="V1", nodes=["a"], hertz=[1.0])
