"""Set a circuit up for what changes with time: its conducting parts and its stores, at one condition.

Transient and small signal start from here; the DC engine needs none of it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .devices import Devices, Workshop, take_lanes
from .ends import Ends
from .inventory import take_inventory
from .layout import Layout
from .linearise import Aid, Linearised, Problem
from .parts import Parts, nominal_parts
from .reactive import Reactive, Stored, Stores, stored
from .scatter import Scatter
from .settings import Settings, board_count
from .solve import Circuit
from .waves import Timed, sources_at, timed_sources

__all__ = ["Dynamics", "dynamics_of", "no_aid", "summed"]

Floats = NDArray[np.float64]
Value = float | Floats

# What holds less is charged within the milliseconds that rails take, whatever charges it.
_SLOW_FARADS = 1e-9


@dataclass(frozen=True)
class Dynamics:
    """A circuit's devices and stores for these boards; arrays are (L, ...), L one or the number of boards.

    With `junctions_store` false what semiconductors store is left out.
    """

    layout: Layout
    ends: Ends
    reactive: Reactive
    devices: Devices
    matrix: Floats  # (L, M, M), what conducts
    stores: Stores
    minimum_volts: Floats  # (1, loads)
    gmin: float
    boards: int
    junctions_store: bool = True
    timed: tuple[Timed, ...] = ()

    def problem(self, settings: Settings, time: float | None = None) -> Problem:
        """Return what is to be solved under these settings; sources that move stand where they are at a time."""
        devices = self.devices
        if self.timed and time is not None:
            devices = replace(devices, sources=sources_at(devices.sources, self.timed, time))
        return Problem(
            devices, self.matrix, settings.volts, settings.limits, settings.amps, self.minimum_volts, self.gmin
        )

    @cached_property
    def slow_nodes(self) -> NDArray[np.intp]:
        """The nodes that hold charge enough to move slowly."""
        farads = np.diagonal(self.stores.matrix, axis1=1, axis2=2)[:, : len(self.layout.names)]
        return np.flatnonzero((farads >= _SLOW_FARADS).any(axis=0))

    def of(self, lanes: NDArray[np.intp]) -> "Dynamics":
        """Return the set-up of some boards."""
        if lanes.size == self.boards:
            return self
        devices, stores = take_lanes(self.devices, lanes), take_lanes(self.stores, lanes)
        return replace(
            self,
            devices=devices,
            matrix=take_lanes(self.matrix, lanes),
            stores=stores,
            boards=int(lanes.size),
            timed=tuple(each.of(lanes) for each in self.timed),
        )

    def held(self, line: Linearised) -> Stored:
        """Return what semiconductors store where lanes stand."""
        return stored(self.reactive, self.stores, self.devices, line)


def dynamics_of(
    circuit: Circuit,
    parts: Parts | None,
    parameters: Mapping[str, Value] | None,
    celsius: Value | None,
    *,
    junctions_store: bool = True,
) -> Dynamics:
    """Return the set-up; CircuitError for an unknown parameter, a value without sense, unequal numbers of boards.

    With `junctions_store` false what semiconductors store is left out.
    """
    netlist, layout, ends = circuit.netlist, circuit.layout, circuit.ends
    parts = nominal_parts(netlist) if parts is None else parts
    parameters = parameters or {}
    heat = np.reshape(np.asarray(netlist.celsius if celsius is None else celsius, dtype=np.float64), (-1, 1))
    boards = board_count([parts.boards, heat.shape[0], *(np.size(value) for value in parameters.values())])
    inventory = take_inventory(netlist)
    workshop = Workshop(netlist, inventory, tuple(end.ohms for end in ends.meters))
    devices = workshop.devices(parts, parameters, heat)
    reactive = Reactive(netlist, layout)
    matrix = summed(layout.fixed[None], layout.linear, devices.linear)
    minimum = np.array([[end.minimum_volts for end in ends.loads]])
    stores = reactive.at(parts, parameters, heat)
    rows = layout, ends, reactive, devices, matrix, stores, minimum, netlist.gmin, boards
    timed = timed_sources(netlist, inventory, parts, parameters)
    return Dynamics(*rows, junctions_store=junctions_store, timed=timed)


def summed(matrix: Floats, pattern: Scatter, values: Floats, factor: float = 1.0) -> Floats:
    """Return a matrix (L, M, M) with device values added to it by their pattern."""
    lanes, size = max(matrix.shape[0], values.shape[0]), matrix.shape[-1]
    total = matrix.copy() if matrix.shape[0] == lanes else np.repeat(matrix, lanes, axis=0)
    pattern.add(total.reshape(lanes, size * size), values if factor == 1.0 else values * factor)
    return total


def no_aid(layout: Layout, lanes: int) -> Aid:
    """Return an aid that changes nothing."""
    return Aid(np.ones((lanes, 1)), np.zeros((lanes, len(layout.names))), np.zeros((lanes, layout.size)))
