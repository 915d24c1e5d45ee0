"""The command `sample`: node voltages of healthy boards whose parts are drawn within their tolerances."""

import argparse
import sys

import numpy as np

from .command_line import (
    FAULT_HELP,
    Commands,
    Refused,
    add_condition,
    add_netlist,
    number,
    pair,
    prepared,
    print_json,
    whole_number,
)
from .offsets import with_offsets
from .parts import draw_parts
from .solve import Circuit

__all__ = ["add"]

_MOST_BOARDS = 100_000
_CHUNK = 2000  # boards solved at a time; a board is the same in any chunk
_EPILOG = f"""A board's parts depend on the seed and its number only. Tolerances are relative (0.05), of a LED to 2 V.
{FAULT_HELP}"""


def add(commands: Commands) -> None:
    """Add the command."""
    parser = add_netlist(
        commands, "sample", _run, help="print node voltages of boards with spread parts", epilog=_EPILOG
    )
    add_condition(parser)
    add = parser.add_argument
    add("--boards", default="10", metavar="N", help="how many boards (10)")
    add("--seed", default="1", metavar="N", help="seed of the parts (1)")
    add("--first", default="0", metavar="N", help="number of the first board (0)")
    add("--spread", choices=("uniform", "normal"), default="uniform", help="how parts lie within their tolerances")
    add("--tolerance", action="append", default=[], metavar="PART=FRACTION", help="a part's own tolerance")
    add("--matched", action="append", default=[], metavar="PART,PART", help="parts of one lot, which share their draw")
    add("--offset", action="append", default=[], metavar="PART.PIN=VOLTS", help="half-width of an input offset")


def _run(options: argparse.Namespace) -> int:
    boards = whole_number(options.boards, "--boards", least=1, most=_MOST_BOARDS)
    first = whole_number(options.first, "--first", least=0, most=_MOST_BOARDS)
    seed = whole_number(options.seed, "--seed", least=0, most=2**32)
    celsius = None if options.temp is None else number(options.temp, "--temp")
    tolerances = {name: _fraction(value, f"--tolerance {name}") for name, value in map(pair, options.tolerance)}
    offsets = {pin: number(value, f"--offset {pin}") for pin, value in map(pair, options.offset)}
    netlist = with_offsets(prepared(options), offsets)
    circuit = Circuit(netlist)
    found: list[dict[str, object]] = []
    for start in range(first, first + boards, _CHUNK):
        parts = draw_parts(
            netlist,
            np.random.default_rng(seed),
            min(_CHUNK, first + boards - start),
            tolerances,
            spread=options.spread,
            matched=[group.split(",") for group in options.matched],
            offsets=offsets,
            first=start,
        )
        point = circuit.operating_point(parts=parts, celsius=celsius)
        volts = {node: point.volts(node).tolist() for node in netlist.nodes}
        for lane, solved in enumerate(point.solved.tolist()):
            nodes = {node: values[lane] for node, values in volts.items()} if solved else {}
            found.append({"board": start + lane, "converged": solved, "nodes": nodes})
    _print(found, as_json=options.json)
    return 0


def _fraction(text: str, owner: str) -> float:
    value = number(text, owner)
    if not 0.0 <= value < 1.0:
        raise Refused(f"{owner}: {value:g} is no tolerance; write a fraction, 0.05 for 5 %")
    return value


def _print(found: list[dict[str, object]], *, as_json: bool) -> None:
    if as_json:
        print_json(found)
        return
    unsolved = [board for board in found if not board["converged"]]
    columns: dict[str, list[float]] = {}
    for board in found:
        nodes = board["nodes"]
        assert isinstance(nodes, dict)
        for node, volts in nodes.items():
            columns.setdefault(node, []).append(volts)
    width = max((len(node) for node in columns), default=0)
    for node, volts in columns.items():
        sys.stdout.write(f"{node:<{width}}  {min(volts):.6g} V .. {max(volts):.6g} V, mean {np.mean(volts):.6g} V\n")
    for board in unsolved:
        sys.stdout.write(f"warning: board {board['board']} has no DC solution\n")
