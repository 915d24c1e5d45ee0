"""Tell what capacitors hold at an operating point, and through what resistance they run empty once all is off."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .expressions import evaluate
from .netlist import GROUND, Element, Netlist, parameter_values
from .point import OperatingPoint

__all__ = ["Held", "held_charges"]

FORWARD_VOLTS = 0.3  # a diode with more across it conducts
SHORT_OHMS, LEAK_SIEMENS = 1e-3, 1e-12
MOST_OHMS = 1e9  # above it nothing bleeds


@dataclass(frozen=True)
class Held:
    """A capacitor of the board: what it holds, and the resistance that empties it, infinite where nothing does."""

    part: str
    farads: float
    volts: float
    bleed_ohms: float


def held_charges(netlist: Netlist, point: OperatingPoint, parameters: Mapping[str, float]) -> tuple[Held, ...]:
    """Return the capacitors on the first board of a point, those inside subcircuits left out.

    Convention: each is emptied on its own by the board's resistors, those in series with a conducting diode (an
    LED's) among them, the diode taken as a short; transistors, subcircuits and the bench let nothing through. What
    the circuit itself draws on the way down is left out, so a real board is quicker.
    """
    values = parameter_values(netlist, parameters)
    own = [element for element in netlist.elements if "." not in element.name]

    def value(element: Element) -> float:
        return 0.0 if element.value is None else float(np.asarray(evaluate(element.value, values)).reshape(-1)[0])

    paths = [(element.nodes, max(value(element), SHORT_OHMS)) for element in own if element.kind == "R"]
    paths += [(element.nodes, SHORT_OHMS) for element in own if element.kind == "L"]
    paths += [(e.nodes, SHORT_OHMS) for e in own if e.kind == "D" and _across(point, e) > FORWARD_VOLTS]
    ohms = _Ohms(netlist.nodes, paths)
    return tuple(
        Held(element.name, value(element), abs(_across(point, element)), ohms.between(*element.nodes[:2]))
        for element in own
        if element.kind == "C"
    )


def _across(point: OperatingPoint, element: Element) -> float:
    return float(point.volts(element.nodes[0])[0] - point.volts(element.nodes[1])[0])


class _Ohms:
    """A network of resistances; ground is a node like any other."""

    def __init__(self, nodes: tuple[str, ...], paths: list[tuple[tuple[str, ...], float]]) -> None:
        self._at = {name: at for at, name in enumerate((*nodes, GROUND))}
        siemens = np.eye(len(self._at)) * LEAK_SIEMENS
        for ends, ohms in paths:
            one, other = self._at[ends[0]], self._at[ends[1]]
            siemens[[one, other], [one, other]] += 1.0 / ohms
            siemens[[one, other], [other, one]] -= 1.0 / ohms
        self._inverse = np.linalg.inv(siemens)

    def between(self, one: str, other: str) -> float:
        """Return the resistance between two nodes."""
        a, b = self._at[one], self._at[other]
        ohms = float(self._inverse[a, a] + self._inverse[b, b] - 2.0 * self._inverse[a, b])
        return ohms if ohms < MOST_OHMS else np.inf
