"""Hold what one solve is asked for: parts, parameters, temperature, the bench's settings, where to begin.

Everything is for one board or for as many as there are; a request for thousands is cut into shares,
and boards that differ only in their parts are told by the conditions they have in common.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .parts import Parts
from .point import OperatingPoint
from .settings import Settings, board_count

__all__ = ["Request"]

Floats = NDArray[np.float64]
Value = float | Floats
Lanes = NDArray[np.intp]
Share = Lanes | slice


@dataclass(frozen=True)
class Request:
    """What a solve is asked for; `heat` is (1, 1) or (boards, 1) degrees Celsius."""

    parts: Parts
    parameters: Mapping[str, Value]
    heat: Floats
    settings: Settings
    start: OperatingPoint | None = None

    @property
    def boards(self) -> int:
        """Number of boards; CircuitError where lengths do not go together."""
        start = 1 if self.start is None else self.start.solved.size
        sizes = [np.size(value) for value in self.parameters.values()]
        return board_count([start, self.parts.boards, self.heat.shape[0], *sizes, *self.settings.lengths()])

    def share(self, lanes: Share) -> "Request":
        """Return the request of some of its boards."""
        parts = self.parts
        if parts.boards > 1:
            factors = {key: factor[lanes] for key, factor in parts.factors.items()}
            parts = Parts(np.arange(parts.boards)[lanes].size, factors)
        common = self.of_conditions(lanes)
        return replace(common, parts=parts, start=None if self.start is None else self.start.share(lanes))

    def of_conditions(self, lanes: Share) -> "Request":
        """Return a request for nominal boards under the conditions of some of its boards."""
        parameters = {name: _cut(np.asarray(value), lanes) for name, value in self.parameters.items()}
        settings = self.settings
        rows = (settings.volts, settings.limits, settings.on, settings.amps)
        cut = Settings(*(_cut(row, lanes) for row in rows))
        return Request(Parts(1), parameters, _cut(self.heat, lanes), cut)

    def name(self) -> object:
        """Return what tells one condition from another."""
        settings = self.settings
        rows = (self.heat, settings.volts, settings.limits, settings.on, settings.amps)
        return tuple(row.tobytes() for row in rows), tuple(
            (k, np.asarray(v).tobytes()) for k, v in self.parameters.items()
        )

    def conditions(self, apart: Lanes | None = None) -> tuple[Lanes, Lanes]:
        """Return a board of each different condition, and which condition each board (B,) is under.

        Boards of different numbers in `apart` (B,) are kept apart, conditions then being in the order of these.
        """
        settings = self.settings
        rows = [self.heat, settings.volts, settings.limits, settings.on, settings.amps]
        rows += [np.reshape(np.asarray(value, dtype=np.float64), (-1, 1)) for value in self.parameters.values()]
        rows = rows if apart is None else [apart[:, None], *rows]
        varied = [row.astype(np.float64) for row in rows if row.shape[0] > 1]
        if not varied:
            return np.zeros(1, dtype=np.intp), np.zeros(self.boards, dtype=np.intp)
        _, first, which = np.unique(np.concatenate(varied, axis=1), axis=0, return_index=True, return_inverse=True)
        return first, which.reshape(-1)


def _cut(row: NDArray, lanes: Share) -> NDArray:  # type: ignore[type-arg]  # floats or bools, as they came
    return row if row.ndim == 0 or row.shape[0] == 1 else row[lanes]
