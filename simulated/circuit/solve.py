"""Solve a netlist's DC operating point, for any number of boards at once."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from .continuation import Found, find
from .devices import Devices, Workshop
from .ends import Ends, LoadEnd, MeterEnd, SupplyEnd, SupplyMode, SupplySetting, load_current
from .errors import TopologyError
from .inventory import take_inventory, unread_parameters
from .junctions import Breakdown
from .layout import lay_out
from .linearise import Problem, State, across, junction_volts
from .netlist import Netlist
from .parts import Parts, nominal_parts
from .point import OperatingPoint
from .settings import Settings, board_count, read_settings
from .topology import floating_nodes, refuse_source_loops

__all__ = ["Circuit"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Value = float | Floats

# The matrix is dense: beyond this a single solution would take minutes.
_MOST_NODES = 3000


class Circuit:
    """A netlist with the bench's ends on it, laid out once and solved as often as wanted.

    Raises TopologyError when it is made: for a loop of voltage sources, or a current source that
    feeds a node without a path to ground.
    """

    def __init__(
        self,
        netlist: Netlist,
        *,
        supplies: tuple[SupplyEnd, ...] = (),
        loads: tuple[LoadEnd, ...] = (),
        meters: tuple[MeterEnd, ...] = (),
    ) -> None:
        self.netlist = netlist
        self.ends = Ends(tuple(supplies), tuple(loads), tuple(meters))
        if not netlist.nodes:
            raise TopologyError(f"{netlist.name}: all elements are on ground; write nodes other than 0")
        refuse_source_loops(netlist, self.ends)
        floating = floating_nodes(netlist, self.ends)
        inventory = take_inventory(netlist)
        _refuse_large(netlist)
        self.layout = lay_out(netlist, inventory, self.ends, floating)
        self.warnings = (*netlist.warnings, *unread_parameters(netlist), *_floating_warning(netlist, floating))
        self._workshop = Workshop(netlist, inventory, tuple(end.ohms for end in self.ends.meters))
        self._nominal = nominal_parts(netlist)
        self._kept: tuple[object, Devices, Floats, Parts] | None = None

    def operating_point(
        self,
        *,
        parts: Parts | None = None,
        parameters: Mapping[str, Value] | None = None,
        supplies: Mapping[str, SupplySetting] | None = None,
        loads: Mapping[str, Value] | None = None,
        celsius: Value | None = None,
        start: OperatingPoint | None = None,
    ) -> OperatingPoint:
        """Return the operating point; every setting is one value or an array (B,).

        Supplies not named are off, loads not named draw nothing. `start` is an operating point of the
        same circuit to begin from; a start of another circuit is not used. Without a start, and for
        boards that do not get there from it, sources are raised from zero as at power-up, and of two
        stable states the one reached so is returned. Raises CircuitError for unknown names and
        arrays of different lengths.
        """
        parts = self._nominal if parts is None else parts
        parameters = parameters or {}
        heat = np.reshape(np.asarray(self.netlist.celsius if celsius is None else celsius, dtype=np.float64), (-1, 1))
        settings = read_settings(self.ends, supplies or {}, loads or {})
        start = start if start is not None and self._is_of(start) else None
        others = [
            1 if start is None else start.solved.size,
            parts.boards,
            heat.shape[0],
            *(np.size(value) for value in parameters.values()),
        ]
        boards = board_count([*others, *settings.lengths()])
        devices, matrix = self._devices(parts, parameters, heat)
        minimum = np.array([[end.minimum_volts for end in self.ends.loads]])
        problem = Problem(devices, matrix, settings.volts, settings.limits, settings.amps, minimum, self.netlist.gmin)
        state, warm = self._start(boards, settings, start, devices)
        return self._point(find(self.layout, problem, state, warm), problem)

    def _devices(self, parts: Parts, parameters: Mapping[str, Value], heat: Floats) -> tuple[Devices, Floats]:
        key = (id(parts), {name: np.asarray(v).tobytes() for name, v in parameters.items()}, heat.tobytes())
        kept = self._kept
        if kept is None or kept[0] != key:
            devices = self._workshop.devices(parts, parameters, heat)
            size = self.layout.size
            matrix = np.repeat(self.layout.fixed[None], devices.linear.shape[0], axis=0)
            self.layout.linear.add(matrix.reshape(-1, size * size), devices.linear)
            # The parts are held so that their id stays their own; a local name, for another thread may solve too.
            kept = self._kept = (key, devices, matrix, parts)
        return kept[1], kept[2]

    def _start(
        self, boards: int, settings: Settings, start: OperatingPoint | None, devices: Devices
    ) -> tuple[State, Bools]:
        size = self.layout.size
        modes = np.where(settings.on, SupplyMode.VOLTAGE, SupplyMode.OFF).astype(np.int8)
        modes = np.repeat(modes, boards // modes.shape[0], axis=0)
        x, warm = np.zeros((boards, size + 1)), np.zeros(boards, dtype=bool)
        if start is not None:
            x[:] = start.unknowns
            warm[:] = start.solved & np.isfinite(x).all(axis=1)
            x[~warm] = 0.0
            # What is off now stays off; a supply without a limit cannot hold one.
            stays = warm[:, None] & (modes == SupplyMode.VOLTAGE) & (start.modes != SupplyMode.OFF)
            stays &= np.isfinite(settings.limits) | (start.modes != SupplyMode.CURRENT)
            modes = np.where(stays, start.modes, modes)
        junctions = junction_volts(self.layout, x)
        if start is not None:
            _move_zeners(junctions, devices.breakdown, start.knees)
        return State(x, junctions, across(x, self.layout.load_pairs), modes), warm

    def _is_of(self, point: OperatingPoint) -> bool:
        """Whether a point has this circuit's unknowns."""
        return (point.layout.names, point.layout.branches) == (self.layout.names, self.layout.branches)

    def _point(self, found: Found, problem: Problem) -> OperatingPoint:
        x = found.state.x
        drawn, _ = load_current(across(x, self.layout.load_pairs), problem.load_amps, problem.load_minimum)
        knees = problem.devices.breakdown.volts
        return OperatingPoint(found.solved, self.layout, self.ends, x, drawn, found.state.modes, found.restless, knees)


def _move_zeners(junctions: Floats, breakdown: Breakdown, before: Floats) -> None:
    """Let a junction that was in breakdown begin as far past its new knee as it was past the old one.

    Else a knee that lies a tenth of a volt lower would throw the first step far out.
    """
    volts = junctions[:, breakdown.at]
    junctions[:, breakdown.at] = np.where(volts < -before, volts - (breakdown.volts - before), volts)


def _refuse_large(netlist: Netlist) -> None:
    if len(netlist.nodes) > _MOST_NODES:
        what = f"{netlist.name} has {len(netlist.nodes)} nodes, the solver takes {_MOST_NODES} at most"
        raise TopologyError(f"{what}; give it one board at a time")


def _floating_warning(netlist: Netlist, floating: tuple[str, ...]) -> list[str]:
    if not floating:
        return []
    parts = ", ".join(element.name for element in netlist.elements if set(element.nodes) & set(floating))
    nodes = ", ".join(floating)
    return [f"{netlist.name}: no DC path to ground from {nodes} (on {parts}); held there by {netlist.gmin:g} S"]
