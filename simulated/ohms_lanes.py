"""Boards of many lanes with nothing on them but an ohmmeter, at rest: what its test current drives."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulated.board import BoardDescription, tested
from simulated.circuit import Netlist, Parts, SupplySetting
from simulated.circuit.fleet import Fleet
from simulated.instruments.ohms import COMPLIANCE_VOLTS

__all__ = ["OhmsLanes", "OhmsTest"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class OhmsTest:
    """A test current that flows into a terminal; `turned`: out of it, the meter's plus being at GND."""

    terminal: str
    turned: bool
    amps: float


class OhmsLanes:
    """The boards of a fleet with an ohmmeter at every terminal, all one way round, of which one is on at a time."""

    def __init__(
        self, netlists: Sequence[Netlist], parts: Sequence[Parts], description: BoardDescription, *, turned: bool
    ) -> None:
        self._nodes, self._sign = description.terminals, -1.0 if turned else 1.0
        circuits = [tested(netlist, description, self._nodes, turned=turned) for netlist in netlists]
        self._fleet = Fleet(circuits, parts)

    def volts(
        self, places: NDArray[np.intp], tests: Sequence[OhmsTest], parameters: Mapping[str, Floats]
    ) -> tuple[list[float], list[bool]]:
        """Return the volts across the ohmmeter of each lane, and whether there is a solution."""
        amps, on = np.array([test.amps for test in tests]), np.array([test.terminal for test in tests])
        settings = {name: SupplySetting(COMPLIANCE_VOLTS, amps, on == name) for name in self._nodes}
        self._fleet.forget(places)  # where the last terminal's current left a board is no place to begin from
        point = self._fleet.solve(places, supplies=settings, parameters=parameters)
        of = {name: point.volts(self._nodes[name]) for name in set(on.tolist())}
        volts = [self._sign * float(of[test.terminal][at]) for at, test in enumerate(tests)]
        return volts, point.solved.tolist()
