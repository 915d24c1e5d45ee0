"""Exponential junctions, all of a circuit in one array: current, slope, and Newton's limiting.

Equations as the published Berkeley SPICE3 device code has them (from memory, checked against
ngspice 39 in the tests). Arrays are `x[board, junction]`, shape (L, J); a leading axis of one
stands for "the same on every board".
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Breakdown", "Knee", "Recombination", "breakdown", "junction", "knee", "limited_junctions", "recombination"]

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
    measure = volts / scale
    # One above the edge, falling off below it: both shapes in one expression, so that nothing has to be chosen.
    fall = np.minimum(measure, -3.0)
    np.divide(-3.0, fall, out=fall)
    power = np.clip(measure, -3.0, _LARGEST_EXPONENT, out=measure)
    np.exp(power, out=power)
    slope = fall * fall
    slope *= fall
    slope *= power
    slope *= saturation
    amps = slope - saturation
    slope *= fall
    slope /= scale
    return amps, slope


def breakdown(
    volts: Floats, saturation: Floats, model: Breakdown, amps: Floats, slope: Floats, *, axis: int = 1
) -> None:
    """Replace amps and slope of junctions that are past their breakdown voltage, in place."""
    at = _along(model.at, axis)
    past = -(model.volts + volts[at])
    broken = past > 0.0
    if broken.any():
        current = saturation[at] * np.exp(np.minimum(past / model.scale, _LARGEST_EXPONENT))
        amps[at] = np.where(broken, -current, amps[at])
        slope[at] = np.where(broken, current / model.scale, slope[at])


def knee(model: Knee, amps: Floats, slope: Floats, *, axis: int = 1) -> None:
    """Bend forward currents beyond the knee, in place."""
    at = _along(model.at, axis)
    current = amps[at]
    root = np.sqrt(np.maximum(current, 1e-18) / model.amps)
    forward = current > 1e-18
    bent = slope[at] * (1.0 + 0.5 * root) / (1.0 + root) ** 2
    slope[at] = np.where(forward, bent, slope[at])
    amps[at] = np.where(forward, current / (1.0 + root), current)


def recombination(volts: Floats, model: Recombination, amps: Floats, slope: Floats, *, axis: int = 1) -> None:
    """Add the recombination current, in place."""
    at = _along(model.at, axis)
    across = volts[at]
    power = np.exp(np.minimum(across / model.scale, _LARGEST_EXPONENT))
    depth = 1.0 - across / model.barrier
    base = depth**2 + 0.005
    factor = base ** (model.grading / 2)
    factor_slope = -model.grading * depth / model.barrier * factor / base
    flows = np.where(across >= model.edge, model.amps, 0.0)
    amps[at] += flows * (power - 1.0) * factor
    slope[at] += flows * (power / model.scale * factor + (power - 1.0) * factor_slope)


def _along(at: Places, axis: int) -> tuple[slice, Places] | tuple[Places]:
    """Return the index of devices that lie along the last axis, or along the first."""
    return (slice(None), at) if axis else (at,)


def limited_junctions(
    new: Floats, old: Floats, scale: Floats, critical: Floats, zener: Breakdown, *, axis: int = 1
) -> tuple[Floats, NDArray[np.bool_]]:
    """Return what `limited` does, zeners also held where they run into breakdown."""
    volts, cut = limited(new, old, scale, critical)
    if zener.at.size:
        at = _along(zener.at, axis)
        past_new, past_old = -(zener.volts + new[at]), -(zener.volts + old[at])
        near = past_new > -10.0 * zener.scale
        held, cut_back = limited(past_new, past_old, zener.scale, critical[at])
        cut[at] = np.where(near, cut_back, cut[at])
        if cut_back.any() or volts is not new:
            volts = volts.copy() if volts is new else volts
            volts[at] = np.where(near, np.where(cut_back, -(held + zener.volts), new[at]), volts[at])
    return volts, cut


def limited(new: Floats, old: Floats, scale: Floats, critical: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Return junction voltages that no Newton step may exceed, and where they were cut.

    The classic logarithmic limiter: beyond the critical voltage a step grows with the logarithm of
    what the linear solution asks for; into reverse it is at most doubled.
    """
    reach = 2.0 * scale
    large = np.abs(new - old) > np.minimum(reach, 1.0)  # downward, a volt is free
    rows = np.flatnonzero(large.any(axis=1))
    if not rows.size:
        return new, np.zeros(new.shape, dtype=bool)
    if rows.size == len(new):
        return _limited(new, old, scale, critical)
    some = (row if row.shape[0] == 1 else row[rows] for row in (new, old, scale, critical))
    volts, cut = new.copy(), np.zeros(new.shape, dtype=bool)
    volts[rows], cut[rows] = _limited(*some)
    return volts, cut


def _limited(new: Floats, old: Floats, scale: Floats, critical: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Return what `limited` does, with a look at everything."""
    upward = np.abs(new - old) > 2.0 * scale
    upward &= new > critical
    floor = np.minimum(-old, 2.0 * old)
    floor -= 1.0
    downward = new < floor
    downward &= ~upward
    cut = upward | downward
    if not cut.any():
        return new, cut
    volts = np.where(downward, floor, new)
    at = np.nonzero(upward)  # few: logarithms are slow
    volts[at] = _climbed(new[at], old[at], np.broadcast_to(scale, new.shape)[at])
    return volts, cut


def _climbed(new: Floats, old: Floats, scale: Floats) -> Floats:
    """Return how far up junctions may go that ask for `new` volts."""
    ratio = (new - old) / scale
    grown = old + scale * np.sign(ratio) * (2.0 + np.log(np.maximum(np.abs(ratio) - 2.0, 1e-12)))
    fresh = scale * np.log(np.maximum(new / scale, 1e-12))
    return np.where(old > 0.0, grown, fresh)
