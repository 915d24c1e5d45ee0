"""Tell what each part burns at an operating point."""

from collections import defaultdict
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from .dynamics import no_aid
from .linearise import Problem, State, across, junction_volts, linearise
from .netlist import Element
from .parts import Parts, nominal_parts
from .point import OperatingPoint
from .solve import Circuit

__all__ = ["part_watts"]

Floats = NDArray[np.float64]


def part_watts(
    circuit: Circuit,
    point: OperatingPoint,
    *,
    parts: Parts | None = None,
    parameters: Mapping[str, float] | None = None,
    celsius: float | None = None,
) -> dict[str, float]:
    """Return the watts that each part burns on the first board of a point that was solved under the same conditions.

    Of a subcircuit they are its resistors', diodes' and transistors' together; sources in it, which only model
    something, are left out.
    """
    layout, inventory = circuit.layout, circuit.inventory
    problem = _problem(circuit, parts or nominal_parts(circuit.netlist), parameters or {}, celsius)
    x = point.unknowns[:1]
    state = State(x, junction_volts(layout, x), across(x, layout.load_pairs), point.modes[:1])
    line = linearise(layout, problem, state, no_aid(layout, 1), keep=True)
    siemens, amps = problem.devices.linear[0], line.currents[0]
    collector, base = (amps[layout.diodes + at * layout.transistors :] for at in (0, 1))
    volts = _Volts(circuit, x[0])
    watts: defaultdict[str, float] = defaultdict(float)
    for at, element in enumerate(inventory.resistors):
        watts[_part(element)] += siemens[at] * volts.across(element, 0, 1) ** 2
    for at, element in enumerate(inventory.diodes):
        watts[_part(element)] += amps[at] * volts.across(element, 0, 1)
    for at, (element, sign) in enumerate(zip(inventory.bipolars, inventory.signs, strict=True)):
        through = collector[at] * volts.across(element, 0, 2) + base[at] * volts.across(element, 1, 2)
        watts[_part(element)] += sign * through
    return {name: float(value) for name, value in watts.items()}


class _Volts:
    """The volts of one board by node."""

    def __init__(self, circuit: Circuit, unknowns: Floats) -> None:
        self._layout, self._unknowns = circuit.layout, unknowns

    def across(self, element: Element, plus: int, minus: int) -> float:
        """Return the volts between two pins of an element."""
        high, low = (self._layout.node(element.nodes[pin]) for pin in (plus, minus))
        return float(self._unknowns[high] - self._unknowns[low])


def _part(element: Element) -> str:
    """Return the part that an element belongs to: XU101.Q1 is in XU101."""
    return element.name.partition(".")[0]


def _problem(circuit: Circuit, parts: Parts, parameters: Mapping[str, float], celsius: float | None) -> Problem:
    """Return the devices as a problem of nothing else: where a point stands, no device asks what is applied."""
    netlist, ends = circuit.netlist, circuit.ends
    heat = np.array([[netlist.celsius if celsius is None else celsius]])
    supplies, loads = np.zeros((1, len(ends.supplies))), np.zeros((1, len(ends.loads)))
    least = np.array([[end.minimum_volts for end in ends.loads]])
    devices = circuit.workshop.devices(parts, parameters, heat)
    return Problem(devices, np.zeros((1, 0, 0)), supplies, supplies, loads, least, netlist.gmin)
