"""Say where a circuit's values go when its matrix is kept sparse, in the order of elimination.

Every pattern is a sparse matrix that multiplies values (n, L), boards last: sums over a board's own
values only. The core is what is left when the linear unknowns are eliminated; all nonlinear devices
hang on it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from .elimination import Order
from .factor import Script
from .layout import Layout
from .scatter import Scatter

__all__ = ["Stamps", "stamps_of"]

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

# A multiplier beyond this, and sums lose the small conductances beside the large ones.
_LARGEST_MULTIPLIER = 1e6


@dataclass(frozen=True)
class Stamps:
    """An order of elimination, its scripts, and the patterns that feed them.

    `values` are the entries of `outer`: those of the linear pivots, then those of the core, which
    `core` keeps in the same order.
    """

    order: Order
    outer: Script
    core: Script
    fixed: Floats  # (values, 1)
    linear: csr_array  # linear values -> values
    shunts: csr_array  # shunts of nodes -> values
    sources: csr_array  # sources -> right-hand side in the order of elimination
    anchors: csr_array  # amps into nodes -> the same
    slopes: csr_array  # nonlinear slopes -> entries of the core
    residual: csr_array  # products of core entries with x, then nonlinear currents -> rows of the core
    spans: csr_array  # core unknowns -> volts across junctions, base resistances, loads, supplies
    products: Places  # core unknown that each core entry is multiplied with
    supplies: Places  # core unknowns that are supply currents
    core_columns: Places
    outer_bounds: Floats  # multipliers beyond these are not safe
    core_bounds: Floats


def stamps_of(layout: Layout, order: Order, linear_count: int, source_count: int) -> Stamps:
    """Return the patterns of a circuit with that many linear values and sources."""
    size, nodes, first = layout.size, len(layout.names), order.linear
    outer, core = Script(order, 0, first), Script(order, first, size)
    row_at, column_at = np.argsort(order.rows), np.argsort(order.columns)
    cells = np.array(outer.cells, dtype=np.intp)
    flat = order.rows[cells[:, 0]] * size + order.columns[cells[:, 1]]
    values = _inverse(flat, size * size)
    in_core = _inverse(flat[outer.own :], size * size)
    core_cells = cells[outer.own :] - first
    slopes = _sparse(layout.slopes, in_core, len(core_cells), layout.slope_count)
    currents = _sparse(layout.currents, _shifted(row_at, first), size - first, layout.current_count)
    sums = csr_array(
        (np.ones(len(core_cells)), (core_cells[:, 0], np.arange(len(core_cells)))), (size - first, len(core_cells))
    )
    grounds = Scatter((node, node, 1.0) for node in range(nodes))
    return Stamps(
        order=order,
        outer=outer,
        core=core,
        fixed=layout.fixed.reshape(-1)[flat][:, None],
        linear=_sparse(layout.linear, values, len(cells), linear_count),
        shunts=_sparse(layout.slopes, values, len(cells), layout.slope_count)[:, layout.slope_count - nodes :],
        sources=_sparse(layout.sources, row_at, size, source_count),
        anchors=_sparse(grounds, row_at, size, nodes),
        slopes=slopes[:, : layout.slope_count - nodes],
        residual=_beside(sums, currents),
        spans=_spans(layout, _shifted(column_at, first), size - first),
        products=core_cells[:, 1],
        supplies=_shifted(column_at, first)[layout.first_supply :],
        core_columns=order.columns[first:],
        outer_bounds=_bounds(order, outer),
        core_bounds=_bounds(order, core),
    )


def _bounds(order: Order, script: Script) -> Floats:
    """Return how large multipliers may be, equations being measured in units of their own."""
    cells = np.array(script.cells[script.lower], dtype=np.intp).reshape(-1, 2)
    return (_LARGEST_MULTIPLIER * order.sizes[cells[:, 0]] / order.sizes[cells[:, 1]])[:, None]


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


def _beside(left: csr_array, right: csr_array) -> csr_array:
    one, other = left.tocoo(), right.tocoo()
    rows = np.concatenate([one.row, other.row])
    columns = np.concatenate([one.col, other.col + left.shape[1]])
    shape = left.shape[0], left.shape[1] + right.shape[1]
    return csr_array((np.concatenate([one.data, other.data]), (rows, columns)), shape)


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
