"""Solve a netlist's DC operating point, for any number of boards at once."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from .continuation import Found, Newton, find
from .devices import Devices, Workshop
from .elimination import elimination_order
from .ends import Ends, LoadEnd, MeterEnd, SupplyEnd, SupplySetting, load_current
from .errors import TopologyError
from .inventory import take_inventory, unread_parameters
from .layout import Layout, lay_out
from .linearise import Problem, across
from .netlist import Netlist
from .newton import linear_matrix, newton
from .parts import Parts, nominal_parts
from .point import OperatingPoint, joined
from .request import Request
from .sensitivity import Centre, centre_of, varied
from .settings import read_settings
from .starts import Led, beginning
from .topology import floating_nodes, refuse_source_loops

if TYPE_CHECKING:
    from .stamps import Stamps

__all__ = ["Circuit", "reached"]

Floats = NDArray[np.float64]
Value = float | Floats

# The matrix is dense: beyond this a single solution would take minutes.
_MOST_NODES = 3000
# From so many boards on, sparse matrices over all of them are quicker than a dense one for each.
_FEWEST_SPARSE = 12
# Boards solved at once: enough to hide the cost of a call, few enough for memory.
_MOST_AT_ONCE, _NUMBERS_AT_ONCE = 2048, 2**23
# Different conditions of one request that are led by a nominal board each; with more, boards start from rest.
_MOST_CENTRES = 32


class Circuit:
    """A netlist with the bench's ends on it, laid out once and solved as often as wanted.

    Raises TopologyError when it is made: for a loop of voltage sources, or a current source that
    feeds a node without a path to ground.
    """

    def __init__(
        self,
        netlist: Netlist,
        *,
        supplies: tuple[SupplyEnd, ...] = (),
        loads: tuple[LoadEnd, ...] = (),
        meters: tuple[MeterEnd, ...] = (),
    ) -> None:
        self.netlist = netlist
        self.ends = Ends(tuple(supplies), tuple(loads), tuple(meters))
        if not netlist.nodes:
            raise TopologyError(f"{netlist.name}: all elements are on ground; write nodes other than 0")
        refuse_source_loops(netlist, self.ends)
        floating = floating_nodes(netlist, self.ends)
        self.inventory = take_inventory(netlist)
        _refuse_large(netlist)
        self.layout = lay_out(netlist, self.inventory, self.ends, floating)
        self.warnings = (*netlist.warnings, *unread_parameters(netlist), *_floating_warning(netlist, floating))
        self.workshop = Workshop(netlist, self.inventory, tuple(end.ohms for end in self.ends.meters))
        self._nominal = nominal_parts(netlist)
        self._kept: tuple[object, Devices, Parts] | None = None
        self._usual: tuple[Stamps | None] | None = None
        self._sparse: tuple[Stamps | None, Centre | None] | None = None
        self._centres: dict[object, Centre | None] = {}

    def operating_point(
        self,
        *,
        parts: Parts | None = None,
        parameters: Mapping[str, Value] | None = None,
        supplies: Mapping[str, SupplySetting] | None = None,
        loads: Mapping[str, Value] | None = None,
        celsius: Value | None = None,
        start: OperatingPoint | None = None,
    ) -> OperatingPoint:
        """Return the operating point; every setting is one value or an array (B,).

        Supplies not named are off, loads not named draw nothing. `start` is an operating point of the
        same circuit to begin from; a start of another circuit is not used. Without a start, boards with
        spread parts begin from the nominal board under the same condition. All others, and boards that do
        not get there from where they begin, have their sources raised from zero as at power-up, and of two
        stable states get the one reached so. A dozen boards and more are solved another way than a few:
        the two agree within nanovolts, and each gives a board the same bits whatever stands beside it.
        Raises CircuitError for unknown names and arrays of different lengths.
        """
        heat = np.reshape(np.asarray(self.netlist.celsius if celsius is None else celsius, dtype=np.float64), (-1, 1))
        settings = read_settings(self.ends, supplies or {}, loads or {})
        start = start if start is not None and self._is_of(start) else None
        return self._answer(Request(parts or self._nominal, parameters or {}, heat, settings, start))

    def _answer(self, request: Request) -> OperatingPoint:
        """Solve few boards densely, many on sparse matrices if there is a safe order of elimination."""
        boards, led = request.boards, self._led(request)
        stamps = self._stamps(led) if boards >= _FEWEST_SPARSE else None
        if stamps is None:
            dense_way = partial(newton, self.layout)
            return self._shared(request, led, dense_way, self.layout.size**2, dense=True)
        from .sparse import lent, sparse_newton

        with lent(stamps) as benches:
            way = partial(sparse_newton, (self.layout,), benches)
            return self._shared(request, led, way, 8 * len(stamps.outer.cells), dense=False)

    def _shared(self, request: Request, led: Led | None, way: Newton, numbers: int, *, dense: bool) -> OperatingPoint:
        """Solve in shares of boards, each board taking about so many `numbers` while it is at work."""
        boards = request.boards
        share = min(_MOST_AT_ONCE, max(1, _NUMBERS_AT_ONCE // numbers))
        if boards <= share:
            return self._solved(request, led, way, dense=dense)
        edges = np.linspace(0, boards, -(-boards // share) + 1).astype(int)
        shares = [slice(int(start), int(stop)) for start, stop in pairwise(edges)]
        return joined([self._solved(request.share(s), led and led.share(s), way, dense=dense) for s in shares])

    def _solved(self, request: Request, led: Led | None, way: Newton, *, dense: bool) -> OperatingPoint:
        problem = self._problem(request, dense=dense)
        state, warm = beginning((self.layout,), request, problem, led)
        return reached((self.layout,), self.ends, problem, find((self.layout,), way, problem, state, warm))

    def _problem(self, request: Request, *, dense: bool) -> Problem:
        devices = self._devices(request.parts, request.parameters, request.heat)
        size, settings = self.layout.size, request.settings
        matrix = linear_matrix(self.layout, devices) if dense else np.zeros((1, size, size))
        minimum = np.array([[end.minimum_volts for end in self.ends.loads]])
        rows = settings.volts, settings.limits, settings.amps, minimum
        return Problem(devices, matrix, *rows, self.netlist.gmin)

    def _devices(self, parts: Parts, parameters: Mapping[str, Value], heat: Floats) -> Devices:
        key = (id(parts), {name: np.asarray(v).tobytes() for name, v in parameters.items()}, heat.tobytes())
        kept = self._kept
        if kept is None or kept[0] != key:
            # The parts are held so that their id stays their own; a local name, for another thread may solve too.
            kept = self._kept = (key, self.workshop.devices(parts, parameters, heat), parts)
        return kept[1]

    def _stamps(self, led: Led | None) -> "Stamps | None":
        """Return sparse patterns that suit the boards; None where no order of elimination is safe.

        They are made when first wanted, and once more for a condition whose nominal board they do not suit.
        """
        centre = led.centres[0] if led is not None and len(led.centres) == 1 else None
        kept = self._sparse
        if kept is None or kept[1] is not centre:
            from .sparse import is_safe  # scipy's sparse matrices are slow to import

            devices = self.workshop.devices(self._nominal, {}, np.full((1, 1), self.netlist.celsius))
            if self._usual is None:
                self._usual = (_patterns(self.layout, devices, None),)
            stamps = self._usual[0]
            if centre is not None and (stamps is None or not is_safe(stamps, devices.linear, centre.slopes)):
                stamps = _patterns(self.layout, devices, centre.slopes) or stamps
            kept = self._sparse = (stamps, centre)
        return kept[0]

    def _led(self, request: Request) -> Led | None:
        """Return the nominal boards that lead boards with spread parts, one under each condition."""
        keys = varied(request.parts)
        if request.start is not None or not keys:
            return None
        first, which = request.conditions()
        if first.size > _MOST_CENTRES:
            return None
        return Led(
            tuple(self._centre(request.of_conditions(first[at : at + 1]), keys) for at in range(first.size)), which
        )

    def _centre(self, condition: Request, keys: tuple[tuple[str, str], ...]) -> Centre | None:
        name = (keys, condition.name())
        if name not in self._centres:
            nominal = replace(condition, parts=self._nominal)
            point = self._solved(nominal, None, partial(newton, self.layout), dense=True)
            centre = None
            if point.solved[0]:
                centre = centre_of(
                    self.layout,
                    lambda parts: self._problem(replace(condition, parts=parts), dense=False),
                    keys,
                    point.unknowns[0],
                    point.modes[0],
                )
            if len(self._centres) >= _MOST_CENTRES:
                self._centres = {}
            self._centres[name] = centre
        return self._centres[name]

    def _is_of(self, point: OperatingPoint) -> bool:
        """Whether a point has this circuit's unknowns."""
        return (point.layout.names, point.layout.branches) == (self.layout.names, self.layout.branches)


def reached(layouts: Sequence[Layout], ends: Ends, problem: Problem, found: Found) -> OperatingPoint:
    """Return the operating point that lanes were led to; `layouts` hang on the same ends."""
    layout, state = layouts[0], found.state
    drawn, _ = load_current(across(state.x, layout.load_pairs), problem.load_amps, problem.load_minimum)
    rows = state.x, drawn, state.modes, found.restless, problem.devices.breakdown.volts
    return OperatingPoint(found.solved, layout, ends, *rows)


def _patterns(layout: Layout, devices: Devices, usual: Floats | None) -> "Stamps | None":
    from .stamps import stamps_of

    order = elimination_order((layout,), (devices.linear,), usual)
    counts = devices.linear.shape[1], devices.sources.shape[1]
    return None if order is None else stamps_of((layout,), order, *counts)


def _refuse_large(netlist: Netlist) -> None:
    if len(netlist.nodes) > _MOST_NODES:
        what = f"{netlist.name} has {len(netlist.nodes)} nodes, the solver takes {_MOST_NODES} at most"
        raise TopologyError(f"{what}; give it one board at a time")


def _floating_warning(netlist: Netlist, floating: tuple[str, ...]) -> list[str]:
    if not floating:
        return []
    parts = ", ".join(element.name for element in netlist.elements if set(element.nodes) & set(floating))
    nodes = ", ".join(floating)
    return [f"{netlist.name}: no DC path to ground from {nodes} (on {parts}); held there by {netlist.gmin:g} S"]
