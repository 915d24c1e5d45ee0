"""Have ngspice solve what a proof solves: boards with a fault and spread parts, under one or several conditions.

Sources are ideal and loads are resistors: an easier circuit than the proof's, whose supplies have current limits.
"""

import re
import subprocess
from collections.abc import Iterator, Sequence

from simulated.bench import chances
from simulated.board import BoardDescription, built, fitted
from simulated.circuit import Netlist, Parts
from simulated.circuit.expressions import evaluate
from simulated.circuit.netlist import Element

__all__ = ["altering", "solved_by"]

OPTIONS = ".options reltol=1e-6 abstol=1e-12 vntol=1e-9 gmin=1e-12 itl1=500 noacct"
_VALUED = "RVIEG"  # kinds that have a value at rest


def altering(
    description: BoardDescription,
    bench: Sequence[str],
    faults: tuple[str, ...],
    seeds: Sequence[int],
    visits: Sequence[Sequence[str]] = ((),),
) -> str:
    """Return a script that solves one board after the other, altering what differs; `bench` are cards.

    Each board is solved once for each of `visits`, commands that put the bench to a condition.
    """
    netlist = built(description, faults)
    parts = fitted(netlist, description, [chances(seed).parts for seed in seeds])
    lines = [*_deck(netlist, bench), ".control", "set numdgt=12"]
    for board in range(len(seeds)):
        lines += _alterations(netlist, parts, board)
        for commands in visits:
            lines += [*commands, "op", f"print v({next(iter(netlist.nodes))})", "destroy all"]
    return "\n".join([*lines, "quit", ".endc", ".end", ""])


def solved_by(script: str) -> int:
    """Run ngspice on a script and return how many boards it tells a solution of."""
    done = subprocess.run(["ngspice", "-b"], input=script, capture_output=True, text=True, check=False)
    return len(re.findall(r"(?m)^v\(\S+\) = -?[0-9.]+e[+-][0-9]+\s*$", done.stdout))


def _deck(netlist: Netlist, bench: Sequence[str]) -> Iterator[str]:
    """Yield the flat circuit, every device with a model of its own; what does nothing at rest is left out."""
    yield f"* {netlist.name}"
    for element in netlist.elements:
        nodes = " ".join(node.replace(".", "_") for node in element.nodes)
        if element.model is not None:
            model = netlist.models[element.model]
            numbers = {name: evaluate(tree, netlist.params) for name, tree in model.parameters.items()}
            given = " ".join(f"{name}={float(value):.12g}" for name, value in numbers.items())
            yield f"{_name(element)} {nodes} M{_name(element)}"
            yield f".model M{_name(element)} {model.kind} {given}"
        elif element.kind in _VALUED:
            yield f"{_name(element)} {nodes} {_nominal(netlist, element):.12g}"
        elif element.kind != "C":
            raise ValueError(f"{element.name}: a part of kind {element.kind} is not written for ngspice yet")
    yield from bench
    yield OPTIONS


def _alterations(netlist: Netlist, parts: Parts, board: int) -> Iterator[str]:
    """Yield the commands that make the circuit one board's; capacitors do nothing here."""
    elements = {element.name: element for element in netlist.elements}
    for (name, parameter), factors in parts.factors.items():
        element, factor = elements[name], float(factors[board])
        if parameter != "value":
            tree = netlist.models[element.model or ""].parameters[parameter]
            yield f"altermod M{_name(element)} {parameter} = {float(evaluate(tree, netlist.params)) * factor:.12g}"
        elif element.kind in _VALUED:
            yield f"alter {_name(element)} = {_nominal(netlist, element) * factor:.12g}"


def _name(element: Element) -> str:
    return f"{element.kind}_{element.name.replace('.', '_')}"


def _nominal(netlist: Netlist, element: Element) -> float:
    assert element.value is not None
    return float(evaluate(element.value, netlist.params))
