"""What a fleet's solve arrived at: node voltages and currents of every lane, by name."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .errors import CircuitError
from .frame import Frame
from .point import OperatingPoint
from .solve import Circuit

__all__ = ["FleetPoint", "Nodes"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Lanes = NDArray[np.intp]


class Nodes:
    """Finds nodes of circuits in their frame by name, each name once."""

    def __init__(self, circuits: Sequence[Circuit], frame: Frame) -> None:
        self.circuits, self.frame = circuits, frame
        self._known: dict[str, Lanes] = {}

    def columns(self, node: str) -> Lanes:
        """Return a node's column on each wiring, -1 where it is not; CircuitError where no circuit has it."""
        if node not in self._known:
            columns = np.array([self._column(wiring, node) for wiring in range(len(self.circuits))])
            if (columns < 0).all():
                self.circuits[0].layout.node(node)
            self._known[node] = columns
        return self._known[node]

    def _column(self, wiring: int, node: str) -> int:
        try:
            own = self.circuits[wiring].layout.node(node)
        except CircuitError:
            return -1
        return int(self.frame.seats[wiring].unknowns[own])


class FleetPoint:
    """What a solve arrived at, all arrays (lanes,) in the order the lanes were asked for; NaN where not solved."""

    def __init__(self, nodes: Nodes, wirings: Lanes, point: OperatingPoint) -> None:
        self._nodes, self._wirings, self._point = nodes, wirings, point
        self.solved = point.solved

    def volts(self, node: str) -> Floats:
        """Return a node's volts to ground; NaN on boards without such a node, CircuitError where no board has it."""
        own = self._nodes.columns(node)[self._wirings]
        volts = self._point.unknowns[np.arange(own.size), own]
        return np.where(self.solved & (own >= 0), volts, np.nan)

    def supply_amps(self, name: str) -> Floats:
        """Return the amps a supply delivers out of its plus."""
        return self._point.supply_amps(name)

    def supply_limited(self, name: str) -> Bools:
        """Return whether a supply holds its current limit rather than its voltage."""
        return self._point.supply_limited(name)

    def load_amps(self, name: str) -> Floats:
        """Return the amps a load draws into its plus."""
        return self._point.load_amps(name)

    def worst_node(self, lane: int) -> str:
        """Return the node that still moved most when a lane's solve was given up."""
        wiring = int(self._wirings[lane])
        return self.of(wiring).worst_node(int((self._wirings[:lane] == wiring).sum()))

    def of(self, wiring: int) -> OperatingPoint:
        """Return the lanes of one circuit, in its own unknowns."""
        circuit, seat = self._nodes.circuits[wiring], self._nodes.frame.seats[wiring]
        lanes, point = np.flatnonzero(self._wirings == wiring), self._point
        return OperatingPoint(
            solved=self.solved[lanes],
            layout=circuit.layout,
            ends=circuit.ends,
            unknowns=point.unknowns[lanes][:, seat.unknowns],
            loads=point.loads[lanes],
            modes=point.modes[lanes],
            restless=np.argmax(seat.unknowns == point.restless[lanes][:, None], axis=1),
            knees=point.knees[lanes][:, seat.zeners],
        )
