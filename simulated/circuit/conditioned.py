"""Bring devices to one condition: what they were given as, at this temperature.

What results depends on no voltage, so it is made once per solve and kept while the condition lasts.
Arrays are (L, devices), L being one where all boards are alike, else the number of boards.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from .bipolar import BipolarModel
from .errors import CircuitError
from .junctions import Breakdown, Knee, Recombination
from .temperature import bipolar_at, breakdown_knee, diode_at, kelvin, resistance_factor

__all__ = ["BaseResistance", "Devices", "Given", "Sites", "devices_of", "take_lanes"]

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
Row = Mapping[str, Floats]  # parameters by name
Given = Mapping[str, Row]  # values and model parameters at their nominal temperature, by kind of device
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
    """Return a frozen record with every (L, ...) array cut down to `lanes`; shared rows stay shared.

    What lies in memory with lanes last stays so.
    """
    if isinstance(thing, np.ndarray):
        if thing.ndim < 2 or thing.shape[0] == 1:
            return thing
        kept: Any = thing.T.take(lanes, axis=1).T if thing.flags.fnc else thing[lanes]
        return kept  # type: ignore[no-any-return]  # an array in, an array out
    if is_dataclass(thing) and not isinstance(thing, type):
        return type(thing)(*(take_lanes(getattr(thing, field.name), lanes) for field in fields(thing)))
    return thing


@dataclass(frozen=True)
class Sites:
    """Columns of diodes and transistors with series resistances, a breakdown, a knee; and what is always the same."""

    diode_series: Places
    base_fixed: Places
    base_varying: Places
    collector_series: Places
    emitter_series: Places
    zeners: Places
    kneed: Places  # diodes with IKF
    recombining: Places  # diodes with ISR
    meters: Floats  # (1, n) siemens
    nominal_celsius: float


def devices_of(given: Given, sites: Sites, celsius: Floats) -> Devices:
    """Return the devices at a temperature, (1, 1) or (boards, 1) degrees.

    `given` has kinds resistors, diodes, bipolars, gains, volts, amps. Raises CircuitError for a resistor without a
    finite value.
    """
    temperature = kelvin(celsius)
    with np.errstate(all="ignore"):
        diodes, bipolars = _copies(given["diodes"], sites), _copies(given["bipolars"], sites)
        warm, hot = diode_at(diodes, temperature, diodes["tnom"]), bipolar_at(bipolars, temperature, bipolars["tnom"])
        siemens = _siemens(given["resistors"], sites, temperature)
        series = _series(sites, warm, bipolars)
        return Devices(
            linear=_joined(siemens, *series, sites.meters, given["gains"]["value"]),
            sources=_joined(given["volts"]["value"], given["amps"]["value"]),
            **_exponentials(warm, bipolars, hot),
            bipolar=_gummel_poon(bipolars, hot),
            base=_base(sites, bipolars),
            breakdown=_breakdown(sites, diodes, warm, temperature),
            knee=_knee(sites.kneed, diodes),
            recombination=_recombination(sites.recombining, diodes, warm),
        )


def _nominal(parameters: Row, sites: Sites) -> Floats:
    """Return the kelvin at which parameters were given: the model's TNOM, else the netlist's."""
    given = parameters["tnom"]
    return kelvin(np.where(np.isnan(given), sites.nominal_celsius, given))


def _copies(parameters: Row, sites: Sites) -> dict[str, Floats]:
    area = parameters["area"] * parameters["multiplier"]
    return {**parameters, "area": area, "tnom": _nominal(parameters, sites)}


def _siemens(parameters: Row, sites: Sites, temperature: Floats) -> Floats:
    factor = resistance_factor(parameters, temperature, _nominal(parameters, sites))
    ohms = parameters["value"] * factor / parameters["multiplier"]
    ohms = np.where(ohms == 0.0, _LEAST_OHMS, ohms)
    if not np.all(np.isfinite(ohms)):
        raise CircuitError("a resistor has no finite value; check expressions and TC1, TC2")
    return 1.0 / ohms


def _series(sites: Sites, diodes: Row, bipolars: Row) -> list[Floats]:
    area = bipolars["area"]
    return [
        1.0 / diodes["ohms"][:, sites.diode_series],
        (area / bipolars["rb"])[:, sites.base_fixed],
        (area / bipolars["rc"])[:, sites.collector_series],
        (area / bipolars["re"])[:, sites.emitter_series],
    ]


def _base(sites: Sites, parameters: Row) -> BaseResistance:
    at = sites.base_varying
    area = parameters["area"][:, at]
    least = parameters["rbm"][:, at] / area
    extra = parameters["rb"][:, at] / area - least
    return BaseResistance(at, least, extra, parameters["irb"][:, at] * area)


def _breakdown(sites: Sites, parameters: Row, heat: Row, temperature: Floats) -> Breakdown:
    at = sites.zeners
    own = {name: parameters[name][:, at] for name in ("bv", "ibv", "nbv", "tcv", "multiplier", "tnom")}
    knee = breakdown_knee(own, heat["saturation"][:, at], temperature, own["tnom"])
    return Breakdown(at, knee, heat["scale"][:, at] * own["nbv"] / parameters["n"][:, at])


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


def _knee(at: Places, parameters: Row) -> Knee:
    amps = parameters["ikf"][:, at] * parameters["area"][:, at]
    return Knee(at, np.where(amps > 0.0, amps, np.inf))


def _recombination(at: Places, parameters: Row, heat: Row) -> Recombination:
    scale = heat["scale"][:, at] * parameters["nr"][:, at] / parameters["n"][:, at]
    barrier, edge = heat["barrier"][:, at], -3.0 * heat["scale"][:, at]
    return Recombination(at, heat["recombination"][:, at], scale, barrier, parameters["m"][:, at], edge)
