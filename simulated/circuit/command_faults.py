"""The command `faults`: every assembly fault a board can have, with its class."""

import argparse
import sys
from pathlib import Path

from .command_line import Commands, Refused, add_netlist, pair, print_json, read_file
from .universe import BoardNotes, universe

__all__ = ["add"]


def add(commands: Commands) -> None:
    """Add the command."""
    parser = add_netlist(commands, "faults", _run, help="list every assembly fault the board can have, with its class")
    add = parser.add_argument
    add("--neighbour", action="append", default=[], metavar="A-B", help="nodes or pins close enough for a bridge")
    add("--polarised", action="append", metavar="PART", help="an electrolytic; else all capacitors from 1 uF up")
    add(
        "--confused",
        action="append",
        default=[],
        metavar="PART=VALUE",
        help="a value or model taken for the part's own",
    )
    add("--turned", action="append", default=[], metavar="PART=LEADS", help="leads hole by hole of a turned package")
    add("--unmounted", action="append", default=[], metavar="PART", help="an element that is no part of its own")


def _run(options: argparse.Namespace) -> int:
    confused: dict[str, list[str]] = {}
    for part, value in map(pair, options.confused):
        confused.setdefault(part, []).append(value)
    notes = BoardNotes(
        neighbours=[_neighbours(text) for text in options.neighbour],
        polarised=options.polarised,
        confused=confused,
        turned=dict(map(pair, options.turned)),
        unmounted=options.unmounted,
    )
    defects = universe(read_file(Path(options.netlist)), notes)
    if options.json:
        print_json([{"fault": str(defect.fault), "class": defect.fault_class.value} for defect in defects])
        return 0
    width = max((len(str(defect.fault)) for defect in defects), default=0)
    for defect in defects:
        sys.stdout.write(f"{defect.fault!s:<{width}}  {defect.fault_class.value}\n")
    return 0


def _neighbours(text: str) -> tuple[str, str]:
    one, dash, other = text.partition("-")
    if not (one and dash and other):
        raise Refused(f"--neighbour '{text}' is not understood; write A-B, each a node or REFDES.PIN")
    return one, other
