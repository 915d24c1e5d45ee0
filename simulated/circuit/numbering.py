"""Number a circuit's nodes and branches, and word the stamps of simple elements as matrix entries."""

from collections.abc import Sequence

from .ends import Ends, LoadEnd, MeterEnd, SupplyEnd
from .errors import CircuitError, nearest
from .inventory import Inventory
from .netlist import GROUND, Element, Netlist, node_name

__all__ = ["Entry", "Numbering"]

Entry = tuple[int, int, float]  # source column, target position, factor


class Numbering:
    """Columns of all unknowns; ground is column -1."""

    def __init__(self, netlist: Netlist, inventory: Inventory, ends: Ends) -> None:
        self.inventory, self.ends = inventory, ends
        self.nodes: dict[str, int] = {name: at for at, name in enumerate(netlist.nodes)}
        self.inner: dict[tuple[str, str], str] = {}
        for suffix, devices, columns in self._series():
            for column in columns:
                name = f"{devices[column].name.lower()}#{suffix}"
                self.inner[devices[column].name, suffix] = name
                self.nodes[name] = len(self.nodes)
        voltage_like = [*inventory.volts, *(e for e in inventory.controlled if e.kind in "EH"), *inventory.coils]
        self.branch_elements = tuple(voltage_like)
        self.branches = tuple(e.name for e in voltage_like) + tuple(end.name for end in ends.supplies)
        self.size = len(self.nodes) + len(self.branches)
        self.branch_at = {e.name: len(self.nodes) + at for at, e in enumerate(voltage_like)}
        self.first_supply = len(self.nodes) + len(voltage_like)

    def _series(self) -> list[tuple[str, Sequence[Element], tuple[int, ...]]]:
        inventory = self.inventory
        return [
            ("a", inventory.diodes, inventory.diode_series),
            ("b", inventory.bipolars, inventory.base_series),
            ("c", inventory.bipolars, inventory.collector_series),
            ("e", inventory.bipolars, inventory.emitter_series),
        ]

    def at(self, node: str, owner: str = "") -> int:
        """Return a node's column, -1 for ground."""
        key = node_name(node)
        if key == GROUND:
            return -1
        if key not in self.nodes:
            raise CircuitError(
                f"{owner} hangs on node '{node}', which is not there; write one of {nearest(key, self.nodes)}"
            )
        return self.nodes[key]

    def end(self, end: SupplyEnd | LoadEnd | MeterEnd) -> tuple[int, int]:
        """Return the columns a bench end hangs on."""
        return self.at(end.plus, end.name), self.at(end.minus, end.name)

    def pin(self, element: Element, pin: int, suffix: str) -> int:
        """Return the column of a device's own terminal, behind its series resistance."""
        return self.at(self.inner.get((element.name, suffix), element.nodes[pin]))

    def cell(self, row: int, column: int) -> int:
        """Return the flat place in the matrix, -1 where ground is involved."""
        return -1 if row < 0 or column < 0 else row * self.size + column

    def conductance(self, source: int, plus: int, minus: int) -> list[Entry]:
        """Entries of a conductance between two nodes."""
        return self.transfer(source, (plus, minus), (plus, minus))

    def transfer(self, source: int, out: tuple[int, int], control: tuple[int, int], sign: float = 1.0) -> list[Entry]:
        """Entries of a current out of one node pair, controlled by the voltage of another."""
        pairs = [(row, side) for row, side in zip(out, (sign, -sign), strict=True)]
        return [
            (source, self.cell(row, column), side * half)
            for row, side in pairs
            for column, half in zip(control, (1.0, -1.0), strict=True)
        ]
