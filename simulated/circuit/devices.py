"""Read what a circuit's devices are given as, for these boards and parameters, and bring them to a temperature."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from .conditioned import BaseResistance, Devices, Row, Sites, devices_of, take_lanes
from .errors import CircuitError, NetlistError
from .expressions import Expression
from .inventory import RESISTOR_DEFAULTS, Inventory
from .netlist import Element, Netlist, parameter_values
from .parts import Parts
from .tables import ModelTable, ValueRow

__all__ = ["BaseResistance", "Devices", "Workshop", "take_lanes"]

Floats = NDArray[np.float64]
Value = float | Floats


class Workshop:
    """Makes `Devices` for a netlist; holds the tables of its values, `rows` by kind of device and parameter."""

    def __init__(self, netlist: Netlist, inventory: Inventory, meter_ohms: tuple[float, ...]) -> None:
        self._netlist, self._inventory = netlist, inventory
        defaults = parameter_values(netlist, {})

        def row(elements: tuple[Element, ...]) -> ValueRow:
            return ValueRow(elements, "value", [_value(netlist, e) for e in elements], defaults)

        resistors = ModelTable(netlist, inventory.resistors, RESISTOR_DEFAULTS)
        self.rows: Mapping[str, Mapping[str, ValueRow]] = {
            "resistors": {"value": row(inventory.resistors), **resistors.rows},
            "diodes": inventory.diode_table.rows,
            "bipolars": inventory.bipolar_table.rows,
            "gains": {"value": row(inventory.controlled)},
            "volts": {"value": row(inventory.volts)},
            "amps": {"value": row(inventory.amps)},
        }
        self.sites = Sites(
            diode_series=_places(inventory.diode_series),
            base_fixed=_places(inventory.base_fixed),
            base_varying=_places(inventory.base_varying),
            collector_series=_places(inventory.collector_series),
            emitter_series=_places(inventory.emitter_series),
            zeners=np.flatnonzero(inventory.diode_table.given["bv"]),
            kneed=np.flatnonzero(inventory.diode_table.given["ikf"]),
            recombining=np.flatnonzero(inventory.diode_table.given["isr"]),
            meters=1.0 / np.array([meter_ohms]).reshape(1, -1),
            nominal_celsius=netlist.nominal_celsius,
        )

    def devices(self, parts: Parts, parameters: Mapping[str, Value], celsius: Floats) -> Devices:
        """Return the devices of these boards; `celsius` is (1, 1) or (boards, 1).

        Raises CircuitError, with its place where there is one, for values that make no sense.
        """
        values = parameter_values(self._netlist, parameters) if parameters else None
        given = {kind: {name: row.at(parts, values) for name, row in rows.items()} for kind, rows in self.rows.items()}
        _refuse_senseless(self._inventory.diodes, given["diodes"], ("n", "area"))
        _refuse_senseless(self._inventory.bipolars, given["bipolars"], _POSITIVE)
        try:
            return devices_of(given, self.sites, celsius)
        except CircuitError as error:
            raise CircuitError(f"{self._netlist.name}: {error}") from None


_POSITIVE = ("bf", "br", "nf", "nr", "ne", "nc", "area")


def _places(columns: Sequence[int]) -> NDArray[np.intp]:
    return np.array(columns, dtype=np.intp)


def _refuse_senseless(elements: tuple[Element, ...], parameters: Row, positive: Sequence[str]) -> None:
    """Raise NetlistError for a parameter that has to be positive and is not."""
    for name in positive:
        for column in np.flatnonzero(~(parameters[name] > 0.0).all(axis=0)):
            element, value = elements[column], parameters[name][:, column].min()
            raise NetlistError(element.place, f"{element.name}: {name.upper()} is {value:g}; write a positive number")


def _value(netlist: Netlist, element: Element) -> Expression:
    """Return an element's value expression; a resistor may take it from its model's R."""
    if element.value is not None:
        return element.value
    model = netlist.models[element.model or ""]
    if "r" not in model.parameters:
        raise NetlistError(element.place, f"{element.name} has no value; write 'Rname node node value [model]'")
    return model.parameters["r"]
