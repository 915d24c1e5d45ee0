"""Bring a circuit's devices to one condition: these boards' parts, this temperature, these parameters.

What results depends on no voltage, so it is made once per solve and kept while the condition lasts.
Arrays are (L, devices), L being one where all boards are alike, else the number of boards.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from .bipolar import BipolarModel
from .errors import CircuitError, NetlistError
from .expressions import Expression
from .inventory import BIPOLAR_DEFAULTS, DIODE_DEFAULTS, RESISTOR_DEFAULTS, Inventory
from .junctions import Breakdown, Knee, Recombination
from .netlist import Element, Netlist, parameter_values
from .parts import Parts
from .tables import ModelTable, ValueRow
from .temperature import bipolar_at, breakdown_knee, diode_at, kelvin, resistance_factor

__all__ = ["BaseResistance", "Devices", "Workshop", "take_lanes"]

Floats = NDArray[np.float64]
Value = float | Floats
Row = Mapping[str, Floats]  # parameters by name
Thing = TypeVar("Thing")

# SPICE's smallest resistor: a value of zero is taken as this (ngspice 39 does the same).
_LEAST_OHMS = 1e-3


@dataclass(frozen=True)
class BaseResistance:
    """Base resistances that fall with current: `at` their transistors' columns."""

    at: NDArray[np.intp]
    least: Floats
    extra: Floats
    half_amps: Floats


@dataclass(frozen=True)
class Devices:
    """Everything about the devices that stays while Newton iterates.

    `saturation` and `scale` are of all exponential junctions: diodes, then the transistors' ideal BE,
    ideal BC, leakage BE, leakage BC. `step_scale` and `critical` steer the limiter of the controlling
    junctions: diodes, BE, BC.
    """

    linear: Floats  # siemens and gains, in the order of the layout
    sources: Floats  # V then I values
    saturation: Floats
    scale: Floats
    step_scale: Floats
    critical: Floats
    bipolar: BipolarModel
    base: BaseResistance
    breakdown: Breakdown
    knee: Knee
    recombination: Recombination


def take_lanes(thing: Thing, lanes: NDArray[np.intp]) -> Thing:
    """Return a frozen record with every (L, ...) float array cut down to `lanes`; shared rows stay shared."""
    if isinstance(thing, np.ndarray):
        kept: Any = thing if thing.ndim < 2 or thing.shape[0] == 1 else thing[lanes]
        return kept  # type: ignore[no-any-return]  # an array in, an array out
    if is_dataclass(thing) and not isinstance(thing, type):
        return type(thing)(*(take_lanes(getattr(thing, field.name), lanes) for field in fields(thing)))
    return thing


class Workshop:
    """Makes `Devices` for a netlist; holds the tables of its values."""

    def __init__(self, netlist: Netlist, inventory: Inventory, meter_ohms: tuple[float, ...]) -> None:
        self._netlist, self._inventory = netlist, inventory
        self._meters = 1.0 / np.array([meter_ohms]).reshape(1, -1)
        defaults = parameter_values(netlist, {})

        def row(elements: tuple[Element, ...]) -> ValueRow:
            return ValueRow(elements, "value", [_value(netlist, e) for e in elements], defaults)

        self._ohms = row(inventory.resistors)
        self._gains = row(inventory.controlled)
        self._volts, self._amps = row(inventory.volts), row(inventory.amps)
        self._resistors = ModelTable(netlist, inventory.resistors, RESISTOR_DEFAULTS)
        self._diodes = ModelTable(netlist, inventory.diodes, DIODE_DEFAULTS)
        self._bipolars = ModelTable(netlist, inventory.bipolars, BIPOLAR_DEFAULTS)
        self.zeners = np.flatnonzero(self._diodes.given["bv"])

    def devices(self, parts: Parts, parameters: Mapping[str, Value], celsius: Floats) -> Devices:
        """Return the devices of these boards; `celsius` is (1, 1) or (boards, 1)."""
        values = parameter_values(self._netlist, parameters) if parameters else None
        temperature = kelvin(celsius)
        with np.errstate(all="ignore"):
            siemens = self._siemens(parts, values, temperature)
            diodes = self._diodes.at(parts, values)
            diodes = _copies(diodes, self._nominal(diodes))
            at_heat = diode_at(diodes, temperature, diodes["tnom"])
            bipolars = self._bipolars.at(parts, values)
            bipolars = _copies(bipolars, self._nominal(bipolars))
            hot = bipolar_at(bipolars, temperature, bipolars["tnom"])
            _refuse_senseless(self._inventory.diodes, diodes, ("n", "area"))
            _refuse_senseless(self._inventory.bipolars, bipolars, ("bf", "br", "nf", "nr", "ne", "nc", "area"))
            return Devices(
                linear=_joined(siemens, *self._series(at_heat, bipolars), self._meters, self._gains.at(parts, values)),
                sources=_joined(self._volts.at(parts, values), self._amps.at(parts, values)),
                **_exponentials(at_heat, bipolars, hot),
                bipolar=_gummel_poon(bipolars, hot),
                base=self._base(bipolars),
                breakdown=self._breakdown(diodes, at_heat, temperature),
                knee=_knee(diodes),
                recombination=_recombination(diodes, at_heat),
            )

    @staticmethod
    def _refuse_senseless(elements: tuple[Element, ...], parameters: Row, positive: tuple[str, ...]) -> None:
        for name in positive:
            for column in np.flatnonzero(~(parameters[name] > 0.0).all(axis=0)):
                element, value = elements[column], parameters[name][:, column].min()
                raise NetlistError(
                    element.place, f"{element.name}: {name.upper()} is {value:g}; write a positive number"
                )

    def _nominal(self, parameters: Row) -> Floats:
        """Return the kelvin at which parameters were given: the model's TNOM, else the netlist's."""
        given = parameters["tnom"]
        return kelvin(np.where(np.isnan(given), self._netlist.nominal_celsius, given))

    def _siemens(self, parts: Parts, values: Mapping[str, Value] | None, temperature: Floats) -> Floats:
        parameters = self._resistors.at(parts, values)
        factor = resistance_factor(parameters, temperature, self._nominal(parameters))
        ohms = self._ohms.at(parts, values) * factor / parameters["multiplier"]
        ohms = np.where(ohms == 0.0, _LEAST_OHMS, ohms)
        if not np.all(np.isfinite(ohms)):
            raise CircuitError(f"{self._netlist.name}: a resistor has no finite value; check expressions and TC1, TC2")
        return 1.0 / ohms

    def _series(self, diodes: Row, bipolars: Row) -> list[Floats]:
        inventory = self._inventory
        area = bipolars["area"]
        return [
            1.0 / diodes["ohms"][:, inventory.diode_series],
            (area / bipolars["rb"])[:, inventory.base_fixed],
            (area / bipolars["rc"])[:, inventory.collector_series],
            (area / bipolars["re"])[:, inventory.emitter_series],
        ]

    def _base(self, parameters: Row) -> BaseResistance:
        at = np.array(self._inventory.base_varying, dtype=np.intp)
        area = parameters["area"][:, at]
        least = parameters["rbm"][:, at] / area
        extra = parameters["rb"][:, at] / area - least
        return BaseResistance(at, least, extra, parameters["irb"][:, at] * area)

    def _breakdown(self, parameters: Row, heat: Row, temperature: Floats) -> Breakdown:
        at = self.zeners
        own = {name: parameters[name][:, at] for name in ("bv", "ibv", "nbv", "tcv", "multiplier", "tnom")}
        knee = breakdown_knee(own, heat["saturation"][:, at], temperature, own["tnom"])
        return Breakdown(at, knee, heat["scale"][:, at] * own["nbv"] / parameters["n"][:, at])


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


def _copies(parameters: dict[str, Floats], nominal: Floats) -> dict[str, Floats]:
    return parameters | {"area": parameters["area"] * parameters["multiplier"], "tnom": nominal}


def _joined(*rows: Floats) -> Floats:
    lanes = max(row.shape[0] for row in rows)
    return np.concatenate([np.broadcast_to(row, (lanes, row.shape[1])) for row in rows], axis=1)


def _exponentials(diode: Row, parameters: Row, hot: Row) -> dict[str, Floats]:
    thermal, saturation = hot["thermal"], hot["saturation"]
    step_scale = _joined(diode["scale"], thermal, thermal)
    onset = _joined(diode["saturation"], saturation, saturation)
    scales = [thermal * parameters[name] for name in ("nf", "nr", "ne", "nc")]
    return {
        "saturation": _joined(onset, hot["emitter leakage"], hot["collector leakage"]),
        "scale": _joined(diode["scale"], *scales),
        "step_scale": step_scale,
        "critical": step_scale * np.log(step_scale / (np.sqrt(2.0) * onset)),
    }


def _gummel_poon(parameters: Row, hot: Row) -> BipolarModel:
    def inverse(name: str) -> Floats:
        given = parameters[name]
        return np.where(given > 0.0, 1.0 / np.where(given > 0.0, given, 1.0), 0.0)

    area = parameters["area"]
    return BipolarModel(
        forward_gain=hot["forward gain"],
        reverse_gain=hot["reverse gain"],
        inverse_early_forward=inverse("vaf"),
        inverse_early_reverse=inverse("var"),
        inverse_knee_forward=inverse("ikf") / area,
        inverse_knee_reverse=inverse("ikr") / area,
        knee_power=parameters["nkf"],
    )


def _knee(parameters: Row) -> Knee:
    at = np.flatnonzero(parameters["ikf"][0] > 0.0)
    return Knee(at, parameters["ikf"][:, at] * parameters["area"][:, at])


def _recombination(parameters: Row, heat: Row) -> Recombination:
    at = np.flatnonzero(parameters["isr"][0] > 0.0)
    scale = heat["scale"][:, at] * parameters["nr"][:, at] / parameters["n"][:, at]
    barrier, edge = heat["barrier"][:, at], -3.0 * heat["scale"][:, at]
    return Recombination(at, heat["recombination"][:, at], scale, barrier, parameters["m"][:, at], edge)
