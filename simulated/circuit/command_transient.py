"""The command `transient`: node voltages over time while sources rise, stay or are cut."""

import argparse
import sys
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

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
)
from .ends import SupplyEnd, SupplySetting
from .errors import nearest
from .netlist import GROUND, Netlist, node_name
from .solve import Circuit
from .transient import Floats, Transient

__all__ = ["add"]

_EPILOG = f"""\
A source is NODE=VOLTS, or NODE=V0:V1:SECONDS for a ramp from the start; it delivers, and takes nothing back.
The board starts from the operating point under the sources' first volts, or with --empty without any charge.
--cut removes all sources (1 Gohm stays). What is printed at a time of change is what stands just behind it.
{FAULT_HELP}"""
_MOST_ROWS = 100_000


@dataclass(frozen=True)
class _Ramp:
    """A source from a node to ground: volts at the start and after some seconds."""

    node: str
    begin: float
    end: float
    seconds: float

    @property
    def below_ground(self) -> bool:
        return min(self.begin, self.end) < 0.0

    def volts(self, time: float) -> float:
        """Return the volts between the ends of the channel, which is turned round below ground."""
        share = min(time / self.seconds, 1.0) if self.seconds > 0.0 else 1.0
        return abs(self.begin + share * (self.end - self.begin))


def add(commands: Commands) -> None:
    """Add the command."""
    parser = add_netlist(commands, "transient", _run, help="print node voltages over time", epilog=_EPILOG)
    add_condition(parser)
    add = parser.add_argument
    add("--cut", metavar="SECONDS", help="remove all sources at this time")
    add("--empty", action="store_true", help="start without any charge rather than from the operating point")
    add("--stop", required=True, metavar="SECONDS", help="when to end")
    add("--step", required=True, metavar="SECONDS", help="how often to print")
    add("--output", action="append", default=[], metavar="NODE", help="a node to print; else all")


def _run(options: argparse.Namespace) -> int:
    netlist = prepared(argparse.Namespace(**{**vars(options), "source": []}))
    ramps = [_ramp(netlist, text) for text in options.source]
    celsius = None if options.temp is None else number(options.temp, "--temp")
    times = _times(options)
    cut = None if options.cut is None else _seconds(options.cut, "--cut")
    nodes = [node_name(node) for node in options.output] or list(netlist.nodes)
    circuit = Circuit(netlist, supplies=tuple(_end(ramp) for ramp in ramps))
    run = Transient(circuit, celsius=celsius)
    if not options.empty:
        point = circuit.operating_point(supplies=_settings(ramps, 0.0), celsius=celsius)
        if not point.solved[0]:
            where = point.worst_node(0)
            sys.stderr.write(f"{netlist.name}: no DC solution to start from; the last step still moved {where}\n")
            return UNSOLVED
        run.start_from(point)
    volts = _followed(run, ramps, cut, times, nodes)
    if not np.isfinite(volts).all():
        lost = times[~np.isfinite(volts).all(axis=1)][0]
        sys.stderr.write(f"{netlist.name}: the circuit could not be followed beyond {lost:g} s\n")
        return UNSOLVED
    if options.json:
        columns = {node: column.tolist() for node, column in zip(nodes, volts.T, strict=True)}
        print_json({"format": 1, "seconds": times.tolist(), "nodes": columns, "warnings": list(circuit.warnings)})
    else:
        sys.stdout.write(_table(nodes, times, volts))
    return 0


def _followed(run: Transient, ramps: list[_Ramp], cut: float | None, times: Floats, nodes: list[str]) -> Floats:
    """Return volts (T, nodes): one piece of time after another, from each change of a source to the next."""
    stop, volts = float(times[-1]), np.zeros((times.size, len(nodes)))
    changes = {0.0, stop, *(ramp.seconds for ramp in ramps), *([] if cut is None else [cut])}
    edges = sorted(time for time in changes if time <= stop)
    for begin, end in pairwise(edges):
        on = cut is None or begin < cut
        supplies = _settings(ramps, begin) if on else {}
        reaching = {ramp.node: ramp.volts(end) for ramp in ramps} if on else {}
        trace = run.advance(end - begin, supplies=supplies, reaching=reaching, watch=nodes)
        within = (times >= begin) & (times <= end)
        volts[within] = trace.at(np.clip(times[within], trace.seconds[0], trace.seconds[-1]))[0]
    return volts


def _settings(ramps: list[_Ramp], time: float) -> dict[str, SupplySetting]:
    return {ramp.node: SupplySetting(ramp.volts(time)) for ramp in ramps}


def _end(ramp: _Ramp) -> SupplyEnd:
    plus, minus = (GROUND, ramp.node) if ramp.below_ground else (ramp.node, GROUND)
    return SupplyEnd(ramp.node, plus, minus)


def _ramp(netlist: Netlist, text: str) -> _Ramp:
    name, value = pair(text)
    node, owner = node_name(name), f"--source {text}"
    if node == GROUND or node not in netlist.nodes:
        raise Refused(f"--source {name}: there is no such node; write one of {nearest(node, netlist.nodes)}")
    words = value.split(":")
    if len(words) not in (1, 3):
        raise Refused(f"{owner}: write NODE=VOLTS, or NODE=V0:V1:SECONDS for a ramp")
    begin, end = number(words[0], owner), number(words[-2 if len(words) == 3 else 0], owner)
    if begin * end < 0.0:
        raise Refused(f"{owner}: a ramp does not cross zero; write two voltages of one sign")
    return _Ramp(node, begin, end, _seconds(words[2], owner) if len(words) == 3 else 0.0)


def _seconds(text: str, owner: str) -> float:
    seconds = number(text, owner)
    if not 0.0 <= seconds < np.inf:
        raise Refused(f"{owner}: a time of {seconds:g} s is none; write seconds of zero or more")
    return seconds


def _times(options: argparse.Namespace) -> Floats:
    stop, step = _seconds(options.stop, "--stop"), _seconds(options.step, "--step")
    if not 0.0 < step <= stop or stop / step > _MOST_ROWS:
        wanted = f"write a step above zero, --stop at most {_MOST_ROWS} steps away"
        raise Refused(f"--stop {options.stop} --step {options.step}: {wanted}")
    times = np.arange(0.0, stop - 1e-6 * step, step, dtype=np.float64)
    return np.append(times, stop)


def _table(nodes: list[str], times: Floats, volts: Floats) -> str:
    lines = ["seconds  " + "  ".join(nodes)]
    lines += [f"{t:.6g}  " + "  ".join(f"{value:.6g}" for value in row) for t, row in zip(times, volts, strict=True)]
    return "".join(f"{line}\n" for line in lines)
