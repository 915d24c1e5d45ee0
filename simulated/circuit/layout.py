"""Number a circuit's unknowns and note, once, where every device's currents and slopes go.

Unknowns are node voltages (the netlist's nodes, then the inner ends of series resistances), then the
currents of voltage-defined branches: V, E, H and L in netlist order, then the supplies. Rows of the
matrix are in the same order: Kirchhoff's sum at each node, then each branch's own equation.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .ends import Ends
from .errors import CircuitError, nearest
from .inventory import Inventory
from .netlist import GROUND, Element, Netlist, node_name
from .numbering import Entry, Numbering
from .scatter import Scatter

__all__ = ["Layout", "exponential_places", "lay_out", "leaky_places"]

Places = NDArray[np.intp]

# A coil conducts DC as one microohm, so that coils in parallel share their current evenly.
_COIL_OHMS = 1e-6


@dataclass(frozen=True)
class Layout:
    """Where everything is: unknowns, junctions, and the patterns that add device values up.

    Linear values come in the order: resistors, diode RS, fixed base RB, collector RC, emitter RE, meters;
    then gains of E G F H. Nonlinear slopes: diodes; transistors' Ic over Vbe, Ic
    over Vbc, Ib over Vbe, Ib over Vbc; base conductances; loads; supplies' volts, supplies' amps; shunts of all
    nodes.
    Nonlinear currents: diodes; Ic; Ib; base conductances; loads; supply residuals.
    """

    names: tuple[str, ...]  # of nodes
    branches: tuple[str, ...]
    fixed: NDArray[np.float64]  # (M, M): what no value changes
    linear: Scatter  # linear values -> matrix
    sources: Scatter  # V then I values -> right-hand side
    slopes: Scatter  # nonlinear slopes -> matrix
    currents: Scatter  # nonlinear currents -> residual
    junction_plus: Places
    junction_minus: Places
    junction_sign: NDArray[np.float64]
    exponentials: Places  # junction of each exponential: diodes, BE, BC, then BE, BC again for leakage
    leaky: Places  # exponentials that carry gmin: diodes and transistors' leakage
    diodes: int
    transistors: int
    base_pairs: tuple[Places, Places]
    load_pairs: tuple[Places, Places]
    supply_pairs: tuple[Places, Places]
    first_supply: int

    @property
    def slope_count(self) -> int:
        """Number of nonlinear slopes, shunts of all nodes at the end included."""
        ends = self.base_pairs[0].size + self.load_pairs[0].size + 2 * self.supply_pairs[0].size
        return self.diodes + 4 * self.transistors + ends + len(self.names)

    @property
    def current_count(self) -> int:
        """Number of nonlinear currents."""
        ends = self.base_pairs[0].size + self.load_pairs[0].size + self.supply_pairs[0].size
        return self.diodes + 2 * self.transistors + ends

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return len(self.names) + len(self.branches)

    def node(self, name: str) -> int:
        """Return a node's column, `size` for ground; CircuitError names near ones."""
        key = node_name(name)
        if key == GROUND:
            return self.size
        if key not in self.names:
            raise CircuitError(f"there is no node '{name}'; write one of {nearest(key, self.names)}")
        return self.names.index(key)


def lay_out(netlist: Netlist, inventory: Inventory, ends: Ends, islands: Sequence[str]) -> Layout:
    """Return where everything of a circuit goes; nodes in `islands` get gmin to ground."""
    numbering = Numbering(netlist, inventory, ends)
    plus, minus, sign = _junctions(numbering)
    return Layout(
        names=tuple(numbering.nodes),
        branches=numbering.branches,
        fixed=_fixed(numbering, netlist.gmin, islands),
        linear=Scatter(_linear(numbering)),
        sources=Scatter(_sources(numbering)),
        slopes=Scatter(_slopes(numbering)),
        currents=Scatter(_currents(numbering)),
        junction_plus=plus,
        junction_minus=minus,
        junction_sign=sign,
        exponentials=exponential_places(len(inventory.diodes), len(inventory.bipolars)),
        leaky=leaky_places(len(inventory.diodes), len(inventory.bipolars)),
        diodes=len(inventory.diodes),
        transistors=len(inventory.bipolars),
        base_pairs=_pairs([_base(numbering, column) for column in inventory.base_varying], numbering.size),
        load_pairs=_pairs([numbering.end(e) for e in ends.loads], numbering.size),
        supply_pairs=_pairs([numbering.end(e) for e in ends.supplies], numbering.size),
        first_supply=numbering.first_supply,
    )


def _pairs(pairs: Sequence[tuple[int, int]], size: int) -> tuple[Places, Places]:
    """Return plus and minus columns; ground is the column behind the last unknown, which is always zero."""
    array = np.array(pairs, dtype=np.intp).reshape(-1, 2)
    array = np.where(array < 0, size, array)
    return array[:, 0], array[:, 1]


def exponential_places(diodes: int, transistors: int) -> Places:
    """Return the controlling junction of each exponential."""
    controlling = np.arange(diodes + 2 * transistors, dtype=np.intp)
    return np.concatenate([controlling, controlling[diodes:]])


def leaky_places(diodes: int, transistors: int) -> Places:
    """Return the exponentials that carry gmin."""
    first = diodes + 2 * transistors
    return np.concatenate([np.arange(diodes, dtype=np.intp), np.arange(first, first + 2 * transistors, dtype=np.intp)])


def _terminals(numbering: Numbering, column: int) -> tuple[int, int, int]:
    """Return the inner collector, base and emitter of a transistor."""
    element = numbering.inventory.bipolars[column]
    return numbering.pin(element, 0, "c"), numbering.pin(element, 1, "b"), numbering.pin(element, 2, "e")


def _base(numbering: Numbering, column: int) -> tuple[int, int]:
    element = numbering.inventory.bipolars[column]
    return numbering.at(element.nodes[1]), numbering.pin(element, 1, "b")


def _diode(numbering: Numbering, column: int) -> tuple[int, int]:
    element = numbering.inventory.diodes[column]
    return numbering.pin(element, 0, "a"), numbering.at(element.nodes[1])


def _junctions(numbering: Numbering) -> tuple[Places, Places, NDArray[np.float64]]:
    inventory = numbering.inventory
    transistors = [_terminals(numbering, column) for column in range(len(inventory.bipolars))]
    pairs = [_diode(numbering, column) for column in range(len(inventory.diodes))]
    pairs += [(base, emitter) for _, base, emitter in transistors]
    pairs += [(base, collector) for collector, base, _ in transistors]
    plus, minus = _pairs(pairs, numbering.size)
    return plus, minus, np.array([1.0] * len(inventory.diodes) + [*inventory.signs, *inventory.signs])


def _fixed(numbering: Numbering, gmin: float, islands: Sequence[str]) -> NDArray[np.float64]:
    """Return the matrix of what no value changes: branch incidence, gmin of substrates and islands, leakage."""
    size = numbering.size
    entries: list[Entry] = []
    for element in numbering.branch_elements:
        branch = numbering.branch_at[element.name]
        plus, minus = numbering.at(element.nodes[0]), numbering.at(element.nodes[1])
        entries += _branch(numbering, branch, (plus, minus), 1.0)
        entries += [(0, numbering.cell(branch, plus), 1.0), (0, numbering.cell(branch, minus), -1.0)]
        if element.kind == "L":
            entries.append((0, numbering.cell(branch, branch), -_COIL_OHMS))
    for at, supply in enumerate(numbering.ends.supplies):
        pair = numbering.end(supply)
        entries += _branch(numbering, numbering.first_supply + at, pair, -1.0)
    leaks = [numbering.end(e) for e in numbering.ends.loads]
    leaks += [(numbering.at(node), -1) for node in islands]
    leaks += [_substrate(numbering, column) for column in range(len(numbering.inventory.bipolars))]
    for pair in leaks:
        entries += [(0, target, factor * gmin) for _, target, factor in numbering.conductance(0, *pair)]
    flat = np.zeros((1, size * size))
    Scatter(entries).add(flat, np.ones((1, 1)))
    return flat.reshape(size, size)


def _branch(numbering: Numbering, branch: int, pair: tuple[int, int], sign: float) -> list[Entry]:
    return [(0, numbering.cell(pair[0], branch), sign), (0, numbering.cell(pair[1], branch), -sign)]


def _substrate(numbering: Numbering, column: int) -> tuple[int, int]:
    """Where SPICE ties a transistor's substrate junction: an NPN's collector, a PNP's base."""
    element = numbering.inventory.bipolars[column]
    collector, base, _ = _terminals(numbering, column)
    substrate = numbering.at(element.nodes[3]) if len(element.nodes) > 3 else -1
    return substrate, collector if numbering.inventory.signs[column] > 0 else base


def _linear(numbering: Numbering) -> list[Entry]:
    inventory = numbering.inventory
    pairs = [(numbering.at(e.nodes[0]), numbering.at(e.nodes[1])) for e in inventory.resistors]
    pairs += [(numbering.at(inventory.diodes[c].nodes[0]), _diode(numbering, c)[0]) for c in inventory.diode_series]
    pairs += [_base(numbering, column) for column in inventory.base_fixed]
    for columns, pin in ((inventory.collector_series, 0), (inventory.emitter_series, 2)):
        pairs += [(numbering.at(inventory.bipolars[c].nodes[pin]), _terminals(numbering, c)[pin]) for c in columns]
    pairs += [numbering.end(e) for e in numbering.ends.meters]
    entries: list[Entry] = []
    for source, (plus, minus) in enumerate(pairs):
        entries += numbering.conductance(source, plus, minus)
    for source, element in enumerate(inventory.controlled, start=len(pairs)):
        entries += _gain(numbering, source, element)
    return entries


def _gain(numbering: Numbering, source: int, element: Element) -> list[Entry]:
    out = numbering.at(element.nodes[0]), numbering.at(element.nodes[1])
    if element.kind == "G":
        return numbering.transfer(source, out, (numbering.at(element.nodes[2]), numbering.at(element.nodes[3])))
    if element.kind == "E":
        row = numbering.branch_at[element.name]
        plus, minus = numbering.at(element.nodes[2]), numbering.at(element.nodes[3])
        return [(source, numbering.cell(row, plus), -1.0), (source, numbering.cell(row, minus), 1.0)]
    assert element.control is not None
    control = numbering.branch_at[element.control]
    if element.kind == "F":
        return [(source, numbering.cell(out[0], control), 1.0), (source, numbering.cell(out[1], control), -1.0)]
    return [(source, numbering.cell(numbering.branch_at[element.name], control), -1.0)]


def _sources(numbering: Numbering) -> list[Entry]:
    inventory = numbering.inventory
    entries: list[Entry] = [(at, numbering.branch_at[e.name], 1.0) for at, e in enumerate(inventory.volts)]
    for source, element in enumerate(inventory.amps, start=len(inventory.volts)):
        entries += [(source, numbering.at(element.nodes[0]), -1.0), (source, numbering.at(element.nodes[1]), 1.0)]
    return entries


def _slopes(numbering: Numbering) -> list[Entry]:
    inventory, entries, source = numbering.inventory, list[Entry](), 0
    for column in range(len(inventory.diodes)):
        entries += numbering.conductance(column, *_diode(numbering, column))
    source = len(inventory.diodes)
    transistors = [_terminals(numbering, column) for column in range(len(inventory.bipolars))]
    for out, control in ((0, 2), (0, 0), (1, 2), (1, 0)):  # Ic or Ib, over Vbe (2) or Vbc (0)
        for terminals in transistors:
            pair = terminals[out], terminals[2]
            entries += numbering.transfer(source, pair, (terminals[1], terminals[control]))
            source += 1
    pairs = [_base(numbering, column) for column in inventory.base_varying]
    pairs += [numbering.end(end) for end in numbering.ends.loads]
    for pair in pairs:
        entries += numbering.conductance(source, *pair)
        source += 1
    supplies = numbering.ends.supplies
    for at, supply in enumerate(supplies):
        row = numbering.first_supply + at
        plus, minus = numbering.end(supply)
        entries += [(source + at, numbering.cell(row, plus), 1.0), (source + at, numbering.cell(row, minus), -1.0)]
        entries.append((source + len(supplies) + at, numbering.cell(row, row), 1.0))
    source += 2 * len(supplies)
    return entries + [(source + node, numbering.cell(node, node), 1.0) for node in range(len(numbering.nodes))]


def _currents(numbering: Numbering) -> list[Entry]:
    inventory, entries = numbering.inventory, list[Entry]()
    pairs = [(_diode(numbering, column), 1.0) for column in range(len(inventory.diodes))]
    for out in (0, 1):  # into the collector, into the base; both leave by the emitter
        for column, sign in enumerate(inventory.signs):
            terminals = _terminals(numbering, column)
            pairs.append(((terminals[out], terminals[2]), sign))
    pairs += [(_base(numbering, column), 1.0) for column in inventory.base_varying]
    pairs += [(numbering.end(end), 1.0) for end in numbering.ends.loads]
    for source, ((plus, minus), sign) in enumerate(pairs):
        entries += [(source, plus, sign), (source, minus, -sign)]
    first = numbering.first_supply
    return entries + [(len(pairs) + at, first + at, 1.0) for at in range(len(numbering.ends.supplies))]
