"""Hold what the commands of `python -m simulated.circuit` share: arguments, their reading, and their refusals.

A command is a module with `add(commands)`: it adds its parser and sets `run`, a function from options to exit code.
"""

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NoReturn, TypeAlias

from .edits import add_element, set_parameter, set_value
from .errors import nearest
from .expressions import ExpressionError, parse_number
from .faults import fault_kinds, parse_fault, with_fault
from .netlist import GROUND, Netlist, node_name
from .reader import read_netlist

__all__ = [
    "UNSOLVED",
    "WRONG",
    "Commands",
    "OneLineParser",
    "Refused",
    "add_condition",
    "add_netlist",
    "hung",
    "number",
]
__all__ += ["pair", "prepared", "print_json", "read_file", "read_text", "whole_number"]

WRONG, UNSOLVED = 2, 5
# The largest netlist that is read: far beyond any board, far below what would keep a reader busy.
_MOST_BYTES = 2_000_000

FAULT_HELP = (
    "Values take suffixes: 4.7k, 100n, 2.2meg. Fault kinds:\n"
    + "\n".join(f"  {name:<9} {text}" for name, text in fault_kinds().items())
    + "\nA trimmer is named as on the board. Bridges are written A-B:bridge, each a node or REFDES.PIN."
)


class Refused(Exception):
    """The command line or the netlist is wrong; the message is the line to print."""


class OneLineParser(argparse.ArgumentParser):
    """An argument parser whose refusal is one line."""

    def error(self, message: str) -> NoReturn:
        """Leave with exit code 2."""
        self.exit(WRONG, f"{self.prog}: {message}; see --help\n")


Commands: TypeAlias = "argparse._SubParsersAction[OneLineParser]"
Run = Callable[[argparse.Namespace], int]


def add_netlist(commands: Commands, name: str, run: Run, *, help: str, epilog: str = "") -> OneLineParser:
    """Add a command on a netlist, with `--json`, and return its parser."""
    layout = argparse.RawDescriptionHelpFormatter
    parser = commands.add_parser(
        name, help=help, description=f"{help.capitalize()}.", epilog=epilog, formatter_class=layout
    )
    parser.add_argument("netlist", help="SPICE netlist; its first line is the title")
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.set_defaults(run=run)
    return parser


def add_condition(parser: OneLineParser) -> None:
    """Add what a board is set to and hung on."""
    add = parser.add_argument
    add("--set", action="append", default=[], metavar="NAME=VALUE", help="set a .param, or else an element's value")
    add("--source", action="append", default=[], metavar="NODE=VOLTS", help="put an ideal source from NODE to ground")
    add("--load", action="append", default=[], metavar="NODE=OHMS", help="put a resistor from NODE to ground")
    add("--fault", action="append", default=[], metavar="REFDES[.PIN]:KIND[:VALUE]", help="make an assembly fault")
    add("--temp", metavar="CELSIUS", help="temperature; else the netlist's own, else 27")


def pair(text: str) -> tuple[str, str]:
    """Return the two sides of `NAME=VALUE`."""
    name, equals, value = text.partition("=")
    if not (name and equals and value):
        raise Refused(f"'{text}' is not understood; write NAME=VALUE")
    return name, value


def number(text: str, owner: str) -> float:
    """Return the number in an argument; the refusal begins with `owner`."""
    try:
        return parse_number(text)
    except ExpressionError as error:
        raise Refused(f"{owner}: {error}") from None


def whole_number(text: str, owner: str, *, least: int, most: int) -> int:
    """Return the whole number in an argument."""
    if not text.isascii() or not text.isdigit() or not least <= int(text[:12]) <= most:
        raise Refused(f"{owner}: '{text}' is not a whole number from {least} to {most}; write one")
    return int(text)


def prepared(options: argparse.Namespace) -> Netlist:
    """Return the netlist of a command line with its settings, faults, sources and loads."""
    netlist = read_file(Path(options.netlist))
    for text in options.set:
        netlist = _with_setting(netlist, *pair(text))
    for text in options.fault:
        netlist = with_fault(netlist, parse_fault(text))
    for text in options.source:
        node, value = pair(text)
        netlist = hung(netlist, f"V({node})", node, number(value, f"--source {text}"), "source")
    for text in options.load:
        node, value = pair(text)
        ohms = number(value, f"--load {text}")
        if ohms <= 0.0:
            raise Refused(f"--load {text}: a load of {ohms:g} ohm is none; write ohms above zero")
        netlist = hung(netlist, f"R({node})", node, ohms, "load")
    return netlist


def read_file(path: Path) -> Netlist:
    """Return the netlist in a file."""
    return read_netlist(read_text(path), name=str(path), folder=path.parent)


def read_text(path: Path) -> str:
    """Return the text of a file; Refused for one that is missing, too large or no text."""
    try:
        if path.stat().st_size > _MOST_BYTES:
            most = _MOST_BYTES // 1_000_000
            raise Refused(f"{path}: the file is larger than {most} MB; give it one board at a time")
        return path.read_text(encoding="utf-8")
    except OSError as error:
        raise Refused(f"{path}: {error.strerror or error}; write the name of a netlist file") from error
    except UnicodeDecodeError as error:
        raise Refused(f"{path}: this is not text (byte {error.start}); write the name of a netlist in UTF-8") from error


def _with_setting(netlist: Netlist, name: str, text: str) -> Netlist:
    value = number(text, f"--set {name}")
    if name.lower() in netlist.body.parameters:
        return set_parameter(netlist, name, value)
    elements = {element.name for element in netlist.elements if element.value is not None}
    if name.upper() in elements:
        return set_value(netlist, name, value)
    close = nearest(name, [*netlist.body.parameters, *elements])
    raise Refused(f"--set {name}: no parameter and no element with a value has that name; write one of {close}")


def hung(netlist: Netlist, name: str, node: str, value: float, what: str) -> Netlist:
    """Return the netlist with an element of one value from a node to ground."""
    key = node_name(node)
    if key == GROUND or key not in netlist.nodes:
        raise Refused(f"--{what} {node}: there is no such node; write one of {nearest(key, netlist.nodes)}")
    return add_element(netlist, name, (key, GROUND), value=value)


def print_json(document: object) -> None:
    """Print one JSON document."""
    sys.stdout.write(json.dumps(document) + "\n")
