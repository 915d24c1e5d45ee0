"""Add up the capacitance that hangs on a node, for the decay of a rail after switch-off."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from .errors import CircuitError, nearest
from .expressions import evaluate
from .netlist import GROUND, Element, Netlist, node_name, parameter_values

__all__ = ["capacitance_at"]

Value = float | NDArray[np.float64]

# Tracks, fuses and the series resistance of electrolytics do not part a node from its capacitors.
_JOINING_OHMS = 10.0


def capacitance_at(netlist: Netlist, node: str, parameters: Mapping[str, Value] | None = None) -> float:
    """Return farads from a node to ground.

    Nodes joined through 10 ohm or less count as one, and so do those on ground's side. Raises
    CircuitError for an unknown node.
    """
    name = node_name(node)
    if name != GROUND and name not in netlist.nodes:
        raise CircuitError(f"{netlist.name} has no node '{node}'; write one of {nearest(name, netlist.nodes)}")
    values = parameter_values(netlist, parameters or {})
    joined = [
        e.nodes for e in netlist.elements if e.kind == "L" or (e.kind == "R" and _size(e, values) <= _JOINING_OHMS)
    ]
    here, ground = _cluster(name, joined), _cluster(GROUND, joined)
    if here & ground:
        return 0.0
    total = 0.0
    for element in netlist.elements:
        ends = element.nodes[:2]
        if element.kind == "C" and any(a in here and b in ground for a, b in (ends, ends[::-1])):
            total += _size(element, values)
    return total


def _joins(element: Element, values: Mapping[str, Value]) -> bool:
    return element.kind == "L" or (element.kind == "R" and _size(element, values) <= _JOINING_OHMS)


def _size(element: Element, values: Mapping[str, Value]) -> float:
    return float(np.max(evaluate(element.value, values))) if element.value is not None else np.inf


def _cluster(node: str, joined: list[tuple[str, ...]]) -> set[str]:
    cluster, grown = {node}, True
    while grown:
        more = {end for ends in joined if cluster & set(ends) for end in ends} - cluster
        grown = bool(more)
        cluster |= more
    return cluster
