"""Keep the devices of a fleet's boards as a solve wanted them last, and make only those anew that changed since.

Most boards are as warm as they were a moment ago, and their trimmers stay where they are once they are set.
Arrays look like (boards, n) but lie in memory with boards last, which is how they are solved.
"""

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from .conditioned import Devices, Sites, devices_of, take_lanes
from .stock import Stock

__all__ = ["Ready"]

Floats = NDArray[np.float64]
Lanes = NDArray[np.intp]
Value = float | Floats
Thing = TypeVar("Thing")


class Ready:
    """The devices of all `boards` of a stock."""

    def __init__(self, stock: Stock, sites: Sites, boards: int) -> None:
        self._stock, self._sites, self._boards = stock, sites, boards
        self._devices: Devices | None = None
        self._names: tuple[str, ...] = ()
        self._conditions = np.empty((0, 0))  # (boards, 1 + parameters): degrees and parameters they were made for

    def devices(self, lanes: Lanes, parameters: Mapping[str, Value], heat: Floats) -> Devices:
        """Return the devices of some lanes in ascending order; they hold until the next call.

        Parameters are one value or an array (lanes,), `heat` is (1, 1) or (lanes, 1). Raises CircuitError as
        `devices_of` and `Stock.given` do.
        """
        rows = np.broadcast_arrays(heat[:, 0], *parameters.values(), np.empty(lanes.size))[:-1]
        wanted = np.stack(rows, axis=1)
        # Of a single board nobody can tell what would be the same on all.
        if self._devices is None or self._names != tuple(parameters) or self._boards == 1:
            self._make_all(lanes, tuple(parameters), wanted)
        else:
            self._renew(lanes, wanted)
        assert self._devices is not None
        return self._devices if lanes.size == self._boards else take_lanes(self._devices, lanes)

    def _make_all(self, lanes: Lanes, names: tuple[str, ...], wanted: Floats) -> None:
        """Make all boards' devices; those that are not wanted yet are made anew when they are."""
        every = np.repeat(wanted[:1], self._boards, axis=0)
        every[lanes] = wanted
        self._names = names
        self._devices = _turned(self._made(np.arange(self._boards), every))
        self._conditions = np.full_like(every, np.nan)
        self._conditions[lanes] = wanted

    def _renew(self, lanes: Lanes, wanted: Floats) -> None:
        changed = np.flatnonzero((self._conditions[lanes] != wanted).any(axis=1))
        if changed.size:
            at = lanes[changed]
            _put(self._devices, self._made(at, wanted[changed]), at)
            self._conditions[at] = wanted[changed]

    def _made(self, lanes: Lanes, conditions: Floats) -> Devices:
        parameters = dict(zip(self._names, conditions[:, 1:].T, strict=True))
        return devices_of(self._stock.given(lanes, parameters), self._sites, conditions[:, :1])


def _turned(thing: Thing) -> Thing:
    """Return a record whose (boards, n) arrays lie in memory with boards last."""
    if isinstance(thing, np.ndarray):
        laid: Any = np.array(thing, order="F")
        return laid  # type: ignore[no-any-return]  # an array in, an array out
    if is_dataclass(thing) and not isinstance(thing, type):
        return type(thing)(*(_turned(getattr(thing, field.name)) for field in fields(thing)))
    return thing


def _put(into: object, fresh: object, lanes: Lanes) -> None:
    """Put fresh rows in their place in a record; what is the same on all boards is so already."""
    if isinstance(into, np.ndarray):
        if into.ndim == 2 and into.shape[0] > 1:
            into[lanes] = fresh
    elif is_dataclass(into) and not isinstance(into, type):
        for field in fields(into):
            _put(getattr(into, field.name), getattr(fresh, field.name), lanes)
