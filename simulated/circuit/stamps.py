"""Say where a circuit's values go when its matrix is kept sparse, in the order of elimination.

A circuit may be wired in several ways, each with patterns of its own; unknowns, devices and the order
of elimination are the same for all.

Every pattern is a sparse matrix that multiplies values (n, L), boards last: sums over a board's own
values only. The core is what is left when the linear unknowns are eliminated; all nonlinear devices
hang on it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from .elimination import Order
from .factor import Script
from .layout import Layout
from .scatter import Scatter

__all__ = ["Stamps", "Wiring", "stamps_of"]

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

# A multiplier beyond this, and sums lose the small conductances beside the large ones.
_LARGEST_MULTIPLIER = 1e6


@dataclass(frozen=True)
class Wiring:
    """The patterns of one way to wire the circuit."""

    fixed: Floats  # (values, 1)
    linear: csr_array  # linear values -> values
    shunts: csr_array  # shunts of nodes -> values
    sources: csr_array  # sources -> right-hand side in the order of elimination
    slopes: csr_array  # nonlinear slopes -> entries of the core
    currents: csr_array  # nonlinear currents -> rows of the core
    spans: csr_array  # core unknowns -> volts across junctions, base resistances, loads, supplies
    outer_bounds: Floats  # multipliers beyond these are not safe
    core_bounds: Floats


@dataclass(frozen=True)
class Stamps:
    """An order of elimination, its scripts, and the patterns that feed them.

    `values` are the entries of `outer`: those of the linear pivots, then those of the core, which
    `core` keeps in the same order.
    """

    order: Order
    outer: Script
    core: Script
    wirings: tuple[Wiring, ...]
    anchors: csr_array  # amps into nodes -> right-hand side in the order of elimination
    sums: csr_array  # products of core entries with x -> rows of the core
    products: Places  # core unknown that each core entry is multiplied with
    supplies: Places  # core unknowns that are supply currents
    supply_spans: csr_array  # core unknowns -> volts across supplies
    core_columns: Places


def stamps_of(layouts: Sequence[Layout], order: Order, linear_count: int, source_count: int) -> Stamps:
    """Return the patterns of a circuit with that many linear values and sources, wired as each layout says."""
    layout, first = layouts[0], order.linear
    size, nodes = layout.size, len(layout.names)
    outer, core = Script(order, 0, first), Script(order, first, size)
    row_at, column_at = np.argsort(order.rows), np.argsort(order.columns)
    core_cells = np.array(core.cells, dtype=np.intp).reshape(-1, 2) - first
    counts = linear_count, source_count
    wirings = tuple(_wiring(each, order, (outer, core), at, counts) for at, each in enumerate(layouts))
    grounds = Scatter((node, node, 1.0) for node in range(nodes))
    return Stamps(
        order=order,
        outer=outer,
        core=core,
        wirings=wirings,
        anchors=_sparse(grounds, row_at, size, nodes),
        sums=csr_array(
            (np.ones(len(core_cells)), (core_cells[:, 0], np.arange(len(core_cells)))), (size - first, len(core_cells))
        ),
        products=core_cells[:, 1],
        supplies=_shifted(column_at, first)[layout.first_supply :],
        supply_spans=wirings[0].spans[wirings[0].spans.shape[0] - layout.supply_pairs[0].size :],
        core_columns=order.columns[first:],
    )


def _wiring(layout: Layout, order: Order, scripts: tuple[Script, Script], at: int, counts: tuple[int, int]) -> Wiring:
    """Return the patterns of one layout, which is number `at` of those the order was made for."""
    size, first, (outer, core) = layout.size, order.linear, scripts
    row_at, column_at = np.argsort(order.rows), np.argsort(order.columns)
    cells = np.array(outer.cells, dtype=np.intp)
    flat = order.rows[cells[:, 0]] * size + order.columns[cells[:, 1]]
    values, in_core = _inverse(flat, size * size), _inverse(flat[outer.own :], size * size)
    slopes, shunts = layout.slope_count - len(layout.names), slice(layout.slope_count - len(layout.names), None)
    return Wiring(
        fixed=layout.fixed.reshape(-1)[flat][:, None],
        linear=_sparse(layout.linear, values, len(cells), counts[0]),
        shunts=_sparse(layout.slopes, values, len(cells), layout.slope_count)[:, shunts],
        sources=_sparse(layout.sources, row_at, size, counts[1]),
        slopes=_sparse(layout.slopes, in_core, len(core.cells), layout.slope_count)[:, :slopes],
        currents=_sparse(layout.currents, _shifted(row_at, first), size - first, layout.current_count),
        spans=_spans(layout, _shifted(column_at, first), size - first),
        outer_bounds=_bounds(order.sizes[at], outer),
        core_bounds=_bounds(order.sizes[at], core),
    )


def _bounds(sizes: Floats, script: Script) -> Floats:
    """Return how large multipliers may be, equations being measured in units of their own."""
    cells = np.array(script.cells[script.lower], dtype=np.intp).reshape(-1, 2)
    return (_LARGEST_MULTIPLIER * sizes[cells[:, 0]] / sizes[cells[:, 1]])[:, None]


def _inverse(places: Places, count: int) -> Places:
    at = np.full(count, -1, dtype=np.intp)
    at[places] = np.arange(places.size)
    return at


def _shifted(at: Places, first: int) -> Places:
    return np.where(at < first, -1, at - first)


def _sparse(scatter: Scatter, place: Places, rows: int, columns: int) -> csr_array:
    """Return a pattern as a sparse matrix whose row `place[target]` is a target; -1 leaves it out."""
    sources, targets, factors = scatter.entries
    kept = place[targets] >= 0
    return csr_array((factors[kept], (place[targets][kept], sources[kept])), (rows, columns))


def _spans(layout: Layout, column_at: Places, size: int) -> csr_array:
    pairs = [(layout.junction_plus, layout.junction_minus), layout.base_pairs, layout.load_pairs, layout.supply_pairs]
    plus, minus = (np.concatenate([pair[side] for pair in pairs]) for side in (0, 1))
    signs = np.ones(plus.size)
    signs[: layout.junction_sign.size] = layout.junction_sign
    at = np.append(column_at, -1)  # ground
    rows = np.tile(np.arange(plus.size), 2)
    columns, factors = at[np.concatenate([plus, minus])], np.concatenate([signs, -signs])
    kept = columns >= 0
    return csr_array((factors[kept], (rows[kept], columns[kept])), (plus.size, size))
