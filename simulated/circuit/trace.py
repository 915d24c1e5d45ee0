"""Keep what nodes did while time went on, and read it between the points."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = ["Recorder", "Trace"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Trace:
    """Times (T,) from the start of the run, and volts (B, T, nodes) of the nodes that were watched."""

    nodes: tuple[str, ...]
    seconds: Floats
    volts: Floats

    def at(self, seconds: Sequence[float] | Floats) -> Floats:
        """Return volts (B, len(seconds), nodes) between the points, on cubics that do not overshoot them."""
        wanted = np.asarray(seconds, dtype=np.float64)
        first = np.clip(np.searchsorted(self.seconds, wanted, side="right") - 1, 0, max(self.seconds.size - 2, 0))
        if self.seconds.size < 2:
            return self.volts[:, first]
        h = np.diff(self.seconds)[:, None]
        slopes = np.diff(self.volts, axis=1) / h
        tangents = _tangents(slopes, h)
        s = ((wanted - self.seconds[first]) / h[first, 0])[:, None]
        secant, begin, end = slopes[:, first], tangents[:, first], tangents[:, first + 1]
        bent = (1.0 - s) * (begin - secant) - s * (end - secant)
        return np.asarray(self.volts[:, first] + h[first] * s * (secant + (1.0 - s) * bent))


def _tangents(slopes: Floats, h: Floats) -> Floats:
    """Return slopes at the points (B, T, nodes): weighted harmonic means, and none at a peak (Fritsch and Butland)."""
    before, after = slopes[:, :-1], slopes[:, 1:]
    weight_before, weight_after = 2.0 * h[1:] + h[:-1], h[1:] + 2.0 * h[:-1]
    same = before * after > 0.0
    inverse = weight_before / np.where(same, before, 1.0) + weight_after / np.where(same, after, 1.0)
    mean = (weight_before + weight_after) / inverse
    return np.concatenate([slopes[:, :1], np.where(same, mean, 0.0), slopes[:, -1:]], axis=1)


@dataclass
class Recorder:
    """Gathers a trace point by point."""

    nodes: tuple[str, ...]
    seconds: list[float] = field(default_factory=list)
    volts: list[Floats] = field(default_factory=list)

    def note(self, seconds: float, volts: Sequence[Floats]) -> None:
        """Add a point: each node's volts, (B,)."""
        self.seconds.append(seconds)
        if self.nodes:
            self.volts.append(np.stack(volts, axis=1))

    def trace(self) -> Trace:
        """Return what was gathered."""
        none = np.zeros((0, len(self.seconds), 0))
        return Trace(self.nodes, np.array(self.seconds), np.stack(self.volts, axis=1) if self.nodes else none)
