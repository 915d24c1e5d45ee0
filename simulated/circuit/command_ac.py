"""The command `ac`: how far a small wobble of one source reaches the nodes, over frequency."""

import argparse
import sys

import numpy as np

from .command_line import (
    FAULT_HELP,
    UNSOLVED,
    Commands,
    Refused,
    add_condition,
    add_netlist,
    number,
    prepared,
    print_json,
    whole_number,
)
from .errors import nearest
from .netlist import Netlist, node_name
from .smallsignal import Complex, transfer
from .solve import Circuit

__all__ = ["add"]

_EPILOG = f"""Magnitudes are volts at a node for one volt of the source (one ampere of an I source), phases are degrees.
The board stands at its DC operating point. Frequencies are spaced evenly on a logarithmic scale.
{FAULT_HELP}"""
_MOST_POINTS = 10_000


def add(commands: Commands) -> None:
    """Add the command."""
    parser = add_netlist(commands, "ac", _run, help="print the response to a small wobble of a source", epilog=_EPILOG)
    add_condition(parser)
    add = parser.add_argument
    add("--excite", required=True, metavar="NODE", help="the node of the --source that wobbles, or a source's own name")
    add("--from", dest="first", default="10", metavar="HZ", help="lowest frequency (10)")
    add("--to", dest="last", default="100k", metavar="HZ", help="highest frequency (100k)")
    add("--points", default="41", metavar="N", help="number of frequencies (41)")
    add("--output", action="append", default=[], metavar="NODE", help="a node to print; else all")


def _run(options: argparse.Namespace) -> int:
    netlist = prepared(options)
    celsius = None if options.temp is None else number(options.temp, "--temp")
    first, last = number(options.first, "--from"), number(options.last, "--to")
    if not 0.0 < first <= last < np.inf:
        raise Refused(
            f"--from {options.first} --to {options.last}: write two frequencies above zero, the lower one first"
        )
    points = whole_number(options.points, "--points", least=1, most=_MOST_POINTS)
    hertz = np.geomspace(first, last, points)
    nodes = [node_name(node) for node in options.output] or list(netlist.nodes)
    source = _source(netlist, options.excite)
    circuit = Circuit(netlist)
    point = circuit.operating_point(celsius=celsius)
    if not point.solved[0]:
        sys.stderr.write(f"{netlist.name}: no DC solution was found; the last step still moved {point.worst_node(0)}\n")
        return UNSOLVED
    response = transfer(circuit, point, source=source, nodes=nodes, hertz=hertz, celsius=celsius)[0]
    if options.json:
        print_json(_document(nodes, hertz.tolist(), response))
    else:
        sys.stdout.write(_table(nodes, hertz.tolist(), response))
    return 0


def _source(netlist: Netlist, name: str) -> str:
    """Return the element to wobble, named by its node or by its own name."""
    sources = [element.name for element in netlist.elements if element.kind in "VI"]
    own = f"V({node_name(name)})".upper()
    found = next((source for source in (own, name.upper()) if source in sources), None)
    if found is None:
        known = [source.removeprefix("V(").removesuffix(")").lower() for source in sources]
        raise Refused(f"--excite {name}: there is no such source; write one of {nearest(name, known)}")
    return found


def _document(nodes: list[str], hertz: list[float], response: Complex) -> dict[str, object]:
    columns = {
        node: {"magnitude": np.abs(column).tolist(), "phase": np.degrees(np.angle(column)).tolist()}
        for node, column in zip(nodes, response.T, strict=True)
    }
    return {"format": 1, "hertz": hertz, "nodes": columns}


def _table(nodes: list[str], hertz: list[float], response: Complex) -> str:
    lines = ["hertz  " + "  ".join(f"{node} (V/V, degrees)" for node in nodes)]
    for frequency, row in zip(hertz, response, strict=True):
        # a phase of a rounding error below zero is told as 0.00, not as -0.00
        values = (f"{abs(value):.6g} {round(float(np.degrees(np.angle(value))), 2) + 0.0:.2f}" for value in row)
        lines.append(f"{frequency:.6g}  " + "  ".join(values))
    return "".join(f"{line}\n" for line in lines)
