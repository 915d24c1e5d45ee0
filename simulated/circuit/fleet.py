"""Solve boards with different faults together: each fault is a wiring of its own, all share one elimination.

A fleet's boards are its lanes. What it has made once (frame, patterns, scripts) lives as long as it does,
and every lane goes on from where its own last solution stood.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from .benches import Benches
from .conditioned import Devices, devices_of
from .continuation import Newton, find
from .elimination import elimination_order
from .ends import SupplyMode, SupplySetting
from .errors import CircuitError
from .fleet_point import FleetPoint, Nodes
from .frame import Frame, columns_of, frame_of
from .linearise import Problem
from .newton import newton_by_wiring
from .parts import Parts
from .point import OperatingPoint, joined
from .ready import Ready
from .request import Request
from .settings import read_settings
from .solve import Circuit, reached
from .sparse import sparse_newton
from .stamps import stamps_of
from .starts import beginning
from .stock import Stock

__all__ = ["Fleet"]

Floats = NDArray[np.float64]
Lanes = NDArray[np.intp]
Value = float | Floats

_MOST_AT_ONCE = 4096
# Boards at rest are led by the nominal board of their wiring where so many of them share a condition.
_WORTH_LEADING = 4
_LEADING_DIGITS = 2  # in which the volts and amps of the bench are alike, for boards that are led together
# Volts or amps of a netlist's own sources, such as offsets, that a board with all supplies off hardly feels.
_NEXT_TO_NOTHING = 0.1


class Fleet:
    """Boards of several circuits between the same bench ends: those of the first circuit, then of the second...

    Circuits should be one board with a fault in it each: the more they have in common, the quicker. Raises
    CircuitError when it is made for circuits between different ends.
    """

    def __init__(self, circuits: Sequence[Circuit], parts: Sequence[Parts]) -> None:
        _refuse_different(circuits, parts)
        self.circuits, self.parts = tuple(circuits), tuple(parts)
        self.wirings = np.repeat(np.arange(len(parts)), [each.boards for each in parts])  # of each lane
        self.frame = _frame(circuits)
        self._nodes = Nodes(self.circuits, self.frame)
        self._models = Stock(self.frame, self.circuits, [Parts(1)] * len(circuits))  # a nominal board of each wiring
        self._ready = Ready(Stock(self.frame, self.circuits, self.parts), self.frame.sites, self.wirings.size)
        heat = np.array([[each.netlist.celsius] for each in circuits])
        nominal = devices_of(self._models.given(np.arange(len(circuits)), {}), self.frame.sites, heat)
        self._way = _way(self.frame, nominal.linear)
        quiet = (np.abs(nominal.sources) < _NEXT_TO_NOTHING).all(axis=1)
        self._passive = np.broadcast_to(quiet, len(circuits))  # wirings that only supplies power
        self._last = self._resting()

    @property
    def lanes(self) -> int:
        """Number of boards."""
        return int(self.wirings.size)

    def forget(self, lanes: Lanes | slice = slice(None)) -> None:
        """Let boards begin from rest when they are solved next, as after their power was off."""
        self._last.solved[lanes] = False

    def solve(
        self,
        lanes: Lanes,
        *,
        parameters: Mapping[str, Value] | None = None,
        supplies: Mapping[str, SupplySetting] | None = None,
        loads: Mapping[str, Value] | None = None,
        celsius: Value | None = None,
    ) -> FleetPoint:
        """Return the operating point of some lanes; every setting is one value or an array (lanes,), in their order.

        Each lane begins from its own last solution. One that has none begins from the nominal board of its wiring
        where several share a condition, else its sources are raised from zero, as they are for lanes that do not
        get there from where they begin; what `Circuit.operating_point` says of two states holds. A lane with all
        supplies off begins from zero. Raises CircuitError for unknown names and arrays of different lengths.
        """
        heat = np.asarray(self.circuits[0].netlist.celsius if celsius is None else celsius, dtype=np.float64)
        settings = read_settings(self.circuits[0].ends, supplies or {}, loads or {})
        request = Request(Parts(lanes.size), parameters or {}, np.reshape(heat, (-1, 1)), settings)
        _refuse_doubtful(lanes, self.lanes, request)
        order = np.argsort(lanes)
        request, lanes = request.of_conditions(order), lanes[order]
        start = _some(self._last, lanes)
        self._put_out(start, self.wirings[lanes], request)
        cold = np.flatnonzero(~start.solved)
        if cold.size:
            self._lead(start, cold, self.wirings[lanes[cold]], request.of_conditions(cold))
        edges = np.linspace(0, lanes.size, -(-lanes.size // _MOST_AT_ONCE) + 1).astype(int)
        shares = [np.arange(first, last) for first, last in pairwise(edges)]
        found = joined([self._solved(lanes[at], request.of_conditions(at), start.share(at)) for at in shares])
        back = np.argsort(order)
        return FleetPoint(self._nodes, self.wirings[lanes[back]], found.share(back))

    def _solved(self, lanes: Lanes, request: Request, start: OperatingPoint) -> OperatingPoint:
        """Solve lanes in ascending order, and remember where they stand."""
        devices = self._ready.devices(lanes, request.parameters, request.heat)
        point = self._found(devices, self.wirings[lanes], replace(request, parts=Parts(lanes.size), start=start))
        for name in ("solved", "unknowns", "modes", "knees"):
            getattr(self._last, name)[lanes] = getattr(point, name)
        return point

    def _put_out(self, start: OperatingPoint, wirings: Lanes, request: Request) -> None:
        """Let boards that nothing powers any more begin at zero: they are next to it, wherever they stood."""
        on = request.settings.on
        if on.shape[1]:
            out = ~on.any(axis=1) & self._passive[wirings]
            start.solved[out], start.unknowns[out], start.modes[out] = True, 0.0, SupplyMode.OFF

    def _lead(self, start: OperatingPoint, cold: Lanes, wirings: Lanes, request: Request) -> None:
        """Let lanes `cold` of a start begin at nominal boards, if these are few."""
        request = replace(request, parts=Parts(cold.size))
        first, which = _rounded(request).conditions(wirings)
        if first.size * _WORTH_LEADING > cold.size:
            return
        settings = replace(request.of_conditions(first), parts=Parts(first.size))
        given = self._models.given(wirings[first], settings.parameters)
        devices = devices_of(given, self.frame.sites, settings.heat)
        point = joined([self._found(devices, wirings[first], settings)])
        for name in ("solved", "unknowns", "modes", "knees"):
            getattr(start, name)[cold] = getattr(point, name)[which]

    def _found(self, devices: Devices, wirings: Lanes, request: Request) -> OperatingPoint:
        """Solve boards of these devices; `wirings` (B,) ascend."""
        layouts, first, settings = self.frame.layouts, self.circuits[0], request.settings
        minimum = np.array([[end.minimum_volts for end in first.ends.loads]])
        rows = settings.volts, settings.limits, settings.amps, minimum
        problem = Problem(devices, np.zeros((1, 0, 0)), *rows, first.netlist.gmin, wirings[:, None])
        state, warm = beginning(layouts, request, problem, None)
        return reached(layouts, first.ends, problem, find(layouts, self._way, problem, state, warm))

    def _resting(self) -> OperatingPoint:
        lanes, layout, ends = self.lanes, self.frame.layouts[0], self.circuits[0].ends
        return OperatingPoint(
            solved=np.zeros(lanes, dtype=bool),
            layout=layout,
            ends=ends,
            unknowns=np.zeros((lanes, layout.size + 1)),
            loads=np.zeros((lanes, len(ends.loads))),
            modes=np.full((lanes, len(ends.supplies)), SupplyMode.OFF, dtype=np.int8),
            restless=np.zeros(lanes, dtype=np.intp),
            knees=np.zeros((lanes, self.frame.sites.zeners.size)),
        )


def _some(point: OperatingPoint, lanes: Lanes) -> OperatingPoint:
    """Return a copy of some lanes of a point."""
    rows = point.unknowns[lanes], point.loads[lanes], point.modes[lanes], point.restless[lanes], point.knees[lanes]
    return OperatingPoint(point.solved[lanes], point.layout, point.ends, *rows)


def _rounded(request: Request) -> Request:
    """Return a request whose volts and amps are rounded, so that conditions next to each other are one."""
    settings = request.settings
    volts, amps = (_of_few_digits(row) for row in (settings.volts, settings.amps))
    return replace(request, settings=replace(settings, volts=volts, amps=amps))


def _of_few_digits(values: Floats) -> Floats:
    with np.errstate(divide="ignore"):
        steps = 10.0 ** (np.floor(np.log10(np.abs(values))) - (_LEADING_DIGITS - 1))
    return np.where(values == 0.0, 0.0, np.round(values / np.where(steps > 0.0, steps, 1.0)) * steps)


def _frame(circuits: Sequence[Circuit]) -> Frame:
    columns = [columns_of(each.layout, each.inventory, each.ends) for each in circuits]
    return frame_of([each.layout for each in circuits], columns, [each.workshop.sites for each in circuits])


def _way(frame: Frame, linear: Floats) -> Newton:
    """Return how a fleet's boards are solved; `linear` are the nominal values of each wiring (wirings, n)."""
    order = elimination_order(frame.layouts, [row[None] for row in linear])
    if order is None:
        return partial(newton_by_wiring, frame.layouts)
    stamps = stamps_of(frame.layouts, order, linear.shape[1], frame.counts["volts"] + frame.counts["amps"])
    return partial(sparse_newton, frame.layouts, Benches(stamps))


def _refuse_different(circuits: Sequence[Circuit], parts: Sequence[Parts]) -> None:
    if not circuits or len(circuits) != len(parts):
        raise CircuitError(f"{len(circuits)} circuits and {len(parts)} sets of parts; give one set for each circuit")
    for circuit in circuits:
        if circuit.ends != circuits[0].ends:
            raise CircuitError(f"{circuit.netlist.name} hangs on other ends than the first circuit; give all the same")


def _refuse_doubtful(lanes: Lanes, known: int, request: Request) -> None:
    if lanes.size == 0 or lanes.min() < 0 or lanes.max() >= known or np.unique(lanes).size != lanes.size:
        raise CircuitError(f"lanes {lanes} are not lanes 0 to {known - 1}, each once; give some of these")
    if request.boards != lanes.size:
        raise CircuitError(f"settings are for {request.boards} boards and there are {lanes.size} lanes; give one each")
