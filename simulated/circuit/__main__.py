"""Solve a netlist from the command line: `python -m simulated.circuit op board.cir --source inp=22`.

Exit codes: 0 solved, 2 the command or the netlist is wrong, 5 no solution was found.
"""

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NoReturn

from .edits import add_element, set_parameter, set_value
from .errors import CircuitError, nearest
from .expressions import ExpressionError, parse_number
from .faults import fault_kinds, parse_fault, with_fault
from .netlist import GROUND, Netlist, node_name
from .point import OperatingPoint
from .reader import read_netlist
from .solve import Circuit

__all__ = ["main"]

_WRONG, _UNSOLVED = 2, 5


class _Refused(Exception):
    """The command line or the netlist is wrong; the message is the line to print."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    options = _parser().parse_args(arguments)
    try:
        netlist = _prepared(options)
        sources = [name for name, _ in map(_pair, options.source)]
        circuit = Circuit(netlist)
        point = circuit.operating_point(celsius=None if options.temp is None else _number(options.temp, "--temp"))
    except (_Refused, CircuitError, RecursionError) as error:
        message = "the netlist is nested too deeply; write it flatter" if isinstance(error, RecursionError) else error
        sys.stderr.write(f"{message}\n")
        return _WRONG
    if not point.solved[0]:
        where = point.worst_node(0)
        sys.stderr.write(f"{netlist.name}: no DC solution was found; the last step still moved {where}\n")
        return _UNSOLVED
    result = _result(netlist, circuit, point, sources)
    sys.stdout.write(json.dumps(result) + "\n" if options.json else _table(result))
    return 0


class _OneLineParser(argparse.ArgumentParser):
    """An argument parser whose refusal is one line."""

    def error(self, message: str) -> NoReturn:
        """Leave with exit code 2."""
        self.exit(_WRONG, f"{self.prog}: {message}; see --help\n")


def _parser() -> argparse.ArgumentParser:
    parser = _OneLineParser(prog="python -m simulated.circuit", description=(__doc__ or "").splitlines()[0])
    commands = parser.add_subparsers(dest="command", required=True)
    op = commands.add_parser(
        "op",
        help="print node voltages and source currents of the DC operating point",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        epilog="Voltages are volts to ground (node 0). A source's current is in amperes, positive when it delivers\n"
        "out of its plus into the circuit; a source that holds a node below ground so has a negative current.\n"
        "Values take suffixes: 4.7k, 100n, 2.2meg. Fault kinds:\n"
        + "\n".join(f"  {name:<9} {text}" for name, text in fault_kinds().items()),
    )
    op.add_argument("netlist", help="SPICE netlist; its first line is the title")
    add = op.add_argument
    add("--set", action="append", default=[], metavar="NAME=VALUE", help="set a .param, or else an element's value")
    add("--source", action="append", default=[], metavar="NODE=VOLTS", help="put an ideal source from NODE to ground")
    add("--load", action="append", default=[], metavar="NODE=OHMS", help="put a resistor from NODE to ground")
    add("--fault", action="append", default=[], metavar="REFDES[.PIN]:KIND[:VALUE]", help="make an assembly fault")
    add("--temp", metavar="CELSIUS", help="temperature; else the netlist's own, else 27")
    add("--json", action="store_true", help="print one JSON object")
    return parser


def _pair(text: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not (name and equals and value):
        raise _Refused(f"'{text}' is not understood; write NAME=VALUE")
    return name, value


def _number(text: str, owner: str) -> float:
    try:
        return parse_number(text)
    except ExpressionError as error:
        raise _Refused(f"{owner}: {error}") from None


def _prepared(options: argparse.Namespace) -> Netlist:
    netlist = _read(Path(options.netlist))
    for text in options.set:
        netlist = _with_setting(netlist, *_pair(text))
    for text in options.fault:
        netlist = with_fault(netlist, parse_fault(text))
    for text in options.source:
        node, value = _pair(text)
        netlist = _hung(netlist, f"V({node})", node, _number(value, f"--source {text}"), "source")
    for text in options.load:
        node, value = _pair(text)
        ohms = _number(value, f"--load {text}")
        if ohms <= 0.0:
            raise _Refused(f"--load {text}: a load of {ohms:g} ohm is none; write ohms above zero")
        netlist = _hung(netlist, f"R({node})", node, ohms, "load")
    return netlist


def _read(path: Path) -> Netlist:
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise _Refused(f"{path}: {error.strerror or error}; write the name of a netlist file") from error
    except UnicodeDecodeError as error:
        raise _Refused(
            f"{path}: this is not text (byte {error.start}); write the name of a netlist in UTF-8"
        ) from error
    return read_netlist(text, name=str(path), folder=path.parent)


def _with_setting(netlist: Netlist, name: str, text: str) -> Netlist:
    value = _number(text, f"--set {name}")
    if name.lower() in netlist.body.parameters:
        return set_parameter(netlist, name, value)
    elements = {element.name for element in netlist.elements if element.value is not None}
    if name.upper() in elements:
        return set_value(netlist, name, value)
    close = nearest(name, [*netlist.body.parameters, *elements])
    raise _Refused(f"--set {name}: no parameter and no element with a value has that name; write one of {close}")


def _hung(netlist: Netlist, name: str, node: str, value: float, what: str) -> Netlist:
    key = node_name(node)
    if key == GROUND or key not in netlist.nodes:
        raise _Refused(f"--{what} {node}: there is no such node; write one of {nearest(key, netlist.nodes)}")
    return add_element(netlist, name, (key, GROUND), value=value)


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


if __name__ == "__main__":
    sys.exit(main())
