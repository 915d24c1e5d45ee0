"""Solve a netlist's DC operating point, for any number of boards at once."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .continuation import Found, find
from .devices import Devices, Workshop
from .ends import Ends, LoadEnd, MeterEnd, SupplyEnd, SupplyMode, SupplySetting, load_current
from .errors import CircuitError, TopologyError, nearest
from .inventory import take_inventory, unread_parameters
from .junctions import Breakdown
from .layout import Layout, lay_out
from .linearise import Problem, State, across, junction_volts
from .netlist import Netlist
from .parts import Parts, nominal_parts
from .topology import floating_nodes, refuse_source_loops

__all__ = ["Circuit", "OperatingPoint"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Value = float | Floats


@dataclass(frozen=True)
class OperatingPoint:
    """What a solve arrived at, all arrays of shape (boards,); NaN on boards that are not solved.

    `solved` says which boards have a solution.
    """

    solved: Bools
    layout: Layout
    ends: Ends
    unknowns: Floats  # (B, M + 1)
    loads: Floats  # (B, loads), amps drawn
    modes: NDArray[np.int8]  # (B, supplies)
    restless: NDArray[np.intp]  # (B,), node column that moved most in the last step
    knees: Floats  # (L, zeners), breakdown volts of the boards solved

    def volts(self, node: str) -> Floats:
        """Return a node's volts to ground, (B,); CircuitError for an unknown node."""
        return np.where(self.solved, self.unknowns[:, self.layout.node(node)], np.nan)

    def branch_amps(self, name: str) -> Floats:
        """Return the amps a source V E H, coil or supply delivers out of its plus, (B,)."""
        branches = self.layout.branches
        key = name if name in branches else name.upper()
        if key not in branches:
            raise CircuitError(f"there is no branch '{name}'; write one of {nearest(name, branches)}")
        column = len(self.layout.names) + branches.index(key)
        # SPICE counts a source's current into its plus; a supply's is counted as delivered from the start.
        sign = 1.0 if column >= self.layout.first_supply else -1.0
        return np.where(self.solved, sign * self.unknowns[:, column], np.nan)

    def supply_amps(self, name: str) -> Floats:
        """Return the amps a supply delivers out of its plus, (B,)."""
        column = self.layout.first_supply + _place(name, self.ends.supplies, "supply")
        return np.where(self.solved, self.unknowns[:, column], np.nan)

    def supply_limited(self, name: str) -> Bools:
        """Return whether a supply holds its current limit rather than its voltage, (B,)."""
        return self.solved & (self.modes[:, _place(name, self.ends.supplies, "supply")] == SupplyMode.CURRENT)

    def load_amps(self, name: str) -> Floats:
        """Return the amps a load draws into its plus, (B,)."""
        return np.where(self.solved, self.loads[:, _place(name, self.ends.loads, "load")], np.nan)

    def worst_node(self, board: int) -> str:
        """Return the node that still moved most when a board's solve was given up."""
        return self.layout.names[self.restless[board]]


def _place(name: str, ends: tuple[SupplyEnd, ...] | tuple[LoadEnd, ...], what: str) -> int:
    names = [end.name for end in ends]
    if name not in names:
        raise CircuitError(f"there is no {what} '{name}'; write one of {nearest(name, names)}")
    return names.index(name)


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
        self.layout = lay_out(netlist, inventory, self.ends, floating)
        self.warnings = (*netlist.warnings, *unread_parameters(netlist), *_floating_warning(netlist, floating))
        self._workshop = Workshop(netlist, inventory, tuple(end.ohms for end in self.ends.meters))
        self._nominal = nominal_parts(netlist)
        self._kept: tuple[object, Devices, Floats] | None = None

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
        heat = self.netlist.celsius if celsius is None else celsius
        settings = [self._supply_rows(supplies or {}), self._load_row(loads or {})]
        rows = [*settings[0], settings[1], *(np.reshape(np.asarray(v), (-1, 1)) for v in (parameters or {}).values())]
        boards = _boards([parts.boards, np.size(heat), *(row.shape[0] for row in rows)])
        devices, matrix = self._devices(parts, parameters or {}, heat)
        volts, limits, on, amps = (*settings[0], settings[1])
        minimum = np.array([[end.minimum_volts for end in self.ends.loads]])
        problem = Problem(devices, matrix, volts, limits, amps, minimum, self.netlist.gmin)
        state, warm = self._start(boards, on, start, devices)
        return self._point(find(self.layout, problem, state, warm), problem)

    def _supply_rows(self, given: Mapping[str, SupplySetting]) -> tuple[Floats, Floats, Bools]:
        for name in given:
            _place(name, self.ends.supplies, "supply")
        off = SupplySetting(volts=0.0, limit_amps=0.0, on=False)
        settings = [given.get(end.name, off) for end in self.ends.supplies]
        volts = _row([setting.volts for setting in settings])
        limits = _row([setting.limit_amps for setting in settings])
        on = _row([setting.on for setting in settings]).astype(bool)
        if np.isnan(volts).any() or np.isnan(limits).any() or (limits < 0).any():
            raise CircuitError("a supply's volts or current limit is NaN or negative; give finite volts and a limit >= 0")
        return volts, limits, on

    def _load_row(self, given: Mapping[str, Value]) -> Floats:
        for name in given:
            _place(name, self.ends.loads, "load")
        amps = _row([given.get(end.name, 0.0) for end in self.ends.loads])
        if not np.all(amps >= 0.0):
            raise CircuitError("a load's current is NaN or negative; give amps of zero or more")
        return amps

    def _devices(self, parts: Parts, parameters: Mapping[str, Value], heat: Value) -> tuple[Devices, Floats]:
        key = (id(parts), {name: np.asarray(v).tobytes() for name, v in parameters.items()}, np.asarray(heat).tobytes())
        if self._kept is None or self._kept[0] != key:
            devices = self._workshop.devices(parts, parameters, np.reshape(np.asarray(heat, dtype=float), (-1, 1)))
            size = self.layout.size
            matrix = np.repeat(self.layout.fixed[None], devices.linear.shape[0], axis=0)
            self.layout.linear.add(matrix.reshape(-1, size * size), devices.linear)
            self._parts = parts  # held, so that its id stays its own
            self._kept = (key, devices, matrix)
        return self._kept[1], self._kept[2]

    def _start(
        self, boards: int, on: Bools, start: OperatingPoint | None, devices: Devices
    ) -> tuple[State, Bools]:
        size = self.layout.size
        modes = np.repeat(np.where(on, SupplyMode.VOLTAGE, SupplyMode.OFF).astype(np.int8), boards // on.shape[0], axis=0)
        x, warm = np.zeros((boards, size + 1)), np.zeros(boards, dtype=bool)
        if start is not None and start.layout.names == self.layout.names and start.layout.branches == self.layout.branches:
            x[:] = start.unknowns
            warm[:] = start.solved & np.isfinite(x).all(axis=1)
            x[~warm] = 0.0
            before = np.broadcast_to(start.modes, modes.shape)
            modes = np.where((modes == SupplyMode.VOLTAGE) & (before != SupplyMode.OFF) & warm[:, None], before, modes)
        junctions = junction_volts(self.layout, x)
        if warm.any() and start is not None:
            _move_zeners(junctions, devices.breakdown, start.knees)
        return State(x, junctions, across(x, self.layout.load_pairs), modes), warm

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


def _row(values: list[Value]) -> Floats:
    """Return settings as one row per board, (1, n) where none is an array."""
    columns = np.broadcast_arrays(np.zeros(1), *(np.atleast_1d(np.asarray(value, dtype=float)) for value in values))[1:]
    return np.stack(columns, axis=1) if columns else np.zeros((1, 0))


def _boards(lengths: list[int]) -> int:
    several = {length for length in lengths if length != 1}
    if len(several) > 1:
        raise CircuitError(f"settings hold {sorted(several)} boards; give one value or as many as there are boards")
    return several.pop() if several else 1


def _floating_warning(netlist: Netlist, floating: tuple[str, ...]) -> list[str]:
    if not floating:
        return []
    parts = ", ".join(element.name for element in netlist.elements if set(element.nodes) & set(floating))
    return [
        f"{netlist.name}: no DC path to ground from {', '.join(floating)} (on {parts}); held there by {netlist.gmin:g} S"
    ]
