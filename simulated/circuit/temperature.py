"""Bring model parameters to the temperature of a solve: resistors, diodes, bipolar transistors.

Equations as the published Berkeley SPICE3 device code has them (from memory, checked against
ngspice 39 in the tests). Arrays are (L, devices) with L one or the number of boards; temperatures
are (L, 1) kelvin.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "BOLTZMANN_OVER_CHARGE",
    "barrier_shift",
    "bipolar_at",
    "breakdown_knee",
    "diode_at",
    "kelvin",
    "resistance_factor",
]

Floats = NDArray[np.float64]

# CODATA 2014, the values ngspice 39 is built with (from memory): volts per kelvin.
BOLTZMANN_OVER_CHARGE = 1.38064852e-23 / 1.6021766208e-19

_REFERENCE_KELVIN = 300.15


def kelvin(celsius: Floats) -> Floats:
    """Return kelvin for degrees Celsius."""
    return celsius + 273.15


def resistance_factor(parameters: Mapping[str, Floats], temperature: Floats, nominal: Floats) -> Floats:
    """Return what a resistor's value is multiplied with: 1 + TC1 dT + TC2 dT^2, or the exponential TCE."""
    rise = temperature - nominal
    polynomial = 1.0 + parameters["tc1"] * rise + parameters["tc2"] * rise**2
    return np.where(parameters["tce"] != 0.0, 1.01 ** (parameters["tce"] * rise), polynomial)


def diode_at(parameters: Mapping[str, Floats], temperature: Floats, nominal: Floats) -> dict[str, Floats]:
    """Return saturation amps, recombination amps, emission voltage, series ohms at a temperature."""
    thermal = BOLTZMANN_OVER_CHARGE * temperature
    ratio = temperature / nominal
    rise = temperature - nominal
    growth = (ratio - 1.0) * parameters["eg"] / thermal + parameters["xti"] * np.log(ratio)
    area = parameters["area"]
    return {
        "saturation": parameters["is"] * area * np.exp(growth / parameters["n"]),
        "recombination": parameters["isr"] * area * np.exp(growth / parameters["nr"]),
        "scale": parameters["n"] * thermal,
        "barrier": _barrier(parameters["vj"], temperature, nominal),
        "ohms": parameters["rs"] / area * (1.0 + parameters["trs1"] * rise + parameters["trs2"] * rise**2),
    }


def _barrier(volts: Floats, temperature: Floats, nominal: Floats) -> Floats:
    """Return a junction's built-in voltage at a temperature: silicon's gap and carrier density move it."""
    at_reference = (volts - barrier_shift(nominal)) / (nominal / _REFERENCE_KELVIN)
    return np.asarray(barrier_shift(temperature) + temperature / _REFERENCE_KELVIN * at_reference)


def barrier_shift(temperature: Floats) -> Floats:
    """Return the volts that a temperature (kelvin) takes off a junction's barrier, relative to 300.15 K."""
    thermal = BOLTZMANN_OVER_CHARGE * temperature
    gap = 1.16 - 7.02e-4 * temperature**2 / (temperature + 1108.0)
    balance = -gap / (2.0 * thermal) + 1.1150877 / (2.0 * BOLTZMANN_OVER_CHARGE * _REFERENCE_KELVIN)
    return -2.0 * thermal * (1.5 * np.log(temperature / _REFERENCE_KELVIN) + balance)


def breakdown_knee(
    parameters: Mapping[str, Floats], saturation: Floats, temperature: Floats, nominal: Floats, *, rounds: int = 25
) -> Floats:
    """Return the voltage where breakdown sets in so that IBV flows at BV; `parameters` of zeners only."""
    thermal = BOLTZMANN_OVER_CHARGE * temperature
    volts = parameters["bv"] - parameters["tcv"] * (temperature - nominal)
    # IBV is of the whole junction, whatever its area; only copies in parallel add up (ngspice 39, tried).
    current = parameters["ibv"] * parameters["multiplier"]
    emission = parameters["nbv"] * thermal
    knee = volts - emission * np.log(1.0 + current / saturation)
    for _ in range(rounds):
        argument = np.maximum(current / saturation + 1.0 - knee / thermal, 1e-12)
        before, knee = knee, volts - emission * np.log(argument)
        if np.array_equal(before, knee):
            break
    return np.where(current < saturation * volts / thermal, volts, knee)


def bipolar_at(parameters: Mapping[str, Floats], temperature: Floats, nominal: Floats) -> dict[str, Floats]:
    """Return saturation and leakage amps and both current gains at a temperature."""
    thermal = BOLTZMANN_OVER_CHARGE * temperature
    ratio = temperature / nominal
    growth = (ratio - 1.0) * parameters["eg"] / thermal + parameters["xti"] * np.log(ratio)
    gain = ratio ** parameters["xtb"]
    area = parameters["area"]
    return {
        "saturation": parameters["is"] * area * np.exp(growth),
        "forward gain": parameters["bf"] * gain,
        "reverse gain": parameters["br"] * gain,
        "emitter leakage": parameters["ise"] * area * np.exp(growth / parameters["ne"]) / gain,
        "collector leakage": parameters["isc"] * area * np.exp(growth / parameters["nc"]) / gain,
        "thermal": np.broadcast_to(thermal, np.broadcast_shapes(thermal.shape, area.shape)),
    }
