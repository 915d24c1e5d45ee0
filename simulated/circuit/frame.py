"""Give circuits that differ by a fault the same unknowns and the same devices, so that they are solved together.

What only some circuits have shares spare columns: an unknown that a circuit lacks is tied to zero by an
equation of its own, a device that it lacks is connected to nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from .ends import Ends
from .inventory import Inventory
from .layout import Layout, exponential_places, leaky_places

__all__ = ["Columns", "Frame", "Seat", "columns_of", "frame_of"]

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
Array = TypeVar("Array", Floats, Places)


@dataclass(frozen=True)
class Columns:
    """The names of what a circuit has, kind by kind, in the order of its layout; `branches` without supplies."""

    nodes: tuple[str, ...]
    branches: tuple[str, ...]
    linear: tuple[str, ...]
    sources: tuple[str, ...]
    diodes: tuple[str, ...]
    transistors: tuple[str, ...]


@dataclass(frozen=True)
class Seat:
    """Where a circuit's columns are in the frame; `unknowns` with ground at the end."""

    unknowns: Places
    linear: Places
    sources: Places
    diodes: Places
    transistors: Places
    bases: Places
    zeners: Places
    junctions: Places
    exponentials: Places


@dataclass(frozen=True)
class Frame:
    """The common columns of several circuits: the layout of each in them, and where each has its own.

    `bases` are the transistors whose base resistance varies in any circuit, `zeners` diodes that break down.
    """

    layouts: tuple[Layout, ...]
    seats: tuple[Seat, ...]
    linear_count: int
    source_count: int
    bases: Places
    zeners: Places


def columns_of(layout: Layout, inventory: Inventory, ends: Ends) -> Columns:
    """Return the names of what a circuit has."""
    series = (
        ("a", inventory.diodes, inventory.diode_series),
        ("b", inventory.bipolars, inventory.base_fixed),
        ("c", inventory.bipolars, inventory.collector_series),
        ("e", inventory.bipolars, inventory.emitter_series),
    )
    linear = [element.name for element in inventory.resistors]
    linear += [f"{devices[column].name}#{pin}" for pin, devices, columns in series for column in columns]
    linear += [f"meter {end.name}" for end in ends.meters]
    return Columns(
        nodes=layout.names,
        branches=layout.branches[: len(layout.branches) - len(ends.supplies)],
        linear=(*linear, *(element.name for element in inventory.controlled)),
        sources=tuple(element.name for element in (*inventory.volts, *inventory.amps)),
        diodes=tuple(element.name for element in inventory.diodes),
        transistors=tuple(element.name for element in inventory.bipolars),
    )


def frame_of(
    layouts: Sequence[Layout], columns: Sequence[Columns], bases: Sequence[Places], zeners: Sequence[Places]
) -> Frame:
    """Return the frame of circuits between the same ends; `bases` and `zeners` are each one's own."""
    kinds = {kind: _seated([getattr(each, kind) for each in columns]) for kind in Columns.__annotations__}
    count = {kind: most for kind, (most, _) in kinds.items()}
    every_base, base_at = _together(bases, kinds["transistors"][1])
    every_zener, zener_at = _together(zeners, kinds["diodes"][1])
    behind = layouts[0].supply_pairs[0].size + 1  # supplies, ground
    seats = []
    for at in range(len(layouts)):
        node, branch, linear, source, d, t = ((own[at], most) for most, own in kinds.values())
        unknowns = _behind(node, branch, (np.arange(behind), behind))
        own = linear[0], source[0], d[0], t[0], base_at[at], zener_at[at]
        seats.append(Seat(unknowns, *own, _behind(d, t, t), _behind(d, t, t, t, t)))
    counts = _Counts(count["nodes"], count["branches"], count["diodes"], count["transistors"], every_base.size)
    aligned = [_aligned(layout, seat, counts, layouts[0]) for layout, seat in zip(layouts, seats, strict=True)]
    return Frame(tuple(aligned), tuple(seats), count["linear"], count["sources"], every_base, every_zener)


def _together(own: Sequence[Places], seats: Sequence[Places]) -> tuple[Places, list[Places]]:
    """Return the columns that any circuit has of its own, and where among them each one's are."""
    moved = [seat[at] for seat, at in zip(seats, own, strict=True)]
    every = np.unique(np.concatenate(moved))
    return every, [np.searchsorted(every, at) for at in moved]


@dataclass(frozen=True)
class _Counts:
    nodes: int
    branches: int  # without supplies
    diodes: int
    transistors: int
    bases: int


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


def _aligned(layout: Layout, seat: Seat, counts: _Counts, first: Layout) -> Layout:
    """Return a circuit's layout in the columns of the frame."""
    columns, supplies, loads = seat.unknowns, layout.supply_pairs[0].size, layout.load_pairs[0].size
    size, junctions = counts.nodes + counts.branches + supplies, counts.diodes + 2 * counts.transistors
    d, t, b = (seat.diodes, counts.diodes), (seat.transistors, counts.transistors), (seat.bases, counts.bases)
    lo, su, nodes = (np.arange(loads), loads), (np.arange(supplies), supplies), columns[: len(layout.names)]
    slopes = _behind(d, t, t, t, t, b, lo, su, su, (nodes, counts.nodes))
    rows, cells = columns[:-1], _cells(columns[:-1], size)
    own = first.branches[: len(first.branches) - supplies]
    return Layout(
        names=_names(first.names, counts.nodes),
        branches=_names(own, counts.branches) + layout.branches[len(layout.branches) - supplies :],
        fixed=_fixed(layout, rows, size),
        linear=layout.linear.moved(seat.linear, cells),
        sources=layout.sources.moved(seat.sources, rows),
        slopes=layout.slopes.moved(slopes, cells),
        currents=layout.currents.moved(_behind(d, t, t, b, lo, su), rows),
        junction_plus=_filled(columns[layout.junction_plus], seat.junctions, np.full(junctions, size, dtype=np.intp)),
        junction_minus=_filled(columns[layout.junction_minus], seat.junctions, np.full(junctions, size, dtype=np.intp)),
        junction_sign=_filled(layout.junction_sign, seat.junctions, np.ones(junctions)),
        exponentials=exponential_places(counts.diodes, counts.transistors),
        leaky=leaky_places(counts.diodes, counts.transistors),
        diodes=counts.diodes,
        transistors=counts.transistors,
        base_pairs=_pair(layout.base_pairs, columns, *b),
        load_pairs=_pair(layout.load_pairs, columns, *lo),
        supply_pairs=_pair(layout.supply_pairs, columns, *su),
        first_supply=size - supplies,
    )


def _names(own: tuple[str, ...], count: int) -> tuple[str, ...]:
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
