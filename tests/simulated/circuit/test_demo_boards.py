"""The demo boards against their stored reference results, computed with ngspice 39 (see the README beside them)."""

import csv
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from simulated.circuit import Circuit, Netlist, OperatingPoint, Parts, apply_edit
from simulated.circuit.expressions import Number, evaluate

from .boards import BOARDS, REFERENCE, deviation, fed_board, lanes, load_ohms, stored

# The issue asks for 1 mV + 0.1 %; these bounds are what was measured, rounded up: the digits stored.
Floats = NDArray[np.float64]
OP_VOLTS, SWEEP_VOLTS, FAULT_VOLTS = 1e-8, 1e-6, 5e-7


@pytest.mark.parametrize("name", BOARDS)
def test_every_stored_operating_point_agrees(name: str) -> None:
    conditions = stored(f"{name}_op")["conditions"]
    split = [condition.partition("_") for condition in conditions]
    rload = lanes([load_ohms(name, load) for load, _, _ in split])
    celsius = lanes([float(heat.removesuffix("C") or 27) for _, _, heat in split])
    point = Circuit(fed_board(name)).operating_point(parameters={"rload": rload}, celsius=celsius)
    worst = max((*deviation(point, lane, c["nodes"]), key) for lane, (key, c) in enumerate(conditions.items()))
    assert worst[0] < OP_VOLTS, worst


@pytest.mark.parametrize("sweep", ["trim", "line", "load"])
@pytest.mark.parametrize("name", BOARDS)
def test_every_stored_sweep_agrees(name: str, sweep: str) -> None:
    rows = list(csv.DictReader((REFERENCE / f"{name}_{sweep}.csv").read_text().splitlines()))
    netlist = fed_board(name)
    point = Circuit(netlist).operating_point(parameters=sweep_parameters(name, sweep, rows))
    worst = max(row_deviation(point, lane, row) for lane, row in enumerate(rows))
    assert worst[0] < SWEEP_VOLTS, worst


def sweep_parameters(name: str, sweep: str, rows: list[dict[str, str]]) -> dict[str, float | Floats]:
    if sweep == "load":
        return {"rload": lanes([float(row["r_load"]) for row in rows])}
    rload = lanes([load_ohms(name, row["load"]) for row in rows])
    if sweep == "line":
        nominal = stored(f"{name}_op")["bench"]["sources"]["VINP"][2]
        return {"rload": rload, "vin": lanes([float(row["V_source"]) / nominal for row in rows])}
    trims = [parameter for parameter in fed_board(name).params if parameter.startswith("trim")]
    travel = lanes([float(row["trim"]) for row in rows])
    return {"rload": rload, **dict.fromkeys(trims, travel)}


def row_deviation(point: OperatingPoint, lane: int, row: dict[str, str]) -> tuple[float, str, int]:
    """Volts and amps of one row of a sweep; `V_outp` and `I_outp` of the load sweeps are the load's."""
    worst = []
    for column, text in row.items():
        if column in ("trim", "load", "V_source", "r_load"):
            continue
        kind, _, rest = column.partition("_")
        if column.startswith("I_VIN"):
            value = point.branch_amps(rest)[lane]
        elif kind == "I":
            value = point.volts(rest)[lane] / float(row["r_load"])
        else:
            value = point.volts(rest if kind == "V" else column)[lane]
        worst.append((abs(float(value) - float(text)), column, lane))
    return max(worst)


@pytest.mark.parametrize("name", BOARDS)
def test_every_stored_fault_agrees(name: str) -> None:
    faults = stored(f"{name}_faults")["faults"]
    loads = ("noload", "half")
    rload = lanes([load_ohms(name, load) for load in loads])
    worst: tuple[float, str, str, str] = (0.0, "", "", "")
    for fault in faults:
        netlist = fed_board(name)
        for edit in fault["edits"]:
            netlist = apply_edit(netlist, edit)
        point = Circuit(netlist).operating_point(parameters={"rload": rload})
        assert point.solved.all(), fault["id"]
        for lane, load in enumerate(loads):
            worst = max(worst, (*deviation(point, lane, reached_nodes(fault, load)), fault["id"], load))
    assert worst[0] < FAULT_VOLTS, worst


def reached_nodes(fault: dict[str, Any], load: str) -> dict[str, float]:
    """Reference voltages; of two stable states those that raising the sources ends in (D054, B059)."""
    check = fault["ramp_check"][load]
    other = isinstance(check, dict) and check["verdict"] == "other_dc_state"
    nodes: dict[str, float] = check["nodes_after_ramp"] if other else fault["results"][load]
    return nodes


def test_fifty_boards_with_spread_parts_agree() -> None:
    samples = stored("dual15_samples")["samples"]
    netlist = fed_board("dual15")
    point = Circuit(netlist).operating_point(parts=sampled_parts(netlist, samples))
    worst = max(deviation(point, lane, sample["nodes"]) for lane, sample in enumerate(samples))
    assert worst[0] < OP_VOLTS, worst


def sampled_parts(netlist: Netlist, samples: list[dict[str, Any]]) -> Parts:
    """The samples' values as factors on the netlist's; trimmer halves stand at mid-travel, 500.5 ohm."""
    factors = {}
    for name in samples[0]["values"]:
        value = netlist.element(name).value
        nominal = value.value if isinstance(value, Number) else 500.5
        factors[name, "value"] = np.array([sample["values"][name] for sample in samples]) / nominal
    for name, given in samples[0]["models"].items():
        model = netlist.models[netlist.element(name).model or ""].parameters
        for parameter in given:
            numbers = np.array([sample["models"][name][parameter] for sample in samples])
            factors[name, parameter.lower()] = numbers / evaluate(model[parameter.lower()], {})
    return Parts(len(samples), factors)
