"""Gather the devices of boards that are wired in several ways into the columns of their frame.

A device that a board lacks is filled in with numbers that do no harm; it is connected to nothing.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .bipolar import BipolarModel
from .devices import BaseResistance, Devices
from .frame import Frame, Seat
from .junctions import Breakdown, Knee, Recombination

__all__ = ["Piece", "gathered"]

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
Fills = Mapping[str, float]

# What stands where a board has no such device; knees and edges it never reaches.
_EXPONENTIAL: Fills = {"saturation": 1e-16, "scale": 0.025}
_JUNCTION: Fills = {"step_scale": 0.025, "critical": 0.6}
_BIPOLAR: Fills = {
    "forward_gain": 1.0,
    "reverse_gain": 1.0,
    "inverse_early_forward": 0.0,
    "inverse_early_reverse": 0.0,
    "inverse_knee_forward": 0.0,
    "inverse_knee_reverse": 0.0,
    "knee_power": 0.5,
}
_BASE: Fills = {"least": 1.0, "extra": 0.0, "half_amps": 0.0}
_BREAKDOWN: Fills = {"volts": 1e6, "scale": 0.025}
_KNEE: Fills = {"amps": np.inf}
_RECOMBINATION: Fills = {"amps": 0.0, "scale": 0.05, "barrier": 1.0, "grading": 0.5, "edge": np.inf}


@dataclass(frozen=True)
class Piece:
    """The devices of a stretch of lanes, all of one circuit."""

    seat: Seat
    devices: Devices
    lanes: slice


Chosen = Callable[[Piece], object]  # a record of a piece's devices
Seats = Callable[[Piece], Places]  # where its columns go


def gathered(frame: Frame, pieces: Sequence[Piece]) -> Devices:
    """Return the devices of all lanes, which the pieces cover."""
    layout, rows = frame.layouts[0], partial(_rows, pieces)
    junctions, transistors = layout.junction_sign.size, layout.transistors
    bases = rows(lambda p: p.devices.base, _BASE, lambda p: p.seat.bases, frame.bases.size)
    zeners = rows(lambda p: p.devices.breakdown, _BREAKDOWN, lambda p: p.seat.zeners, frame.zeners.size)
    return Devices(
        **rows(lambda p: p.devices, {"linear": 0.0}, lambda p: p.seat.linear, frame.linear_count),
        **rows(lambda p: p.devices, {"sources": 0.0}, lambda p: p.seat.sources, frame.source_count),
        **rows(lambda p: p.devices, _EXPONENTIAL, lambda p: p.seat.exponentials, layout.exponentials.size),
        **rows(lambda p: p.devices, _JUNCTION, lambda p: p.seat.junctions, junctions),
        bipolar=BipolarModel(**rows(lambda p: p.devices.bipolar, _BIPOLAR, lambda p: p.seat.transistors, transistors)),
        base=BaseResistance(frame.bases, **bases),
        breakdown=Breakdown(frame.zeners, **zeners),
        knee=Knee(*_some(pieces, lambda p: p.devices.knee, _KNEE)),
        recombination=Recombination(*_some(pieces, lambda p: p.devices.recombination, _RECOMBINATION)),
    )


def _some(pieces: Sequence[Piece], chosen: Callable[[Piece], Knee | Recombination], fills: Fills) -> list[Any]:
    """Return a record of those diodes that need it on any lane: their columns, then its fields."""
    every = [piece.seat.diodes[chosen(piece).at] for piece in pieces]
    places = np.unique(np.concatenate(every))
    rows = _rows(pieces, chosen, fills, lambda p: np.searchsorted(places, p.seat.diodes[chosen(p).at]), places.size)
    return [places, *rows.values()]


def _rows(pieces: Sequence[Piece], chosen: Chosen, fills: Fills, seats: Seats, width: int) -> dict[str, Floats]:
    """Return fields of a record by name, (lanes, width)."""
    lanes, places = pieces[-1].lanes.stop, [seats(piece) for piece in pieces]
    found = {}
    for name, fill in fills.items():
        into = np.full((width, lanes), fill)  # lanes last in memory: that is how they are worked on
        for at, piece in zip(places, pieces, strict=True):
            into[at, piece.lanes] = getattr(chosen(piece), name).T
        found[name] = into.T
    return found
