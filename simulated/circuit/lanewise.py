"""See nonlinear devices as straight lines, as `linearise` does, with boards along the last axis.

Long rows of one device's numbers over all boards are what arrays work on fastest; the physics is the
same functions. Arrays are (n, L); what all boards share is (n, 1).
"""

from dataclasses import dataclass, fields, is_dataclass, replace
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from .bipolar import BipolarCurrents, BipolarModel, base_conductance, terminal_currents
from .devices import BaseResistance, Devices
from .ends import load_current, load_step, supply_row
from .junctions import Breakdown, Knee, Recombination, breakdown, junction, knee, limited_junctions, recombination
from .layout import Layout
from .linearise import Problem

__all__ = ["Lines", "Setting", "Standing", "setting_of", "straight_lines", "take_columns"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Thing = TypeVar("Thing")

_LEAST_CURRENT = 0.05  # of what flowed, where proportion would have it next to nothing or reversed
_FAR = 0.1  # of N*Vt: nearer, a step is as good as bent already


@dataclass(frozen=True)
class Setting:
    """What stays while Newton iterates: devices and the bench's settings, sources scaled already."""

    saturation: Floats
    scale: Floats
    step_scale: Floats
    critical: Floats
    bipolar: BipolarModel
    base: BaseResistance
    breakdown: Breakdown
    knee: Knee
    recombination: Recombination
    supply_volts: Floats
    supply_amps: Floats
    load_amps: Floats
    load_minimum: Floats
    gmin: float
    wirings: NDArray[np.intp]


@dataclass(frozen=True)
class Standing:
    """What devices are linearised at: junction volts, load volts, supply modes."""

    junctions: Floats
    loads: Floats
    modes: NDArray[np.int8]


@dataclass(frozen=True)
class Lines:
    """Slopes (without shunts) and currents at the present x, in the layout's order, and which lanes were cut."""

    slopes: Floats
    currents: Floats
    standing: Standing
    cut: Bools  # (L,)


def turned(thing: Thing) -> Thing:
    """Return a record with every (L, n) array turned to (n, L)."""
    if isinstance(thing, np.ndarray):
        flat: Any = np.ascontiguousarray(thing.T) if thing.ndim == 2 else thing
        return flat  # type: ignore[no-any-return]  # an array in, an array out
    if is_dataclass(thing) and not isinstance(thing, type):
        return type(thing)(*(turned(getattr(thing, field.name)) for field in fields(thing)))
    return thing


def take_columns(thing: Thing, lanes: NDArray[np.intp]) -> Thing:
    """Return a record with every (n, L) array cut down to `lanes`; what is shared stays shared."""
    if isinstance(thing, np.ndarray):
        kept: Any = thing if thing.ndim < 2 or thing.shape[1] == 1 else thing.take(lanes, axis=1)
        return kept  # type: ignore[no-any-return]  # an array in, an array out
    if is_dataclass(thing) and not isinstance(thing, type):
        return type(thing)(*(take_columns(getattr(thing, field.name), lanes) for field in fields(thing)))
    return thing


def setting_of(problem: Problem, scale: Floats) -> Setting:
    """Return a problem's setting, the supplies scaled by `scale` (L, 1)."""
    devices: Devices = problem.devices
    names = [field.name for field in fields(Setting) if hasattr(devices, field.name)]
    return Setting(
        **{name: turned(getattr(devices, name)) for name in names},
        supply_volts=turned(problem.supply_volts * scale),
        supply_amps=turned(problem.supply_amps),
        load_amps=turned(problem.load_amps),
        load_minimum=turned(problem.load_minimum),
        gmin=problem.gmin,
        wirings=turned(problem.wirings),
    )


def straight_lines(
    layout: Layout,
    setting: Setting,
    spans: Floats,
    supply_amps: Floats,
    standing: Standing,
    *,
    keep: bool,
    bend: bool = False,
) -> Lines:
    """Return the lines; `spans` are volts across junctions, base resistances, loads and supplies.

    `keep` takes the junction volts of `standing` as they are; `bend` lets conducting junctions follow the logarithm
    of their currents, for the step after a start nearby.
    """
    edges = np.cumsum([0, layout.junction_sign.size, *(p[0].size for p in (layout.base_pairs, layout.load_pairs))])
    present, bases, loads = (spans[start:stop] for start, stop in pairwise(edges))
    if keep:
        volts = standing.junctions
        cut = np.asarray((volts != present).any(axis=0))
    else:
        limits = setting.step_scale, setting.critical, setting.breakdown
        volts, cuts = limited_junctions(present, standing.junctions, *limits, axis=0)
        if bend:
            volts, cuts = _bent(setting, present, standing.junctions, volts, cuts)
        cut = np.asarray(cuts.any(axis=0))
    amps, slope = _exponentials(layout, setting, volts)
    flow = _bipolars(layout, setting, volts, amps, slope)
    series = _base_siemens(setting, flow)
    at_loads, load_amps, load_slope = _loads(setting, loads, standing.loads)
    cut |= (at_loads != loads).any(axis=0)
    on_volts, on_amps, residual = _supplies(setting, spans[edges[-1] :], supply_amps, standing.modes)
    slopes = [slope[: layout.diodes], flow.collector_be, flow.collector_bc, flow.base_be, flow.base_bc]
    currents = _at_present(layout, present - volts, amps, slope, flow) if cut.any() else _at(layout, amps, flow)
    currents += [series * bases, load_amps, residual]
    slopes += [series, load_slope, on_volts, on_amps]
    standing = replace(standing, junctions=volts, loads=at_loads)
    return Lines(np.concatenate(slopes), np.concatenate(currents), standing, cut)


def _bent(setting: Setting, present: Floats, before: Floats, volts: Floats, cuts: Bools) -> tuple[Floats, Bools]:
    """Return junction volts, and which are cut: where a junction conducts, currents are what moves in proportion."""
    share = present - before
    share /= setting.step_scale
    far = np.abs(share) > _FAR
    far &= before > 3.0 * setting.step_scale
    share += 1.0
    # All logarithms are quicker than picking out whose are wanted.
    grown = np.log(np.maximum(share, _LEAST_CURRENT, out=share), out=share)
    grown *= setting.step_scale
    grown += before
    return np.where(far, grown, volts), cuts | far


def _loads(setting: Setting, present: Floats, before: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the volts loads are linearised at, their amps at the present volts, and slopes."""
    if not present.shape[0]:
        return present, present, present
    volts = load_step(present, before, setting.load_minimum)
    amps, slope = load_current(volts, setting.load_amps, setting.load_minimum)
    return volts, amps + slope * (present - volts), slope


def _supplies(setting: Setting, volts: Floats, amps: Floats, modes: NDArray[np.int8]) -> tuple[Floats, Floats, Floats]:
    if not modes.shape[0]:
        return volts, volts, volts
    on_volts, on_amps, right = supply_row(modes, setting.supply_volts, setting.supply_amps)
    return on_volts, on_amps, on_volts * volts + on_amps * amps - right


def _at(layout: Layout, amps: Floats, flow: BipolarCurrents) -> list[Floats]:
    return [amps[: layout.diodes], flow.collector, flow.base]


def _at_present(layout: Layout, off: Floats, amps: Floats, slope: Floats, flow: BipolarCurrents) -> list[Floats]:
    """Return what the lines say at the present volts, `off` away from where they touch."""
    diodes, transistors = layout.diodes, layout.transistors
    off_be, off_bc = off[diodes : diodes + transistors], off[diodes + transistors :]
    return [
        amps[:diodes] + slope[:diodes] * off[:diodes],
        flow.collector + flow.collector_be * off_be + flow.collector_bc * off_bc,
        flow.base + flow.base_be * off_be + flow.base_bc * off_bc,
    ]


def _exponentials(layout: Layout, setting: Setting, volts: Floats) -> tuple[Floats, Floats]:
    """Return amps and slopes of the controlling junctions."""
    own = slice(0, volts.shape[0])
    amps, slope = junction(volts, setting.saturation[own], setting.scale[own])
    if setting.recombination.at.size:
        recombination(volts, setting.recombination, amps, slope, axis=0)
    if setting.knee.at.size:
        knee(setting.knee, amps, slope, axis=0)
    if setting.breakdown.at.size:
        breakdown(volts, setting.saturation, setting.breakdown, amps, slope, axis=0)
    amps[: layout.diodes] += setting.gmin * volts[: layout.diodes]
    slope[: layout.diodes] += setting.gmin
    return amps, slope


def _leakage(setting: Setting, volts: Floats, places: slice) -> tuple[Floats, Floats]:
    """Return amps and slopes of transistors' leakage junctions, which have these places; gmin across is part of it."""
    saturation = setting.saturation[places]
    if not saturation.any():
        return setting.gmin * volts, np.full_like(volts, setting.gmin)
    amps, slope = junction(volts, saturation, setting.scale[places])
    amps += setting.gmin * volts
    slope += setting.gmin
    return amps, slope


def _bipolars(layout: Layout, setting: Setting, volts: Floats, amps: Floats, slope: Floats) -> BipolarCurrents:
    be, bc, leak_be, leak_bc = (
        slice(start, stop) for start, stop in pairwise(layout.diodes + at * layout.transistors for at in range(5))
    )
    leakage = _leakage(setting, volts[be], leak_be), _leakage(setting, volts[bc], leak_bc)
    ideal = (amps[be], slope[be]), (amps[bc], slope[bc])
    return terminal_currents(setting.bipolar, (volts[be], volts[bc]), ideal, leakage)


def _base_siemens(setting: Setting, flow: BipolarCurrents) -> Floats:
    base = setting.base
    if not base.at.size:
        return np.zeros((0, flow.charge.shape[1]))
    return base_conductance(base.least, base.extra, base.half_amps, flow.charge[base.at], flow.base[base.at])
