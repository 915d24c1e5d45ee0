"""See every nonlinear device as a straight line through where a lane stands now.

Junctions are linearised at limited voltages, so that no exponential runs away; the currents given
back are those the straight lines have at the present unknowns, so that residuals stay exact.
"""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from .bipolar import BipolarCurrents, base_conductance, terminal_currents
from .devices import Devices
from .ends import load_current, load_step, supply_row
from .junctions import breakdown, junction, knee, limited_junctions, recombination
from .layout import Layout

__all__ = ["Aid", "Linearised", "Problem", "State", "Stretches", "across", "junction_volts", "linearise", "stretches"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Places = NDArray[np.intp]
Stretches = tuple[tuple[int, slice], ...]  # which wiring, and its lanes


@dataclass(frozen=True)
class Problem:
    """What is to be solved: devices, the matrix of all that is linear, and the bench's settings.

    `supply_amps` are limits; all arrays are (L, n) or (1, n), `matrix` (L, M, M) or (1, M, M). `wirings` says
    which of several layouts each lane is wired by; lanes of one wiring stand together.
    """

    devices: Devices
    matrix: Floats
    supply_volts: Floats
    supply_amps: Floats
    load_amps: Floats
    load_minimum: Floats
    gmin: float
    wirings: Places = field(default_factory=lambda: np.zeros((1, 1), dtype=np.intp))


@dataclass(frozen=True)
class State:
    """Where lanes stand: unknowns (L, M+1), junction and load volts they are linearised at, supply modes."""

    x: Floats
    junctions: Floats
    loads: Floats
    modes: NDArray[np.int8]


@dataclass(frozen=True)
class Aid:
    """What makes a problem easier: sources scaled down, and a shunt from every node to where it was.

    `scale` is (L, 1), `shunt` (L, nodes), `anchor` (L, M).
    """

    scale: Floats
    shunt: Floats
    anchor: Floats


@dataclass(frozen=True)
class Linearised:
    """Nonlinear devices seen as straight lines: slopes, currents at the present x, and who was cut."""

    slopes: Floats
    currents: Floats
    state: State
    cut: Bools  # (L,)


def stretches(wirings: NDArray[np.intp], lanes: int) -> Stretches:
    """Return the stretches of lanes that are wired alike; a single number in `wirings` stands for all lanes."""
    flat = wirings.reshape(-1)
    if flat.size == 1:
        return ((int(flat[0]), slice(0, lanes)),)
    edges = [0, *(np.flatnonzero(np.diff(flat)) + 1).tolist(), lanes]
    return tuple((int(flat[start]), slice(start, stop)) for start, stop in pairwise(edges))


def across(x: Floats, pair: tuple[Places, Places]) -> Floats:
    """Return the volts between node pairs, (L, pairs)."""
    return x.take(pair[0], axis=1) - x.take(pair[1], axis=1)


def junction_volts(layout: Layout, x: Floats) -> Floats:
    """Return the controlling voltages of all junctions, (L, J)."""
    return across(x, (layout.junction_plus, layout.junction_minus)) * layout.junction_sign


def linearise(layout: Layout, problem: Problem, state: State, aid: Aid, *, keep: bool) -> Linearised:
    """Return slopes and currents in the layout's order; `keep` takes the state's junction volts as they are."""
    devices = problem.devices
    present = junction_volts(layout, state.x)
    if keep:
        volts = state.junctions
        cut = np.asarray((volts != present).any(axis=1))
    else:
        limits = devices.step_scale, devices.critical, devices.breakdown
        volts, cuts = limited_junctions(present, state.junctions, *limits)
        cut = np.asarray(cuts.any(axis=1))
    amps, slope = _exponentials(layout, problem, volts)
    diodes, transistors = layout.diodes, layout.transistors
    off = present - volts
    flow = _bipolars(layout, problem, volts, amps, slope)
    off_be, off_bc = off[:, diodes : diodes + transistors], off[:, diodes + transistors :]
    collector = flow.collector + flow.collector_be * off_be + flow.collector_bc * off_bc
    base = flow.base + flow.base_be * off_be + flow.base_bc * off_bc
    loads, load_amps, load_slope, load_cut = _loads(layout, problem, state)
    series = _base_siemens(devices, flow)
    on_volts, on_amps, residual = _supplies(layout, problem, state, aid)
    slopes = [slope[:, :diodes], flow.collector_be, flow.collector_bc, flow.base_be, flow.base_bc]
    slopes += [series, load_slope, on_volts, on_amps, aid.shunt]
    diode_amps = amps[:, :diodes] + slope[:, :diodes] * off[:, :diodes]
    currents = [diode_amps, collector, base, series * across(state.x, layout.base_pairs), load_amps, residual]
    after = State(state.x, volts, loads, state.modes)
    return Linearised(np.concatenate(slopes, axis=1), np.concatenate(currents, axis=1), after, cut | load_cut)


def _exponentials(layout: Layout, problem: Problem, volts: Floats) -> tuple[Floats, Floats]:
    devices = problem.devices
    amps, slope = junction(volts.take(layout.exponentials, axis=1), devices.saturation, devices.scale)
    if devices.recombination.at.size:
        recombination(volts, devices.recombination, amps, slope)
    if devices.knee.at.size:
        knee(devices.knee, amps, slope)
    if devices.breakdown.at.size:
        breakdown(volts, devices.saturation, devices.breakdown, amps, slope)
    # gmin across diodes, and across both junctions of a transistor as part of its leakage
    amps[:, layout.leaky] += problem.gmin * volts.take(layout.exponentials[layout.leaky], axis=1)
    slope[:, layout.leaky] += problem.gmin
    return amps, slope


def _bipolars(layout: Layout, problem: Problem, volts: Floats, amps: Floats, slope: Floats) -> BipolarCurrents:
    edges = [layout.diodes + at * layout.transistors for at in range(5)]
    be, bc, leak_be, leak_bc = ((amps[:, start:stop], slope[:, start:stop]) for start, stop in pairwise(edges))
    junctions = volts[:, edges[0] : edges[1]], volts[:, edges[1] : edges[2]]
    return terminal_currents(problem.devices.bipolar, junctions, (be, bc), (leak_be, leak_bc))


def _base_siemens(devices: Devices, flow: BipolarCurrents) -> Floats:
    base = devices.base
    if not base.at.size:
        return np.zeros((flow.charge.shape[0], 0))
    return base_conductance(base.least, base.extra, base.half_amps, flow.charge[:, base.at], flow.base[:, base.at])


def _loads(layout: Layout, problem: Problem, state: State) -> tuple[Floats, Floats, Floats, Bools]:
    if not state.loads.shape[1]:
        return state.loads, state.loads, state.loads, np.zeros(state.x.shape[0], dtype=bool)
    present = across(state.x, layout.load_pairs)
    volts = load_step(present, state.loads, problem.load_minimum)
    amps, slope = load_current(volts, problem.load_amps, problem.load_minimum)
    return volts, amps + slope * (present - volts), slope, np.asarray((volts != present).any(axis=1))


def _supplies(layout: Layout, problem: Problem, state: State, aid: Aid) -> tuple[Floats, Floats, Floats]:
    if not state.modes.shape[1]:
        none = np.zeros(state.modes.shape)
        return none, none, none
    on_volts, on_amps, right = supply_row(state.modes, problem.supply_volts * aid.scale, problem.supply_amps)
    amps = state.x[:, layout.first_supply : -1]
    residual = on_volts * across(state.x, layout.supply_pairs) + on_amps * amps - right
    return on_volts, on_amps, residual
