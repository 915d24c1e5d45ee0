"""Choose where Newton's method begins: at a known operating point, near the nominal board, or at rest."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .ends import SupplyMode
from .junctions import Breakdown
from .layout import Layout
from .linearise import Problem, State, stretches
from .point import OperatingPoint
from .request import Request
from .sensitivity import Centre

__all__ = ["Led", "beginning"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Modes = NDArray[np.int8]


@dataclass(frozen=True)
class Led:
    """The centres that boards are led from, and which centre each board (B,) has; None where there is none."""

    centres: tuple[Centre | None, ...]
    which: NDArray[np.intp]

    def share(self, lanes: NDArray[np.intp] | slice) -> "Led":
        """Return what leads some of the boards."""
        return Led(self.centres, self.which[lanes])


def beginning(layouts: Sequence[Layout], request: Request, problem: Problem, led: Led | None) -> tuple[State, Bools]:
    """Return the state every board begins from, and which boards (B,) have one that is worth trying."""
    layout, settings, boards = layouts[0], request.settings, request.boards
    modes = np.where(settings.on, SupplyMode.VOLTAGE, SupplyMode.OFF).astype(np.int8)
    modes = np.repeat(modes, boards // modes.shape[0], axis=0)
    x, warm = np.zeros((boards, layout.size + 1)), np.zeros(boards, dtype=bool)
    start = request.start
    if start is not None:
        modes = _continued(x, warm, modes, start, settings.limits)
    elif led is not None:
        _led(x, warm, modes, request, led)
    unknowns = np.ascontiguousarray(x.T)  # boards last: rows are what is gathered from here on
    junctions = _junctions(layouts, problem, unknowns)
    if start is not None:
        _move_zeners(junctions, problem.devices.breakdown, start.knees)
    elif led is not None:
        _bend(junctions, warm, led, problem.devices.saturation)
    loads = unknowns[layout.load_pairs[0]] - unknowns[layout.load_pairs[1]]
    return State(unknowns.T, junctions.T, loads.T, modes), warm


def _junctions(layouts: Sequence[Layout], problem: Problem, unknowns: Floats) -> Floats:
    """Return the volts across junctions (J, boards)."""
    volts = np.empty((layouts[0].junction_sign.size, unknowns.shape[1]))
    for wiring, some in stretches(problem.wirings, unknowns.shape[1]):
        layout = layouts[wiring]
        volts[:, some] = unknowns[layout.junction_plus, some] - unknowns[layout.junction_minus, some]
        volts[:, some] *= layout.junction_sign[:, None]
    return volts


def _continued(x: Floats, warm: Bools, modes: Modes, start: OperatingPoint, limits: Floats) -> Modes:
    """Fill in an operating point; what is off now stays off, a supply without a limit cannot hold one."""
    x[:] = start.unknowns
    warm[:] = start.solved & np.isfinite(x).all(axis=1)
    x[~warm] = 0.0
    stays = warm[:, None] & (modes == SupplyMode.VOLTAGE) & (start.modes != SupplyMode.OFF)
    stays &= np.isfinite(limits) | (start.modes != SupplyMode.CURRENT)
    return np.where(stays, start.modes, modes)


def _led(x: Floats, warm: Bools, modes: Modes, request: Request, led: Led) -> None:
    for at, centre in enumerate(led.centres):
        boards = np.flatnonzero(led.which == at)
        if centre is not None and boards.size:
            everybody = request.parts.boards == 1 or boards.size == request.boards
            parts = request.parts if everybody else request.share(boards).parts
            x[boards] = centre.starts(parts)
            warm[boards] = np.isfinite(x[boards]).all(axis=1)
            modes[boards] = centre.modes
    x[~warm] = 0.0


def _bend(junctions: Floats, warm: Bools, led: Led, saturation: Floats) -> None:
    for at, centre in enumerate(led.centres):
        boards = np.flatnonzero(warm & (led.which == at))
        if centre is not None and boards.size:
            amps = saturation if saturation.shape[0] == 1 else saturation[boards]
            everybody = boards.size == warm.size
            bent = centre.bent(junctions if everybody else junctions[:, boards], amps)
            junctions[centre.forward[:, None], boards] = bent


def _move_zeners(junctions: Floats, breakdown: Breakdown, before: Floats) -> None:
    """Let a junction that was in breakdown begin as far past its new knee as it was past the old one.

    Else a knee that lies a tenth of a volt lower would throw the first step far out.
    """
    volts = junctions[breakdown.at]
    moved = volts - (breakdown.volts - before).T
    junctions[breakdown.at] = np.where(volts < -before.T, moved, volts)
