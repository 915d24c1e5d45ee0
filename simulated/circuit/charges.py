"""Give diodes and transistors the charge they store: depletion layers, and carriers in transit.

Equations as the published Berkeley SPICE3 device code has them (from memory, checked against
ngspice 39 in the tests). Arrays are (L, devices), L being one where all boards are alike, else the
number of boards; temperatures are (L, 1) kelvin. Left out: excess phase (PTF), sidewalls (CJSW).
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .bipolar import BipolarModel, base_charge
from .temperature import barrier_shift

__all__ = [
    "BIPOLAR_CHARGE_DEFAULTS",
    "DIODE_CHARGE_DEFAULTS",
    "Depletion",
    "Transit",
    "base_transit",
    "capacitance_at_heat",
    "depletion",
    "depletion_of",
    "transit_of",
]

Floats = NDArray[np.float64]
Row = Mapping[str, Floats]

_REFERENCE_KELVIN = 300.15
_NOT_GIVEN = float("nan")
_CAPACITANCE_PER_KELVIN = 4e-4

DIODE_CHARGE_DEFAULTS: Mapping[str, float | str] = {
    "cjo": "cj0",
    "cj0": "cj",
    "cj": 0.0,
    "vj": "pb",
    "pb": 1.0,
    "m": "mj",
    "mj": 0.5,
    "fc": 0.5,
    "tt": 0.0,
    "area": 1.0,
    "multiplier": 1.0,
    "tnom": _NOT_GIVEN,
}
BIPOLAR_CHARGE_DEFAULTS: Mapping[str, float | str] = {
    "cje": 0.0,
    "vje": "pe",
    "pe": 0.75,
    "mje": "me",
    "me": 0.33,
    "cjc": 0.0,
    "vjc": "pc",
    "pc": 0.75,
    "mjc": "mc",
    "mc": 0.33,
    "xcjc": 1.0,
    "cjs": "csub",
    "csub": 0.0,
    "vjs": "psub",
    "psub": 0.75,
    "mjs": "esub",
    "esub": 0.0,
    "fc": 0.5,
    "tf": 0.0,
    "xtf": 0.0,
    "vtf": 0.0,
    "itf": 0.0,
    "tr": 0.0,
    "area": 1.0,
    "multiplier": 1.0,
    "tnom": _NOT_GIVEN,
}


@dataclass(frozen=True)
class Depletion:
    """Depletion layers of junctions: farads at zero volts, barrier, grading, and where the curve goes straight."""

    farads: Floats
    barrier: Floats
    grading: Floats
    bend: Floats  # volts, FC * VJ
    bend_charge: Floats  # coulombs a farad
    bend_slope: Floats


@dataclass(frozen=True)
class Transit:
    """Transit times of transistors: TF with its growth XTF VTF ITF, and TR."""

    forward: Floats
    growth: Floats
    inverse_volts: Floats  # 1 / (1.44 VTF), zero for none
    amps: Floats
    reverse: Floats


def capacitance_at_heat(
    farads: Floats, barrier: Floats, grading: Floats, temperature: Floats, nominal: Floats
) -> tuple[Floats, Floats]:
    """Return a junction's farads at zero volts and its barrier at a temperature."""
    at_reference = (barrier - barrier_shift(nominal)) / (nominal / _REFERENCE_KELVIN)
    hot = barrier_shift(temperature) + temperature / _REFERENCE_KELVIN * at_reference

    def growth(kelvin: Floats, volts: Floats) -> Floats:
        heat = _CAPACITANCE_PER_KELVIN * (kelvin - _REFERENCE_KELVIN)
        return 1.0 + grading * (heat - (volts - at_reference) / at_reference)

    return farads * growth(temperature, hot) / growth(nominal, barrier), hot


def depletion_of(farads: Floats, barrier: Floats, grading: Floats, bend_share: Floats) -> Depletion:
    """Return depletion layers whose capacitance grows in a straight line above `bend_share` (FC) of the barrier."""
    farads, barrier, grading, share = np.broadcast_arrays(farads, barrier, grading, bend_share)
    reach = 1.0 - share
    return Depletion(
        farads=farads,
        barrier=barrier,
        grading=grading,
        bend=share * barrier,
        bend_charge=barrier * (1.0 - reach ** (1.0 - grading)) / (1.0 - grading),
        bend_slope=reach ** -(1.0 + grading),
    )


def depletion(volts: Floats, model: Depletion) -> tuple[Floats, Floats]:
    """Return coulombs and farads of depletion layers at `volts` (L, junctions)."""
    grading, barrier, bend = model.grading, model.barrier, model.bend
    below = np.minimum(volts, bend)
    depth = 1.0 - below / barrier
    power = depth**-grading
    past = volts - below
    straight = 1.0 - bend / barrier * (1.0 + grading)
    curved = barrier * (1.0 - depth * power) / (1.0 - grading)
    rising = straight * past + grading / (2.0 * barrier) * (volts + bend) * past
    charge = np.where(past > 0.0, model.bend_charge + model.bend_slope * rising, curved)
    slope = np.where(past > 0.0, model.bend_slope * (straight + grading * volts / barrier), power)
    return model.farads * charge, model.farads * slope


def transit_of(parameters: Row) -> Transit:
    """Return transit times; `area` of the parameters holds copies too."""
    volts = parameters["vtf"]
    return Transit(
        forward=parameters["tf"],
        growth=parameters["xtf"],
        inverse_volts=np.where(volts > 0.0, 1.0 / (1.44 * np.where(volts > 0.0, volts, 1.0)), 0.0),
        amps=parameters["itf"] * parameters["area"],
        reverse=parameters["tr"],
    )


def base_transit(
    model: BipolarModel,
    transit: Transit,
    volts: tuple[Floats, Floats],
    forward: tuple[Floats, Floats],
    backward: tuple[Floats, Floats],
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Return coulombs at BE and BC, their farads over own volts, and farads of the BE charge over Vbc.

    `volts` are (Vbe, Vbc), `forward` and `backward` amps and slopes of both ideal junctions.
    """
    vbe, vbc = volts
    amps, slope = forward
    charge, charge_be, charge_bc = base_charge(model, volts, (forward, backward))
    growth, growth_be, growth_bc = _transit_growth(transit, vbc, amps)
    on = vbe > 0.0
    shared = amps * (1.0 + growth) / charge
    own = (slope * (1.0 + growth_be) - shared * charge_be) / charge
    cross = (growth_bc - shared * charge_bc) / charge
    at_be = transit.forward * np.where(on, shared, amps)
    farads_be = transit.forward * np.where(on, own, slope)
    return at_be, transit.reverse * backward[0], farads_be, transit.reverse * backward[1], transit.forward * cross * on


def _transit_growth(transit: Transit, vbc: Floats, amps: Floats) -> tuple[Floats, Floats, Floats]:
    """Return by what share TF has grown, the same for its slope over Vbe, and amps a volt of Vbc."""
    growth = transit.growth * np.exp(np.minimum(vbc * transit.inverse_volts, 50.0))
    has_knee = transit.amps > 0.0
    share = np.where(has_knee, amps / np.where(has_knee, amps + transit.amps, 1.0), 1.0)
    squared = growth * share**2
    slope = np.where(has_knee, squared * (3.0 - 2.0 * share), squared)
    return squared, slope, amps * squared * transit.inverse_volts
