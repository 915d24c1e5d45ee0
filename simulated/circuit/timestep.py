"""Take a circuit through one step of time: implicit, L-stable, second order, all boards the same step.

The method is the two-stage singly diagonal Runge-Kutta scheme with gamma = 1 - sqrt(1/2): it damps as
TR-BDF2 does, and it starts after a jump of a source without knowing any slope. Each stage solves
`currents(x) + (charge(x) - held) / (gamma h) = 0`: what is carried from step to step is charge, and
none is lost however a capacitance changes with its voltage.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .dynamics import Dynamics, no_aid, summed
from .ends import next_modes
from .linearise import Aid, Problem, State, across, linearise

__all__ = ["GAMMA", "Reached", "charge_of", "edge_step", "euler_step", "implicit_step"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

GAMMA = float(1.0 - np.sqrt(0.5))
_ITERATIONS = 20
_FIRST_ITERATIONS = 60
# Node volts that Newton's last step may still move; what is left then is the square of that.
_RELATIVE, _ABSOLUTE = 2e-5, 1e-6


@dataclass(frozen=True)
class Reached:
    """Where a step ends: state, charges by row (L, M), and which lanes got there (L,)."""

    state: State
    charge: Floats
    arrived: Bools

    def of(self, lanes: NDArray[np.intp]) -> "Reached":
        """Return some lanes as a batch of their own."""
        state = self.state
        some = State(state.x[lanes], state.junctions[lanes], state.loads[lanes], state.modes[lanes])
        return Reached(some, self.charge[lanes], self.arrived[lanes])

    def put(self, lanes: NDArray[np.intp], part: "Reached") -> "Reached":
        """Return the batch with some of its lanes replaced."""
        if lanes.size == self.arrived.size:
            return part
        whole = self.of(np.arange(self.arrived.size))
        for name in ("x", "junctions", "loads", "modes"):
            getattr(whole.state, name)[lanes] = getattr(part.state, name)
        whole.charge[lanes], whole.arrived[lanes] = part.charge, part.arrived
        return whole

    def widened(self, boards: int) -> "Reached":
        """Return a batch of `boards` lanes; one lane stands for all of them."""
        return self if self.arrived.size == boards else self.of(np.zeros(boards, dtype=np.intp))


@dataclass(frozen=True)
class _Stage:
    """One implicit equation: what conducts and stores linearly, what does not change, and one over gamma h."""

    problem: Problem
    matrix: Floats  # (L, M, M)
    constant: Floats  # (L, M)
    rate: float
    slack: float  # volts
    aid: Aid


def charge_of(dynamics: Dynamics, problem: Problem, state: State) -> Floats:
    """Return the charges that a state holds, (L, M)."""
    charge = _product(dynamics.stores.matrix, state.x[:, :-1])
    if not dynamics.junctions_store:
        return charge
    line = linearise(dynamics.layout, problem, state, no_aid(dynamics.layout, state.x.shape[0]), keep=True)
    return charge + dynamics.held(line).coulombs


def edge_step(dynamics: Dynamics, problem: Problem, begun: Reached, seconds: float) -> Reached:
    """Return where lanes are after a short step of backward Euler: what jumps with a source has jumped."""
    stage = _stage(dynamics, problem, begun.charge, 1.0 / seconds, _ABSOLUTE)
    return _solved(dynamics, stage, begun, begun.state.x, _FIRST_ITERATIONS)


def euler_step(
    dynamics: Dynamics, problem: Problem, begun: Reached, guess: Floats, seconds: float, slack: float
) -> Reached:
    """Return where lanes are after a step of backward Euler; the rest is as in `implicit_step`."""
    return _solved(dynamics, _stage(dynamics, problem, begun.charge, 1.0 / seconds, slack), begun, guess, _ITERATIONS)


def implicit_step(
    dynamics: Dynamics,
    problems: tuple[Problem, Problem],
    begun: Reached,
    guesses: tuple[Floats, Floats],
    seconds: float,
    slack: float,
) -> Reached:
    """Return where lanes are `seconds` later; problems and guesses (L, M + 1) are those of the two stages.

    `slack` is how far, in volts, Newton's last step may still go.
    """
    rate = 1.0 / (GAMMA * seconds)
    first = _stage(dynamics, problems[0], begun.charge, rate, slack)
    middle = _solved(dynamics, first, begun, guesses[0], _ITERATIONS)
    if not middle.arrived.all():
        return middle
    held = begun.charge + (1.0 - GAMMA) / GAMMA * (middle.charge - begun.charge)
    return _solved(dynamics, _stage(dynamics, problems[1], held, rate, slack), middle, guesses[1], _ITERATIONS)


def _stage(dynamics: Dynamics, problem: Problem, held: Floats, rate: float, slack: float) -> _Stage:
    values = problem.devices.sources
    sources = np.zeros((values.shape[0], held.shape[1]))
    dynamics.layout.sources.add(sources, values)
    matrix = problem.matrix + rate * dynamics.stores.matrix
    return _Stage(problem, matrix, -sources - rate * held, rate, slack, no_aid(dynamics.layout, held.shape[0]))


def _solved(dynamics: Dynamics, stage: _Stage, begun: Reached, guess: Floats, iterations: int) -> Reached:
    """Solve a stage by Newton's method; junctions are limited from where they were, not from the guess."""
    reached = replace(begun, state=replace(begun.state, x=guess))
    with np.errstate(all="ignore"):
        for _ in range(iterations):
            reached = _iterated(dynamics, stage, reached.state)
            if reached.arrived.all() or not np.isfinite(reached.state.x).all():
                break
    return reached


def _iterated(dynamics: Dynamics, stage: _Stage, state: State) -> Reached:
    layout = dynamics.layout
    line = linearise(layout, stage.problem, state, stage.aid, keep=False)
    x, nodes = state.x[:, :-1], len(layout.names)
    residual = _product(stage.matrix, x) + stage.constant
    layout.currents.add(residual, line.currents)
    conducting, storing, charge = stage.matrix, dynamics.stores.matrix, _product(dynamics.stores.matrix, x)
    if dynamics.junctions_store:
        store = dynamics.held(line)
        residual += stage.rate * store.coulombs
        storing = summed(storing, dynamics.reactive.cells, store.farads)
        conducting, charge = stage.problem.matrix + stage.rate * storing, charge + store.coulombs
    step = _newton_step(summed(conducting, layout.slopes, line.slopes), residual)
    after = state.x.copy()
    after[:, :-1] += step
    modes = _modes(dynamics, stage.problem, state, after, line.cut)
    small = (np.abs(step) <= stage.slack + _RELATIVE * np.abs(x))[:, :nodes].all(axis=1)
    arrived = np.asarray(small & ~line.cut & (modes == state.modes).all(axis=1))
    standing = State(after, line.state.junctions, line.state.loads, modes)
    return Reached(standing, charge + _product(storing, step), arrived)


def _product(matrix: Floats, x: Floats) -> Floats:
    return np.asarray(np.matmul(matrix, x[:, :, None])[:, :, 0])


def _newton_step(jacobian: Floats, residual: Floats) -> Floats:
    """Return the step (L, M); lanes whose matrix is singular get NaN."""
    try:
        return np.asarray(-np.linalg.solve(jacobian, residual[:, :, None])[:, :, 0], dtype=np.float64)
    except np.linalg.LinAlgError:
        if jacobian.shape[0] == 1:
            return np.full_like(residual, np.nan)
        lanes = range(jacobian.shape[0])
        return np.concatenate([_newton_step(jacobian[[lane]], residual[[lane]]) for lane in lanes])


def _modes(dynamics: Dynamics, problem: Problem, state: State, after: Floats, cut: Bools) -> NDArray[np.int8]:
    """Return the supplies' next modes; a lane whose junctions were cut has no trustworthy currents yet."""
    layout, modes = dynamics.layout, state.modes
    if not modes.shape[1]:
        return modes
    amps = after[:, layout.first_supply : -1]
    fitting = next_modes(modes, across(after, layout.supply_pairs), amps, (problem.supply_volts, problem.supply_amps))
    return np.where(cut[:, None], modes, fitting)
