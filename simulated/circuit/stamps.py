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
from .linearise import Stretches
from .scatter import Scatter
from .wirings import Patterns

__all__ = ["Bounds", "Stamps", "stamps_of"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Places = NDArray[np.intp]

# A multiplier beyond this, and sums lose the small conductances beside the large ones.
_LARGEST_MULTIPLIER = 1e6


@dataclass(frozen=True)
class Bounds:
    """Multipliers (n, L) beyond these are not safe: the bounds of `each` wiring (n, 1), and the least of all."""

    each: tuple[Floats, ...]
    least: Floats

    def hold(self, multipliers: Floats, where: Stretches) -> Bools:
        """Return in which lanes all multipliers are within the bounds, (L,)."""
        least = self.least[:, 0]
        good = (multipliers.max(axis=1) <= least) & (multipliers.min(axis=1) >= -least)
        rows = np.flatnonzero(~good)  # few have one in any lane that is too large
        sizes = np.abs(multipliers[rows])
        within: Bools = np.asarray((sizes <= self.least[rows]).all(axis=0))
        if not within.all():
            for wiring, lanes in where:
                if not within[lanes].all():
                    within[lanes] = (sizes[:, lanes] <= self.each[wiring][rows]).all(axis=0)
        return within


@dataclass(frozen=True)
class Stamps:
    """An order of elimination, its scripts, and the patterns that feed them.

    `values` are the entries of `outer`: those of the linear pivots, then those of the core, which
    `core` keeps in the same order.
    """

    order: Order
    outer: Script
    core: Script
    fixed: tuple[Floats, ...]  # of each wiring: what no value changes of the values, (values, 1)
    outer_bounds: Bounds
    core_bounds: Bounds
    linear: Patterns  # linear values -> values
    shunts: Patterns  # shunts of nodes -> values
    sources: Patterns  # sources -> right-hand side in the order of elimination
    sloped: Places  # core entries that nonlinear slopes are added to
    slopes: Patterns  # nonlinear slopes -> these
    currents: Patterns  # nonlinear currents -> rows of the core
    spans: Patterns  # core unknowns -> volts across junctions, base resistances, loads, supplies
    anchors: csr_array  # amps into nodes -> right-hand side in the order of elimination
    filled: Places  # core entries that are more than nonlinear slopes
    sums: csr_array  # products of these with x -> rows of the core
    products: Places  # core unknown that each of them is multiplied with
    supplies: Places  # core unknowns that are supply currents
    supply_spans: csr_array  # core unknowns -> volts across supplies
    core_columns: Places


def stamps_of(layouts: Sequence[Layout], order: Order, linear_count: int, source_count: int) -> Stamps:
    """Return the patterns of a circuit with that many linear values and sources, wired as each layout says."""
    layout, first = layouts[0], order.linear
    size, nodes = layout.size, len(layout.names)
    outer, core = Script(order, 0, first), Script(order, first, size)
    row_at, core_column = np.argsort(order.rows), _shifted(np.argsort(order.columns), first)
    cells = _cells(core) - first
    flat = _flat(order, outer)
    spans = [_spans(each, core_column, size - first) for each in layouts]
    patterns = _patterns(layouts, order, outer, (linear_count, source_count))
    fixed = [each.fixed.reshape(-1)[flat][:, None] for each in layouts]
    filled = _filled(outer, fixed, [*patterns["linear"].each, *patterns["shunts"].each])
    slopes = patterns.pop("slopes").each
    sloped = np.flatnonzero(np.logical_or.reduce([np.diff(each.indptr) > 0 for each in slopes]))
    return Stamps(
        order=order,
        outer=outer,
        core=core,
        fixed=tuple(fixed),
        outer_bounds=_bounds(order.sizes, outer),
        core_bounds=_bounds(order.sizes, core),
        **patterns,
        sloped=sloped,
        slopes=Patterns([each[sloped] for each in slopes]),
        spans=Patterns(spans),
        anchors=_sparse(Scatter((node, node, 1.0) for node in range(nodes)), row_at, size, nodes),
        filled=filled,
        sums=csr_array((np.ones(filled.size), (cells[filled, 0], np.arange(filled.size))), (size - first, filled.size)),
        products=cells[filled, 1],
        supplies=core_column[layout.first_supply :],
        supply_spans=spans[0][spans[0].shape[0] - layout.supply_pairs[0].size :],
        core_columns=order.columns[first:],
    )


def _patterns(layouts: Sequence[Layout], order: Order, outer: Script, counts: tuple[int, int]) -> dict[str, Patterns]:
    """Return where values go, by name, slopes to any entry of the core; `counts` are of linear values and sources."""
    layout, size, flat = layouts[0], layouts[0].size, _flat(order, outer)
    values, in_core = _inverse(flat, size * size), _inverse(flat[outer.own :], size * size)
    row_at = np.argsort(order.rows)
    core_row, core_size = _shifted(row_at, order.linear), size - order.linear
    shunts = layout.slope_count - len(layout.names)  # they come last among the slopes

    def slopes(each: Layout, place: Places, rows: int) -> csr_array:
        return _sparse(each.slopes, place, rows, layout.slope_count)

    return {
        "linear": Patterns([_sparse(each.linear, values, flat.size, counts[0]) for each in layouts]),
        "shunts": Patterns([slopes(each, values, flat.size)[:, shunts:] for each in layouts]),
        "sources": Patterns([_sparse(each.sources, row_at, size, counts[1]) for each in layouts]),
        "slopes": Patterns([slopes(each, in_core, flat.size - outer.own)[:, :shunts] for each in layouts]),
        "currents": Patterns([_sparse(each.currents, core_row, core_size, layout.current_count) for each in layouts]),
    }


def _filled(outer: Script, fixed: Sequence[Floats], patterns: Sequence[csr_array]) -> Places:
    """Return which entries of the core linear parts or the elimination of linear unknowns may add to."""
    reached = np.logical_or.reduce([values[:, 0] != 0.0 for values in fixed])
    for pattern in patterns:
        reached[np.diff(pattern.indptr) > 0] = True
    reached[outer.updated] = True
    return np.flatnonzero(reached[outer.own :])


def _cells(script: Script) -> Places:
    """Return the (row, column) of each entry of a script, counted in the order of elimination."""
    return np.array(script.cells, dtype=np.intp).reshape(-1, 2)


def _flat(order: Order, script: Script) -> Places:
    """Return the place of each entry of a script in the layout's matrix."""
    cells = _cells(script)
    return np.asarray(order.rows[cells[:, 0]] * order.rows.size + order.columns[cells[:, 1]])


def _bounds(sizes: Floats, script: Script) -> Bounds:
    """Return how large multipliers may be, equations (wirings, M) being measured in units of their own."""
    cells = np.array(script.cells[script.lower], dtype=np.intp).reshape(-1, 2)
    each = [(_LARGEST_MULTIPLIER * own[cells[:, 0]] / own[cells[:, 1]])[:, None] for own in sizes]
    return Bounds(tuple(each), np.minimum.reduce(each))


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
