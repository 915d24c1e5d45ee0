"""Give circuits that differ by a fault the same unknowns and the same devices, so that they are solved together.

What only some circuits have shares spare columns: an unknown that a circuit lacks is tied to zero by an
equation of its own, a device that it lacks is connected to nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from .conditioned import Sites
from .ends import Ends
from .inventory import Inventory
from .layout import Layout, exponential_places, leaky_places
from .netlist import Element

__all__ = ["Columns", "Frame", "Seat", "columns_of", "frame_of"]

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
Array = TypeVar("Array", Floats, Places)


@dataclass(frozen=True)
class Columns:
    """The names of what a circuit has, kind by kind, in the order of its layout; `branches` without supplies."""

    nodes: tuple[str, ...]
    branches: tuple[str, ...]
    resistors: tuple[str, ...]
    gains: tuple[str, ...]
    volts: tuple[str, ...]
    amps: tuple[str, ...]
    diodes: tuple[str, ...]
    bipolars: tuple[str, ...]


@dataclass(frozen=True)
class Seat:
    """Where a circuit's columns are in the frame; `unknowns` with ground at the end, `kinds` by kind of device."""

    unknowns: Places
    kinds: Mapping[str, Places]
    linear: Places
    sources: Places
    bases: Places
    zeners: Places
    junctions: Places


@dataclass(frozen=True)
class Frame:
    """The common columns of several circuits: the layout of each in them, and where each has its own.

    `counts` are the columns of each kind; `sites` are those that are such on any circuit.
    """

    layouts: tuple[Layout, ...]
    seats: tuple[Seat, ...]
    counts: Mapping[str, int]
    sites: Sites


def columns_of(layout: Layout, inventory: Inventory, ends: Ends) -> Columns:
    """Return the names of what a circuit has."""
    return Columns(
        nodes=layout.names,
        branches=layout.branches[: len(layout.branches) - len(ends.supplies)],
        resistors=_names(inventory.resistors),
        gains=_names(inventory.controlled),
        volts=_names(inventory.volts),
        amps=_names(inventory.amps),
        diodes=_names(inventory.diodes),
        bipolars=_names(inventory.bipolars),
    )


def _names(elements: Sequence[Element]) -> tuple[str, ...]:
    return tuple(element.name for element in elements)


def frame_of(layouts: Sequence[Layout], columns: Sequence[Columns], sites: Sequence[Sites]) -> Frame:
    """Return the frame of circuits between the same ends; `sites` are each one's own."""
    kinds = {kind: _seated([getattr(each, kind) for each in columns]) for kind in Columns.__annotations__}
    counts = {kind: most for kind, (most, _) in kinds.items()}
    shared, places = dict[str, Places](), dict[str, list[Places]]()
    for name in _SITES:
        kind = "bipolars" if name in _OF_BIPOLARS else "diodes"
        shared[name], places[name] = _together([getattr(each, name) for each in sites], kinds[kind][1])
    every = Sites(**shared, meters=sites[0].meters, nominal_celsius=sites[0].nominal_celsius)
    seats, supplies = list[Seat](), layouts[0].supply_pairs[0].size
    for at in range(len(layouts)):
        own = {kind: seated[at] for kind, (_, seated) in kinds.items()}
        seats.append(_seat(own, {name: some[at] for name, some in places.items()}, counts, every, supplies))
    aligned = [_aligned(layout, seat, counts, every, layouts[0]) for layout, seat in zip(layouts, seats, strict=True)]
    return Frame(tuple(aligned), tuple(seats), counts, every)


_OF_BIPOLARS = ("base_fixed", "base_varying", "collector_series", "emitter_series")
_SITES = (*_OF_BIPOLARS, "diode_series", "zeners", "kneed", "recombining")


def _seat(
    kinds: Mapping[str, Places], places: Mapping[str, Places], counts: Mapping[str, int], sites: Sites, supplies: int
) -> Seat:
    """Return where a circuit's columns are, from where those of each kind and site are."""

    def kind(name: str) -> tuple[Places, int]:
        return kinds[name], counts[name]

    def site(name: str) -> tuple[Places, int]:
        return places[name], getattr(sites, name).size

    series = [site(name) for name in ("diode_series", "base_fixed", "collector_series", "emitter_series")]
    meters, behind = sites.meters.size, supplies + 1  # supplies, ground
    return Seat(
        unknowns=_behind(kind("nodes"), kind("branches"), (np.arange(behind), behind)),
        kinds=kinds,
        linear=_behind(kind("resistors"), *series, (np.arange(meters), meters), kind("gains")),
        sources=_behind(kind("volts"), kind("amps")),
        bases=places["base_varying"],
        zeners=places["zeners"],
        junctions=_behind(kind("diodes"), kind("bipolars"), kind("bipolars")),
    )


def _together(own: Sequence[Places], seats: Sequence[Places]) -> tuple[Places, list[Places]]:
    """Return the columns that any circuit has of its own, and where among them each one's are."""
    moved = [seat[at] for seat, at in zip(seats, own, strict=True)]
    every = np.unique(np.concatenate(moved))
    return every, [np.searchsorted(every, at) for at in moved]


def _seated(lists: Sequence[tuple[str, ...]]) -> tuple[int, list[Places]]:
    """Return how many columns there are, and where each list's names are: at the first list's, else at a spare one."""
    known = {name: at for at, name in enumerate(lists[0])}
    seats, most = [], len(known)
    for names in lists:
        free = iter(range(len(known), len(known) + len(names)))
        seats.append(np.array([known[name] if name in known else next(free) for name in names], dtype=np.intp))
        most = max(most, next(free, most)) if len(names) else most
    return most, seats


def _behind(*blocks: tuple[Places, int]) -> Places:
    """Return places in blocks that stand one behind the other, each so long as its number says."""
    starts = np.cumsum([0, *(length for _, length in blocks)])
    return np.concatenate([at + start for (at, _), start in zip(blocks, starts, strict=False)]).astype(np.intp)


def _aligned(layout: Layout, seat: Seat, counts: Mapping[str, int], sites: Sites, first: Layout) -> Layout:
    """Return a circuit's layout in the columns of the frame."""
    columns, supplies, loads = seat.unknowns, layout.supply_pairs[0].size, layout.load_pairs[0].size
    diodes, transistors = counts["diodes"], counts["bipolars"]
    size, junctions = counts["nodes"] + counts["branches"] + supplies, diodes + 2 * transistors
    d, t, b = (
        (seat.kinds["diodes"], diodes),
        (seat.kinds["bipolars"], transistors),
        (seat.bases, sites.base_varying.size),
    )
    lo, su, nodes = (np.arange(loads), loads), (np.arange(supplies), supplies), columns[: len(layout.names)]
    slopes = _behind(d, t, t, t, t, b, lo, su, su, (nodes, counts["nodes"]))
    rows, cells = columns[:-1], _cells(columns[:-1], size)
    own = first.branches[: len(first.branches) - supplies]
    return Layout(
        names=_spared(first.names, counts["nodes"]),
        branches=_spared(own, counts["branches"]) + layout.branches[len(layout.branches) - supplies :],
        fixed=_fixed(layout, rows, size),
        linear=layout.linear.moved(seat.linear, cells),
        sources=layout.sources.moved(seat.sources, rows),
        slopes=layout.slopes.moved(slopes, cells),
        currents=layout.currents.moved(_behind(d, t, t, b, lo, su), rows),
        junction_plus=_filled(columns[layout.junction_plus], seat.junctions, np.full(junctions, size, dtype=np.intp)),
        junction_minus=_filled(columns[layout.junction_minus], seat.junctions, np.full(junctions, size, dtype=np.intp)),
        junction_sign=_filled(layout.junction_sign, seat.junctions, np.ones(junctions)),
        exponentials=exponential_places(diodes, transistors),
        leaky=leaky_places(diodes, transistors),
        diodes=diodes,
        transistors=transistors,
        base_pairs=_pair(layout.base_pairs, columns, *b),
        load_pairs=_pair(layout.load_pairs, columns, *lo),
        supply_pairs=_pair(layout.supply_pairs, columns, *su),
        first_supply=size - supplies,
    )


def _spared(own: tuple[str, ...], count: int) -> tuple[str, ...]:
    return own + tuple(f"spare {at}" for at in range(count - len(own)))


def _cells(columns: Places, size: int) -> Places:
    """Return where each cell of a circuit's matrix is in the frame's."""
    return (columns[:, None] * size + columns).reshape(-1)


def _fixed(layout: Layout, columns: Places, size: int) -> Floats:
    """Return what no value changes; an unknown that the circuit lacks is zero by an equation of its own."""
    fixed = np.eye(size)
    fixed[columns, columns] = 0.0
    fixed[np.ix_(columns, columns)] = layout.fixed
    return fixed


def _filled(values: Array, at: Places, into: Array) -> Array:
    into[at] = values
    return into


def _pair(pair: tuple[Places, Places], columns: Places, at: Places, count: int) -> tuple[Places, Places]:
    ground = np.full(count, columns[-1], dtype=np.intp)
    return _filled(columns[pair[0]], at, ground.copy()), _filled(columns[pair[1]], at, ground)
