"""The bench's ends, as elements of the circuit: supplies with a current limit, loads, meter inputs.

A supply holds its voltage while the current it delivers lies between zero and its limit, else it
holds the limit; it never takes current back. A load draws its current down to its minimum voltage,
below that it looks like a resistor. Which of these holds is found by Newton's own iterations.
"""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

__all__ = ["LEAKAGE_SIEMENS", "Ends", "LoadEnd", "MeterEnd", "SupplyEnd", "SupplyMode", "SupplySetting"]
__all__ += ["load_current", "load_step", "next_modes", "supply_row"]

Floats = NDArray[np.float64]
Modes = NDArray[np.int8]

# What an output that is off, or that would have to sink, still conducts: 1 Gohm.
LEAKAGE_SIEMENS = 1e-9
_ROUNDING = 0.05  # half-width of a load's rounded knee, as a fraction of its minimum voltage


@dataclass(frozen=True)
class SupplyEnd:
    """A supply channel between two nodes; `minus` may be the fed node of a channel turned round."""

    name: str
    plus: str
    minus: str


@dataclass(frozen=True)
class LoadEnd:
    """A constant-current load between two nodes."""

    name: str
    plus: str
    minus: str
    minimum_volts: float = 0.5


@dataclass(frozen=True)
class MeterEnd:
    """A meter's input resistance between two nodes."""

    name: str
    plus: str
    minus: str
    ohms: float = 10e6


@dataclass(frozen=True)
class SupplySetting:
    """A channel's settings: floats and bool, or one per board (arrays of shape (boards,))."""

    volts: float | Floats
    limit_amps: float | Floats = np.inf
    on: bool | NDArray[np.bool_] = True


@dataclass(frozen=True)
class Ends:
    """The bench's ends that hang on one circuit."""

    supplies: tuple[SupplyEnd, ...] = ()
    loads: tuple[LoadEnd, ...] = ()
    meters: tuple[MeterEnd, ...] = ()


class SupplyMode(IntEnum):
    """What a supply holds: its voltage, its current limit, or nothing (it would sink, or is off)."""

    VOLTAGE = 0
    CURRENT = 1
    BLOCKED = 2
    OFF = 3


# Plain numbers where every iteration compares: an array asks an enum's member for its kind over and over.
_VOLTAGE, _CURRENT, _BLOCKED = int(SupplyMode.VOLTAGE), int(SupplyMode.CURRENT), int(SupplyMode.BLOCKED)


def supply_row(modes: Modes, volts: Floats, limits: Floats) -> tuple[Floats, Floats, Floats]:
    """Return a, b, c of each supply's equation `a * volts + b * amps = c`; all arrays (L, supplies)."""
    holds = modes == _VOLTAGE
    on_volts = np.where(holds, 1.0, LEAKAGE_SIEMENS)
    on_amps = np.where(holds, 0.0, 1.0)
    right = np.where(holds, volts, 0.0)
    if not holds.all():
        right = np.where(modes == _CURRENT, limits, right)
        right = np.where(modes == _BLOCKED, LEAKAGE_SIEMENS * volts, right)
    return on_volts, on_amps, right


def next_modes(modes: Modes, volts: Floats, amps: Floats, settings: tuple[Floats, Floats]) -> Modes:
    """Return the modes that fit the volts and amps a step arrived at; `settings` are volts and limits."""
    set_volts, limits = settings
    slack = 1e-9 + 1e-9 * np.abs(set_volts)
    holds = modes == _VOLTAGE
    after = modes.copy()
    after[holds & (amps > limits * (1 + 1e-9))] = _CURRENT
    after[holds & (amps < -1e-9)] = _BLOCKED
    after[(modes == _CURRENT) & (volts > set_volts + slack)] = _VOLTAGE
    after[(modes == _BLOCKED) & (volts < set_volts - slack)] = _VOLTAGE
    return after


def load_current(volts: Floats, amps: Floats, minimum: Floats) -> tuple[Floats, Floats]:
    """Return what loads draw at `volts`, and the slope; the knee is rounded so that Newton can follow."""
    share = volts / minimum
    past_knee = np.clip((share - 1.0 + _ROUNDING) / (2 * _ROUNDING), 0.0, 1.0)
    cut_off = np.where(past_knee < 1.0, _ROUNDING * past_knee**2, share - 1.0)
    drawn = np.where(share > 0.0, amps * (share - cut_off), 0.0)
    return drawn, np.where(share > 0.0, amps * (1.0 - past_knee) / minimum, 0.0)


def load_step(new: Floats, old: Floats, minimum: Floats) -> Floats:
    """Return the volts a load is linearised at: a fall through its constant-current knee stops on the slope."""
    return np.where((old > minimum) & (new < 0.5 * minimum), 0.5 * minimum, new)
