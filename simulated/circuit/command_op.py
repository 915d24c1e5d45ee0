"""The command `op`: node voltages and source currents of the DC operating point, of one board or a list of faults."""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from .cases import read_cases, solved_cases
from .command_line import (
    FAULT_HELP,
    UNSOLVED,
    Commands,
    Refused,
    add_condition,
    add_netlist,
    number,
    pair,
    prepared,
    print_json,
    read_text,
)
from .netlist import Netlist, node_name
from .point import OperatingPoint
from .solve import Circuit

__all__ = ["add"]

_EPILOG = f"""Voltages are volts to ground (node 0). A source's current is in amperes, positive when it delivers
out of its plus into the circuit; a source that holds a node below ground so has a negative current.
With --faults, sources, loads and faults come from a JSON file: "sources" (name: [plus, minus, volts]), "loads_ohm"
(condition: node: ohms) and "faults" (each "id" and "edits"). Printed is a list, an object for each fault and condition.
{FAULT_HELP}"""


def add(commands: Commands) -> None:
    """Add the command."""
    parser = add_netlist(commands, "op", _run, help="print the DC operating point", epilog=_EPILOG)
    add_condition(parser)
    parser.add_argument("--faults", metavar="FILE", help="solve every fault of a JSON file under each of its loads")


def _run(options: argparse.Namespace) -> int:
    celsius = None if options.temp is None else number(options.temp, "--temp")
    if options.faults is not None:
        return _faults(options, celsius)
    netlist = prepared(options)
    sources = [name for name, _ in map(pair, options.source)]
    circuit = Circuit(netlist)
    point = circuit.operating_point(celsius=celsius)
    if not point.solved[0]:
        where = point.worst_node(0)
        sys.stderr.write(f"{netlist.name}: no DC solution was found; the last step still moved {where}\n")
        return UNSOLVED
    result = _result(netlist, circuit, point, sources)
    if options.json:
        print_json(result)
    else:
        sys.stdout.write(_table(result))
    return 0


def _faults(options: argparse.Namespace, celsius: float | None) -> int:
    if options.source or options.load:
        raise Refused("--source and --load do not go with --faults, whose file names sources and loads; leave them out")
    path = Path(options.faults)
    results = solved_cases(prepared(options), read_cases(read_text(path), str(path)), celsius)
    if options.json:
        print_json(
            [{"id": r.id, "condition": r.condition, "converged": r.converged, "nodes": r.nodes} for r in results]
        )
    else:
        for result in results:
            sys.stdout.write(f"{result.id} {result.condition}: {'solved' if result.converged else 'no solution'}\n")
    for result in results:
        if result.why:
            sys.stderr.write(f"{result.id} {result.condition}: {result.why}\n")
    return 0


def _result(netlist: Netlist, circuit: Circuit, point: OperatingPoint, sources: Sequence[str]) -> dict[str, object]:
    named = {f"V({node})".upper(): node_name(node) for node in sources}
    volts = {node: float(point.volts(node)[0]) for node in netlist.nodes}
    amps = {
        named.get(element.name, element.name): float(point.branch_amps(element.name)[0])
        for element in netlist.elements
        if element.kind == "V"
    }
    return {"format": 1, "solved": True, "nodes": volts, "sources": amps, "warnings": list(circuit.warnings)}


def _table(result: dict[str, object]) -> str:
    nodes, sources, warnings = result["nodes"], result["sources"], result["warnings"]
    assert isinstance(nodes, dict) and isinstance(sources, dict) and isinstance(warnings, list)
    width = max(len(name) for name in [*nodes, *sources])
    lines = [f"{name:<{width}}  {volts:.9g} V" for name, volts in nodes.items()]
    lines += [f"{name:<{width}}  {amps:.9g} A" for name, amps in sources.items()]
    return "".join(f"{line}\n" for line in [*lines, *(f"warning: {text}" for text in warnings)])
