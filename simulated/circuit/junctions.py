"""Exponential junctions, all of a circuit in one array: current, slope, and Newton's limiting.

Equations as the published Berkeley SPICE3 device code has them (from memory, checked against
ngspice 39 in the tests). Arrays are `x[board, junction]`, shape (L, J); a leading axis of one
stands for "the same on every board".
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Breakdown", "Knee", "Recombination", "breakdown", "junction", "knee", "limited", "recombination"]

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

_LARGEST_EXPONENT = 600.0


@dataclass(frozen=True)
class Breakdown:
    """Reverse breakdown of some junctions: `at` their columns, knee volts, and emission voltage NBV*Vt."""

    at: Places
    volts: Floats
    scale: Floats


@dataclass(frozen=True)
class Knee:
    """High-injection knee (IKF) of some junctions: `at` their columns, and the knee amps."""

    at: Places
    amps: Floats


@dataclass(frozen=True)
class Recombination:
    """Recombination current (ISR NR) of some junctions, with the barrier (VJ M) that shapes it.

    It flows above `edge` volts only, where the ideal junction leaves its exponential.
    """

    at: Places
    amps: Floats
    scale: Floats
    barrier: Floats
    grading: Floats
    edge: Floats


def junction(volts: Floats, saturation: Floats, scale: Floats) -> tuple[Floats, Floats]:
    """Return amps and siemens of junctions at `volts`; `scale` is N*Vt.

    Below -3 N Vt SPICE follows a cubic tail rather than the exponential.
    """
    edge = -3.0 * scale
    power = np.exp(np.minimum(np.maximum(volts, edge) / scale, _LARGEST_EXPONENT))
    amps = saturation * (power - 1.0)
    slope = saturation * power / scale
    reverse = volts < edge
    if reverse.any():
        below = np.minimum(volts, edge)
        tail = (edge / np.e / below) ** 3
        amps = np.where(reverse, saturation * (tail - 1.0), amps)
        slope = np.where(reverse, -3.0 * saturation * tail / below, slope)
    return amps, slope


def breakdown(volts: Floats, saturation: Floats, model: Breakdown, amps: Floats, slope: Floats) -> None:
    """Replace amps and slope of junctions that are past their breakdown voltage, in place."""
    past = -(model.volts + volts[:, model.at])
    broken = past > 0.0
    if broken.any():
        current = saturation[:, model.at] * np.exp(np.minimum(past / model.scale, _LARGEST_EXPONENT))
        amps[:, model.at] = np.where(broken, -current, amps[:, model.at])
        slope[:, model.at] = np.where(broken, current / model.scale, slope[:, model.at])


def knee(model: Knee, amps: Floats, slope: Floats) -> None:
    """Bend forward currents beyond the knee, in place."""
    current = amps[:, model.at]
    root = np.sqrt(np.maximum(current, 1e-18) / model.amps)
    forward = current > 1e-18
    bent = slope[:, model.at] * (1.0 + 0.5 * root) / (1.0 + root) ** 2
    slope[:, model.at] = np.where(forward, bent, slope[:, model.at])
    amps[:, model.at] = np.where(forward, current / (1.0 + root), current)


def recombination(volts: Floats, model: Recombination, amps: Floats, slope: Floats) -> None:
    """Add the recombination current, in place."""
    across = volts[:, model.at]
    power = np.exp(np.minimum(across / model.scale, _LARGEST_EXPONENT))
    depth = 1.0 - across / model.barrier
    base = depth**2 + 0.005
    factor = base ** (model.grading / 2)
    factor_slope = -model.grading * depth / model.barrier * factor / base
    flows = np.where(across >= model.edge, model.amps, 0.0)
    amps[:, model.at] += flows * (power - 1.0) * factor
    slope[:, model.at] += flows * (power / model.scale * factor + (power - 1.0) * factor_slope)


def limited(new: Floats, old: Floats, scale: Floats, critical: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Return junction voltages that no Newton step may exceed, and where they were cut.

    The classic logarithmic limiter: beyond the critical voltage a step grows with the logarithm of
    what the linear solution asks for; into reverse it is at most doubled.
    """
    step = new - old
    upward = (new > critical) & (np.abs(step) > 2.0 * scale)
    floor = np.where(old > 0.0, -old - 1.0, 2.0 * old - 1.0)
    downward = (new < floor) & ~upward
    cut = upward | downward
    if not cut.any():
        return new, cut
    ratio = step / scale
    grown = old + scale * np.sign(ratio) * (2.0 + np.log(np.maximum(np.abs(ratio) - 2.0, 1e-12)))
    fresh = scale * np.log(np.maximum(new / scale, 1e-12))
    capped = np.where(old > 0.0, grown, fresh)
    return np.where(upward, capped, np.where(downward, floor, new)), cut
