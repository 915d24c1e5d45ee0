"""Know where a circuit stores charge and flux, and how much: C, L, junctions and transit charge.

A charge belongs to the row of the equations it flows into: a capacitor's and a junction's to their
nodes, a coil's flux (negative) to the coil's own branch. Transient and small signal both use it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .charges import (
    BIPOLAR_CHARGE_DEFAULTS,
    DIODE_CHARGE_DEFAULTS,
    Depletion,
    Transit,
    base_transit,
    capacitance_at_heat,
    depletion,
    depletion_of,
    transit_of,
)
from .devices import Devices
from .errors import CircuitError, NetlistError
from .expressions import Expression
from .junctions import junction
from .layout import Layout
from .linearise import Linearised
from .netlist import GROUND, Element, Netlist, parameter_values
from .parts import Parts
from .scatter import Scatter
from .tables import ModelTable, ValueRow
from .temperature import kelvin

__all__ = ["Reactive", "Stored", "Stores", "stored"]

Floats = NDArray[np.float64]
Value = float | Floats
Places = NDArray[np.intp]

_PASSIVE_DEFAULTS: Mapping[str, float | str] = {
    "tc1": 0.0,
    "tc2": 0.0,
    "scale": 1.0,
    "multiplier": 1.0,
    "tnom": float("nan"),
}


@dataclass(frozen=True)
class Stores:
    """Charges of these boards at this temperature; `matrix` (L, M, M) is that of C and L.

    Junctions come in the order: diodes, BE, BC, outer base to collector, substrate.
    """

    matrix: Floats
    depletion: Depletion
    diode_seconds: Floats
    transit: Transit


@dataclass(frozen=True)
class Stored:
    """What nonlinear devices store: coulombs by row (L, M), and farads in the pattern's order."""

    coulombs: Floats
    farads: Floats


class Reactive:
    """Where a circuit stores charge; `at` says how much a volt or an amp stores."""

    def __init__(self, netlist: Netlist, layout: Layout) -> None:
        self._netlist, self.layout = netlist, layout
        self._capacitors = tuple(e for e in netlist.elements if e.kind == "C")
        self._coils = tuple(e for e in netlist.elements if e.kind == "L")
        self._diodes = tuple(e for e in netlist.elements if e.kind == "D")
        self._bipolars = tuple(e for e in netlist.elements if e.kind == "Q")
        defaults = parameter_values(netlist, {})
        self._farads = ValueRow(
            self._capacitors, "value", [_value(netlist, e, "cap", "c") for e in self._capacitors], defaults
        )
        self._henries = ValueRow(self._coils, "value", [_value(netlist, e, "ind", "l") for e in self._coils], defaults)
        self._passives = [ModelTable(netlist, parts, _PASSIVE_DEFAULTS) for parts in (self._capacitors, self._coils)]
        self._diode_table = ModelTable(netlist, self._diodes, DIODE_CHARGE_DEFAULTS)
        self._bipolar_table = ModelTable(netlist, self._bipolars, BIPOLAR_CHARGE_DEFAULTS)
        self._linear = self._linear_pattern()
        self.plus, self.minus, self.sign = self._junctions()
        self.rows, self.cells = self._patterns()

    def at(self, parts: Parts, parameters: Mapping[str, Value], celsius: Floats) -> Stores:
        """Return the stores of these boards; `celsius` is (1, 1) or (boards, 1)."""
        values = parameter_values(self._netlist, parameters) if parameters else None
        heat = kelvin(celsius)
        farads = self._farads.at(parts, values) * self._passive_factor(0, parts, values, heat, copies=1.0)
        henries = self._henries.at(parts, values) * self._passive_factor(1, parts, values, heat, copies=-1.0)
        linear = _joined(farads, -henries)
        if not np.isfinite(linear).all() or (farads < 0.0).any() or (henries < 0.0).any():
            raise CircuitError(f"{self._netlist.name}: a capacitor or coil has no finite value of zero or more")
        size = self.layout.size
        matrix = np.zeros((linear.shape[0], size * size))
        self._linear.add(matrix, linear)
        diodes = self._diode_table.at(parts, values)
        bipolars = self._bipolar_table.at(parts, values)
        bipolars |= {"area": bipolars["area"] * bipolars["multiplier"]}
        layers = self._depletion(diodes, bipolars, heat)
        return Stores(matrix.reshape(-1, size, size), layers, diodes["tt"], transit_of(bipolars))

    def _passive_factor(
        self, kind: int, parts: Parts, values: Mapping[str, Value] | None, heat: Floats, *, copies: float
    ) -> Floats:
        row = self._passives[kind].at(parts, values)
        rise = heat - self._nominal(row["tnom"])
        warmth = 1.0 + row["tc1"] * rise + row["tc2"] * rise**2
        return np.asarray(warmth * row["scale"] * row["multiplier"] ** copies)

    def _nominal(self, given: Floats) -> Floats:
        return kelvin(np.where(np.isnan(given), self._netlist.nominal_celsius, given))

    def _depletion(self, diodes: Mapping[str, Floats], bipolars: Mapping[str, Floats], heat: Floats) -> Depletion:
        area, inner = bipolars["area"], bipolars["xcjc"]
        layers = [(diodes["cjo"] * diodes["area"] * diodes["multiplier"], diodes["vj"], diodes["m"], diodes["fc"])]
        layers.append((bipolars["cje"] * area, bipolars["vje"], bipolars["mje"], bipolars["fc"]))
        layers.append((bipolars["cjc"] * area * inner, bipolars["vjc"], bipolars["mjc"], bipolars["fc"]))
        layers.append((bipolars["cjc"] * area * (1.0 - inner), bipolars["vjc"], bipolars["mjc"], bipolars["fc"]))
        layers.append((bipolars["cjs"] * area, bipolars["vjs"], bipolars["mjs"], np.zeros_like(area)))
        farads, barrier, grading, bend = (_joined(*columns) for columns in zip(*layers, strict=True))
        nominal = _joined(self._nominal(diodes["tnom"]), *[self._nominal(bipolars["tnom"])] * 4)
        farads, barrier = capacitance_at_heat(farads, barrier, grading, heat, nominal)
        return depletion_of(farads, barrier, grading, bend)

    def _linear_pattern(self) -> Scatter:
        size, entries = self.layout.size, list[tuple[int, int, float]]()
        for source, element in enumerate(self._capacitors):
            pair = [self.layout.node(node) for node in element.nodes[:2]]
            entries += _between(size, source, pair, pair)
        for source, element in enumerate(self._coils, start=len(self._capacitors)):
            branch = len(self.layout.names) + self.layout.branches.index(element.name)
            entries.append((source, branch * size + branch, 1.0))
        return Scatter(entries)

    def _junctions(self) -> tuple[Places, Places, Floats]:
        layout = self.layout
        diodes, transistors = layout.diodes, layout.transistors
        collectors = layout.junction_minus[diodes + transistors :]
        bases = layout.junction_plus[diodes : diodes + transistors]
        signs = layout.junction_sign[diodes : diodes + transistors]
        outer = np.array([layout.node(e.nodes[1]) for e in self._bipolars], dtype=np.intp)
        substrates = [layout.node(e.nodes[3] if len(e.nodes) > 3 else GROUND) for e in self._bipolars]
        # The substrate lies under an NPN's collector and a PNP's base, as the DC layout has it.
        bodies = np.where(signs > 0.0, collectors, bases)
        plus = np.concatenate([layout.junction_plus, outer, np.array(substrates, dtype=np.intp)])
        minus = np.concatenate([layout.junction_minus, collectors, bodies])
        return plus, minus, np.concatenate([layout.junction_sign, signs, np.ones_like(signs)])

    def _patterns(self) -> tuple[Scatter, Scatter]:
        """Return where coulombs go by row, and farads (of all junctions, then of BE over Vbc) in the matrix."""
        layout, size = self.layout, self.layout.size
        pairs = list(zip(self.plus.tolist(), self.minus.tolist(), strict=True))
        rows = list[tuple[int, int, float]]()
        cells = list[tuple[int, int, float]]()
        for source, (pair, sign) in enumerate(zip(pairs, self.sign.tolist(), strict=True)):
            rows += [
                (source, node if node < size else -1, side * sign) for node, side in zip(pair, (1.0, -1.0), strict=True)
            ]
            cells += _between(size, source, pair, pair)
        for column in range(layout.transistors):
            be = layout.diodes + column
            cells += _between(size, len(pairs) + column, pairs[be], pairs[be + layout.transistors])
        return Scatter(rows), Scatter(cells)


def stored(reactive: Reactive, stores: Stores, devices: Devices, line: Linearised) -> Stored:
    """Return what devices store at the present unknowns of a linearised state."""
    layout, x = reactive.layout, line.state.x
    volts = (x.take(reactive.plus, axis=1) - x.take(reactive.minus, axis=1)) * reactive.sign
    coulombs, farads = depletion(volts, stores.depletion)
    diodes, transistors = layout.diodes, layout.transistors
    coulombs[:, :diodes] += stores.diode_seconds * line.currents[:, :diodes]
    farads[:, :diodes] += stores.diode_seconds * line.slopes[:, :diodes]
    middle, last = diodes + transistors, diodes + 2 * transistors
    at = line.state.junctions[:, diodes:last]
    amps, slope = junction(at, devices.saturation[:, diodes:last], devices.scale[:, diodes:last])
    split = transistors
    be, bc, farads_be, farads_bc, cross = base_transit(
        devices.bipolar,
        stores.transit,
        (at[:, :split], at[:, split:]),
        (amps[:, :split], slope[:, :split]),
        (amps[:, split:], slope[:, split:]),
    )
    off = volts[:, diodes:last] - at
    off_be, off_bc = off[:, :split], off[:, split:]
    coulombs[:, diodes:middle] += be + farads_be * off_be + cross * off_bc
    coulombs[:, middle:last] += bc + farads_bc * off_bc
    farads[:, diodes:middle] += farads_be
    farads[:, middle:last] += farads_bc
    rows = np.zeros((x.shape[0], layout.size))
    reactive.rows.add(rows, coulombs)
    return Stored(rows, np.concatenate([farads, cross], axis=1))


def _value(netlist: Netlist, element: Element, *names: str) -> Expression:
    """Return an element's value expression; it may come from its model."""
    if element.value is not None:
        return element.value
    model = netlist.models[element.model or ""].parameters
    found = next((model[name] for name in names if name in model), None)
    if found is None:
        raise NetlistError(element.place, f"{element.name} has no value; write '{element.kind}name node node value'")
    return found


def _between(size: int, source: int, out: Sequence[int], control: Sequence[int]) -> list[tuple[int, int, float]]:
    """Entries of a charge between one node pair, controlled by the voltage across another; `size` is ground."""
    return [
        (source, row * size + column if row < size and column < size else -1, side * half)
        for row, side in zip(out, (1.0, -1.0), strict=True)
        for column, half in zip(control, (1.0, -1.0), strict=True)
    ]


def _joined(*rows: Floats) -> Floats:
    lanes = max(row.shape[0] for row in rows)
    return np.concatenate([np.broadcast_to(row, (lanes, row.shape[1])) for row in rows], axis=1)
