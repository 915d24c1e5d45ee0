"""Solve the equations of many boards at once by Newton's method on sparse matrices, boards last.

The same iterates as `newton`, found another way: what is linear is eliminated once, each iteration
factors only the core on which nonlinear devices hang. A board whose pivots turn out unsafe has its core
solved densely with row exchanges, or goes to `newton` altogether; no board's numbers touch another's.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .benches import Bench, Benches, lent
from .devices import take_lanes
from .ends import next_modes
from .factor import run
from .lanewise import Lines, Setting, Standing, setting_of, straight_lines, take_columns, turned
from .layout import Layout
from .linearise import Aid, Problem, State, Stretches, stretches
from .newton import ABSURD_AMPS, allowed, dense_solution, newton_by_wiring
from .stamps import Bounds, Stamps

__all__ = ["is_safe", "lent", "sparse_newton"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Lanes = NDArray[np.intp]

_ONE: Stretches = ((0, slice(0, 1)),)
_WELL = 0.3  # of the bounds on multipliers, so that boards around this one stay within them
# Lanes that have arrived are dropped when so many have; moving the others costs about half an iteration.
_WORTH_DROPPING = 0.4
# From this iteration on, a lane has far to go, and is helped like one on its first step from a start: without, seven
# times as many lanes have to have their sources raised while outputs give way under a load.
_LATE = 4
# These go without for once: a lane that swings between two states of its loads may do so in step with the help. Of
# such lanes, a tenth of all, most arrive after nine or ten iterations, else after thirteen.
_EASED = (6, 9)
# Of few lanes numpy may add up in another order, and bits would depend on company.
_LEAST_LANES = 8


@dataclass(frozen=True)
class _Working:
    """Boards at work: what is eliminated already, and where each stands. Arrays are (n, L) or (n, 1)."""

    setting: Setting
    values: Floats  # entries of the linear pivots' rows and columns, factored
    reciprocals: Floats
    core: Floats  # entries of the core without its nonlinear devices
    filled: Floats  # those of them that are not zero whatever the values are
    sloped: Floats  # those that nonlinear devices are added to
    right: Floats  # right-hand side, linear rows first, eliminated
    x: Floats  # unknowns of the core
    standing: Standing


def sparse_newton(
    layouts: Sequence[Layout],
    benches: Benches,
    problem: Problem,
    state: State,
    aid: Aid,
    *,
    iterations: int,
    fresh: bool = False,
) -> tuple[State, Bools, Floats]:
    """Return what `newton` returns: the state, which lanes arrived (L,), and the last steps (L, M) of the others.

    `layouts` are those the benches' patterns were made of.
    """
    search = _Search(layouts[0], benches, problem, state, iterations)
    with np.errstate(all="ignore"):
        working, safe = _begun(layouts[0], benches, problem, state, aid)
        if safe.any():
            search.go(working, np.flatnonzero(safe), fresh=fresh)
        unsafe = np.flatnonzero(~safe)
        if unsafe.size:
            left = take_lanes(problem, unsafe), take_lanes(state, unsafe), take_lanes(aid, unsafe)
            search.put(unsafe, *newton_by_wiring(layouts, *left, iterations=iterations, fresh=fresh))
        return search.final(), search.arrived, search.steps


def _begun(layout: Layout, benches: Benches, problem: Problem, state: State, aid: Aid) -> tuple[_Working, Bools]:
    """Eliminate what is linear; also return in which lanes that is safe."""
    stamps, devices = benches.stamps, problem.devices
    where = stretches(problem.wirings, state.x.shape[0])
    values = stamps.linear.sums(where, np.ascontiguousarray(devices.linear.T))
    right = stamps.sources.sums(where, np.ascontiguousarray((devices.sources * aid.scale).T))
    for wiring, lanes in where:
        values[:, lanes] += stamps.fixed[wiring]
    if aid.shunt.any():
        shunts = np.ascontiguousarray(aid.shunt.T)
        values = values + stamps.shunts.sums(where, shunts)
        right = right + stamps.anchors @ (shunts * aid.anchor.T[: len(layout.names)])
    # Right-hand sides follow the values, so that there is one for each matrix.
    bench = benches.outer(values.shape[1], max(values.shape[1], right.shape[1]))
    bench.values[:], bench.right[:] = values, right
    run(bench.eliminating)
    own, lower = stamps.outer.own, bench.values[stamps.outer.lower]
    safe = np.broadcast_to(_safe(lower, stamps.outer_bounds, where, bench.reciprocals), state.x.shape[:1])
    x = state.x.T[stamps.core_columns]
    standing = Standing(turned(state.junctions), turned(state.loads), turned(state.modes))
    core = bench.values[own:]
    cores = core, core.take(stamps.filled, axis=0), core.take(stamps.sloped, axis=0)
    eliminated = bench.values[:own], bench.reciprocals, *cores, bench.right
    return _Working(setting_of(problem, aid.scale), *eliminated, x, standing), safe


def is_safe(stamps: Stamps, linear: Floats, slopes: Floats) -> bool:
    """Return whether an order of elimination suits a board well: `linear` and `slopes` are (1, n), of one wiring."""
    outer, core, first = stamps.outer, stamps.core, stamps.order.linear
    with np.errstate(all="ignore"):
        values = stamps.fixed[0] + stamps.linear.each[0] @ linear.T
        reciprocals = np.empty((stamps.order.rows.size, 1))
        run(outer.factoring(values, reciprocals[:first]))
        pattern = stamps.slopes.each[0]
        inner = values[outer.own :]
        inner[stamps.sloped] += pattern @ slopes.T[: pattern.shape[1]]
        run(core.factoring(inner, reciprocals[first:]))
        well = _safe(values[outer.lower] / _WELL, stamps.outer_bounds, _ONE, reciprocals)
        well &= _safe(inner[core.lower] / _WELL, stamps.core_bounds, _ONE, reciprocals)
        return bool(well.all())


def _safe(multipliers: Floats, bounds: Bounds, where: Stretches, reciprocals: Floats) -> Bools:
    """Return in which lanes no pivot was too small for what it was subtracted from."""
    return bounds.hold(multipliers, where) & np.isfinite(reciprocals).all(axis=0)


class _Search:
    """Newton's iterations over a shrinking set of lanes; `arrived` and `steps` are of all lanes."""

    def __init__(self, layout: Layout, benches: Benches, problem: Problem, state: State, iterations: int) -> None:
        self._layout, self._benches, self._stamps, self._iterations = layout, benches, benches.stamps, iterations
        self._where = stretches(problem.wirings, state.x.shape[0])
        lanes = state.x.shape[0]
        self._x = np.zeros((layout.size + 1, lanes))  # in the order of elimination, ground last
        self._loads = np.zeros((state.loads.shape[1], lanes))
        self._modes = np.zeros((state.modes.shape[1], lanes), dtype=np.int8)
        self._place = np.append(np.argsort(self._stamps.order.columns), layout.size)
        self.arrived, self.steps = np.zeros(lanes, dtype=bool), np.zeros((lanes, layout.size))

    def final(self) -> State:
        """Return where all lanes ended."""
        spans = self._spans(self._x[self._stamps.order.linear : -1], self._where)
        junctions = spans[: self._layout.junction_sign.size]
        return State(turned(self._x[self._place]), turned(junctions), turned(self._loads), turned(self._modes))

    def _spans(self, x: Floats, where: Stretches) -> Floats:
        """Return the volts across junctions, base resistances, loads and supplies at unknowns of the core."""
        return self._stamps.spans.sums(where, x)

    def put(self, lanes: Lanes, state: State, arrived: Bools, steps: Floats) -> None:
        """Take over what was found for some lanes elsewhere."""
        self._x[self._place[:, None], lanes] = state.x.T
        self._loads[:, lanes], self._modes[:, lanes] = state.loads.T, state.modes.T
        self.arrived[lanes], self.steps[lanes] = arrived, steps

    def go(self, working: _Working, lanes: Lanes, *, fresh: bool) -> None:
        """Iterate until every lane has arrived, is lost, or has had its iterations."""
        going = np.ones(lanes.size, dtype=bool)
        if lanes.size < self.arrived.size:
            working = take_columns(working, lanes)
        bench = self._bench(working, lanes.size)
        for iteration in range(self._iterations):
            bend = (fresh and iteration == 1) or (iteration >= _LATE and iteration not in _EASED)
            line = self._stepped(working, bench, keep=fresh and iteration == 0, bend=bend)
            x = working.x + bench.step
            modes = self._next_modes(working, line, x)
            last = iteration == self._iterations - 1
            settled = self._settled(working, bench, line, x, last=last) & (modes == line.standing.modes).all(axis=0)
            working = replace(working, x=x, standing=replace(line.standing, modes=modes))
            lost = ~np.isfinite(x).all(axis=0)
            over = going if last else going & (settled | lost)
            if over.any():
                self.arrived[lanes[over]] = (settled & ~lost)[over]
                self._store(working, bench, np.flatnonzero(over), lanes[over])
                going = going & ~over
                if not going.any():
                    return
                working, lanes, going = _fewer(working, lanes, going)
                bench = self._bench(working, lanes.size) if lanes.size < x.shape[1] else bench

    def _bench(self, working: _Working, lanes: int) -> Bench:
        bench = self._benches.inner(lanes)
        bench.outer_values[:], bench.outer_reciprocals[:], bench.spread = working.values, working.reciprocals, None
        return bench

    def _stepped(self, working: _Working, bench: Bench, *, keep: bool, bend: bool) -> Lines:
        """Leave Newton's step of the core in `bench.step`; lanes whose matrix is singular get NaN."""
        stamps = self._stamps
        where = stretches(working.setting.wirings, bench.step.shape[1])
        amps, standing = working.x.take(stamps.supplies, axis=0), working.standing
        spans = self._spans(working.x, where)
        line = straight_lines(self._layout, working.setting, spans, amps, standing, keep=keep, bend=bend)
        np.take(working.x, stamps.products, axis=0, out=bench.terms, mode="clip")
        bench.terms *= working.filled
        np.subtract(working.right[stamps.order.linear :], stamps.sums @ bench.terms, out=bench.step)
        bench.step -= stamps.currents.sums(where, line.currents)
        bench.values[:] = working.core
        bench.values[stamps.sloped] = working.sloped + stamps.slopes.sums(where, line.slopes)
        run(bench.factoring)
        safe = _safe(bench.values[stamps.core.lower], stamps.core_bounds, where, bench.reciprocals)
        unsafe = np.flatnonzero(~safe)
        dense = self._dense(working, line, bench.step, unsafe) if unsafe.size else None
        run(bench.solving)
        if dense is not None:
            bench.step[:, unsafe] = dense
        return line

    def _dense(self, working: _Working, line: Lines, right: Floats, lanes: Lanes) -> Floats:
        """Return the step of some lanes, found with row exchanges."""
        stamps, size = self._stamps, right.shape[0]
        where = stretches(take_columns(working.setting.wirings, lanes), lanes.size)
        values = np.broadcast_to(working.core, (len(working.core), right.shape[1]))[:, lanes]
        values[stamps.sloped] += stamps.slopes.sums(where, line.slopes[:, lanes])
        cells = np.array(stamps.core.cells) - stamps.order.linear
        matrix = np.zeros((lanes.size, size, size))
        matrix[:, cells[:, 0], cells[:, 1]] = values.T
        return dense_solution(matrix, right[:, lanes].T).T

    def _next_modes(self, working: _Working, line: Lines, x: Floats) -> NDArray[np.int8]:
        """Return the supplies' next modes; a lane whose junctions were cut has no trustworthy currents yet."""
        modes = line.standing.modes
        if not modes.shape[0]:
            return modes
        spans = self._stamps.supply_spans @ x
        settings = working.setting.supply_volts, working.setting.supply_amps
        after = next_modes(modes, spans, x.take(self._stamps.supplies, axis=0), settings)
        return np.where(line.cut, modes, after)

    def _settled(self, working: _Working, bench: Bench, line: Lines, x: Floats, *, last: bool) -> Bools:
        """Return which lanes' last step was as good as none, in the linear unknowns that follow too."""
        if line.cut.all():
            return ~line.cut
        settled = np.asarray((np.abs(bench.step) <= allowed(x, last=last)).all(axis=0)) & ~line.cut
        if settled.any():
            settled &= (np.abs(line.currents) < ABSURD_AMPS).all(axis=0)
            first = self._stamps.order.linear
            before = self._spread(working, bench, working.x)[:first].copy()
            after = self._spread(working, bench, x)[:first]
            settled &= (np.abs(after - before) <= allowed(after, last=last)).all(axis=0)
        return settled

    def _spread(self, working: _Working, bench: Bench, x: Floats) -> Floats:
        """Return all unknowns (M, L) that go with those of the core."""
        if bench.spread is not x:
            first = self._stamps.order.linear
            bench.whole[:first] = working.right[:first]
            bench.whole[first:] = x
            run(bench.spreading)
            bench.spread = x
        return bench.whole

    def _store(self, working: _Working, bench: Bench, at: Lanes, to: Lanes) -> None:
        """Keep where lanes `at` of those at work stand; they are `to` among all. Linear unknowns only follow."""
        self._x[:-1, to] = self._spread(working, bench, working.x).take(at, axis=1)
        self._loads[:, to] = working.standing.loads.take(at, axis=1)
        self._modes[:, to] = working.standing.modes.take(at, axis=1)
        missed = ~self.arrived[to]
        if missed.any():
            self.steps[to[missed][:, None], self._stamps.core_columns] = bench.step.take(at[missed], axis=1).T


def _fewer(working: _Working, lanes: Lanes, going: Bools) -> tuple[_Working, Lanes, Bools]:
    """Drop lanes that are over, if there are many of them; a few that are stay, to make a full bench."""
    wanted = max(_LEAST_LANES, 1 << (int(going.sum()) - 1).bit_length())
    if wanted > (1.0 - _WORTH_DROPPING) * lanes.size:
        return working, lanes, going
    kept = np.sort(np.argsort(~going, kind="stable")[:wanted])
    return take_columns(working, kept), lanes[kept], going[kept]
