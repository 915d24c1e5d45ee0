"""The demo boards as their reference results were made: ideal sources, plain resistors as loads."""

import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulated.circuit import Circuit, LoadEnd, MeterEnd, Netlist, OperatingPoint, SupplyEnd, read_netlist

REFERENCE = Path(__file__).parents[2] / "reference" / "circuits"
BOARDS = ("dual15", "adj3t", "bat5")


@cache
def stored(name: str) -> Any:
    """A JSON file of reference results."""
    return json.loads((REFERENCE / f"{name}.json").read_text())


@cache
def board(name: str) -> Netlist:
    """The bare board."""
    return read_netlist((REFERENCE / f"{name}.cir").read_text(), name=name, folder=REFERENCE)


@cache
def fed_board(name: str) -> Netlist:
    """The board with its sources, volts being `vin` times nominal, and loads of `rload` ohm on every output."""
    bench = stored(f"{name}_op")["bench"]
    cards = [f".param vin=1 rload={bench['loads_ohm']['half']['outp']}"]
    cards += [f"{source} {plus} {minus} {{{volts}*vin}}" for source, (plus, minus, volts) in bench["sources"].items()]
    cards += [f"RL{node} {node} 0 {{rload}}" for node in bench["loads_ohm"]["half"]]
    text = (REFERENCE / f"{name}.cir").read_text() + "\n".join(cards)
    return read_netlist(text, name=name, folder=REFERENCE)


def load_ohms(name: str, condition: str) -> float:
    """The load resistor of a named condition; `short` is 1 milliohm."""
    return 1e-3 if condition == "short" else stored(f"{name}_op")["bench"]["loads_ohm"][condition]["outp"]


def deviation(point: OperatingPoint, lane: int, nodes: dict[str, float]) -> tuple[float, str]:
    """The largest deviation from reference node voltages in volts, and its node.

    Source currents `i(...)`, and the inner sides of opened pins `f_...` which hang on gmin, are left out.
    """
    compared = [node for node in nodes if not node.startswith(("i(", "f_"))]
    return max((abs(float(point.volts(node)[lane]) - nodes[node]), node) for node in compared)


def bench_circuit(netlist: Netlist) -> Circuit:
    """The dual15 board between two supplies, two loads and two meter inputs."""
    return Circuit(
        netlist,
        supplies=(SupplyEnd("INP", "inp", "0"), SupplyEnd("INN", "0", "inn")),
        loads=(LoadEnd("OUTP", "outp", "0"), LoadEnd("OUTN", "0", "outn")),
        meters=(MeterEnd("OUTP", "outp", "0"), MeterEnd("OUTN", "outn", "0")),
    )


def lanes(values: list[float]) -> NDArray[np.float64]:
    """One value per lane."""
    return np.array(values)
