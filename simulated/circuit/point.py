"""What a solve arrived at: node voltages and currents of every board, by name."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .ends import Ends, LoadEnd, SupplyEnd, SupplyMode
from .errors import CircuitError, nearest
from .layout import Layout

__all__ = ["OperatingPoint", "end_column", "joined"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


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
        column = self.layout.first_supply + end_column(name, self.ends.supplies, "supply")
        return np.where(self.solved, self.unknowns[:, column], np.nan)

    def supply_limited(self, name: str) -> Bools:
        """Return whether a supply holds its current limit rather than its voltage, (B,)."""
        limited = self.modes[:, end_column(name, self.ends.supplies, "supply")] == SupplyMode.CURRENT
        return np.asarray(self.solved & limited)

    def supplies_blocked(self) -> bool:
        """Return whether any supply of any board is held higher than it is set, and delivers nothing."""
        return bool((self.modes == SupplyMode.BLOCKED).any())

    def node_volts(self) -> Floats:
        """Return all nodes' volts to ground, (B, nodes)."""
        return np.where(self.solved[:, None], self.unknowns[:, : len(self.layout.names)], np.nan)

    def load_amps(self, name: str) -> Floats:
        """Return the amps a load draws into its plus, (B,)."""
        return np.where(self.solved, self.loads[:, end_column(name, self.ends.loads, "load")], np.nan)

    def on(self, layout: Layout, ends: Ends) -> "OperatingPoint":
        """Return this point on a circuit of the same netlist between other ends, which are off and carry nothing."""
        if layout.names != self.layout.names or layout.first_supply != self.layout.first_supply:
            raise CircuitError("the operating point is of another netlist; give one of the same netlist")
        boards, shared = self.solved.size, layout.first_supply
        unknowns = np.zeros((boards, layout.size + 1))
        unknowns[:, :shared] = self.unknowns[:, :shared]
        modes = np.full((boards, len(ends.supplies)), SupplyMode.OFF, dtype=np.int8)
        loads = np.zeros((boards, len(ends.loads)))
        return OperatingPoint(self.solved, layout, ends, unknowns, loads, modes, self.restless, self.knees)

    def share(self, lanes: NDArray[np.intp] | slice) -> "OperatingPoint":
        """Return the point of some of its boards; a point of one board stands for any."""
        if self.solved.size == 1:
            return self
        knees = self.knees if self.knees.shape[0] == 1 else self.knees[lanes]
        rows = self.unknowns[lanes], self.loads[lanes], self.modes[lanes], self.restless[lanes]
        return OperatingPoint(self.solved[lanes], self.layout, self.ends, *rows, knees)

    def worst_node(self, board: int) -> str:
        """Return the node that still moved most when a board's solve was given up."""
        return self.layout.names[int(self.restless[board])]


def joined(points: Sequence[OperatingPoint]) -> OperatingPoint:
    """Return the points of several batches as one."""
    first = points[0]
    knees = [np.broadcast_to(point.knees, (point.solved.size, point.knees.shape[1])) for point in points]
    return OperatingPoint(
        solved=np.concatenate([point.solved for point in points]),
        layout=first.layout,
        ends=first.ends,
        unknowns=np.concatenate([point.unknowns for point in points]),
        loads=np.concatenate([point.loads for point in points]),
        modes=np.concatenate([point.modes for point in points]),
        restless=np.concatenate([point.restless for point in points]),
        knees=np.concatenate(knees),
    )


def end_column(name: str, ends: tuple[SupplyEnd, ...] | tuple[LoadEnd, ...], what: str) -> int:
    """Return the place of a supply or load by its name; CircuitError names near ones."""
    names = [end.name for end in ends]
    if name not in names:
        raise CircuitError(f"there is no {what} '{name}'; write one of {nearest(name, names)}")
    return names.index(name)
