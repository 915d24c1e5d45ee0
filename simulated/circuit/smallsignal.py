"""Tell how far a small wobble of one source reaches each node, over frequency, around an operating point."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from .dynamics import Dynamics, dynamics_of, no_aid, summed
from .ends import SupplyMode, load_current
from .errors import CircuitError, nearest
from .linearise import State, across, junction_volts, linearise
from .parts import Parts
from .point import OperatingPoint
from .settings import Settings, board_count
from .solve import Circuit

__all__ = ["transfer"]

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]
Value = float | Floats

_MOST_NUMBERS = 2_000_000  # complex numbers of the matrices solved at once, 32 MB


def transfer(
    circuit: Circuit,
    point: OperatingPoint,
    *,
    source: str,
    nodes: Sequence[str],
    hertz: Sequence[float] | Floats,
    parts: Parts | None = None,
    parameters: Mapping[str, Value] | None = None,
    celsius: Value | None = None,
) -> Complex:
    """Return volts at `nodes` for one volt (of a V source or a supply end) or one amp (of an I source).

    The array is (B, F, nodes), complex: magnitude and phase are `abs` and `angle`. `point` is an operating
    point of the same circuit, parts, parameters and temperature. A supply that is off, blocked or at its
    current limit holds no voltage that could wobble: zeros. Boards without a solution get NaN. Raises
    CircuitError for an unknown name, a point of another circuit, and frequencies below zero.
    """
    layout = circuit.layout
    if (point.layout.names, point.layout.branches) != (layout.names, layout.branches):
        raise CircuitError("the operating point is another circuit's; give one that this circuit has solved")
    radians = 2.0 * np.pi * np.asarray(hertz, dtype=np.float64).reshape(-1)
    if not (np.isfinite(radians) & (radians >= 0.0)).all():
        raise CircuitError("a frequency is below zero or not finite; give hertz of zero or more")
    columns = [layout.node(node) for node in nodes]
    dynamics = dynamics_of(circuit, parts, parameters, celsius)
    boards = board_count([dynamics.boards, point.solved.size])
    right = np.zeros((boards, layout.size))
    right[:] = _excitation(circuit, point, source)
    solved = np.flatnonzero(np.broadcast_to(point.solved, (boards,)))
    found = np.full((boards, radians.size, len(columns)), complex(np.nan, np.nan))
    if solved.size:
        conducting, storing = (np.broadcast_to(m, (boards, *m.shape[1:]))[solved] for m in _matrices(dynamics, point))
        found[solved] = _answers(conducting, storing, right[solved], radians)[:, :, columns]
    return found


def _answers(conducting: Floats, storing: Floats, right: Floats, radians: Floats) -> Complex:
    """Return all unknowns, and ground behind them, (B, F, M + 1)."""
    boards, size = right.shape
    answers = np.zeros((boards, radians.size, size + 1), dtype=np.complex128)
    at_once = max(1, _MOST_NUMBERS // (boards * size**2))
    for start in range(0, radians.size, at_once):
        some = slice(start, start + at_once)
        matrix = conducting[:, None] + 1j * radians[some, None, None] * storing[:, None]
        answers[:, some, :-1] = np.linalg.solve(matrix, right[:, None, :, None] + 0j)[..., 0]
    return answers


def _matrices(dynamics: Dynamics, point: OperatingPoint) -> tuple[Floats, Floats]:
    """Return what conducts and what stores around the point, (L, M, M) each."""
    layout = dynamics.layout
    x = np.where(point.solved[:, None], point.unknowns, 0.0)
    if dynamics.boards > x.shape[0]:
        x = np.repeat(x, dynamics.boards, axis=0)
    modes = np.repeat(point.modes, x.shape[0] // point.modes.shape[0], axis=0)
    state = State(x, junction_volts(layout, x), across(x, layout.load_pairs), modes)
    problem = dynamics.problem(_settings(dynamics, point))
    line = linearise(layout, problem, state, no_aid(layout, x.shape[0]), keep=True)
    return (
        summed(dynamics.matrix, layout.slopes, line.slopes),
        summed(dynamics.stores.matrix, dynamics.reactive.cells, dynamics.held(line).farads),
    )


def _settings(dynamics: Dynamics, point: OperatingPoint) -> Settings:
    """Return settings with the slopes the point was solved under: a load's current follows from what it draws."""
    none = np.zeros((1, len(dynamics.ends.supplies)))
    volts = across(point.unknowns, dynamics.layout.load_pairs)
    share, _ = load_current(volts, np.ones_like(volts), dynamics.minimum_volts)
    drawing = share > 0.0
    amps = np.where(drawing, point.loads / np.where(drawing, share, 1.0), 0.0)
    return Settings(none, none, none > 0.0, np.where(np.isfinite(amps), amps, 0.0))


def _excitation(circuit: Circuit, point: OperatingPoint, source: str) -> Floats:
    """Return the right-hand side (B, M) of one volt or one amp more of a source."""
    layout, netlist = circuit.layout, circuit.netlist
    names = [end.name for end in circuit.ends.supplies]
    if source in names:
        column = names.index(source)
        right = np.zeros((point.modes.shape[0], layout.size))
        right[:, layout.first_supply + column] = point.modes[:, column] == SupplyMode.VOLTAGE
        return right
    volts = [element.name for element in netlist.elements if element.kind == "V"]
    amps = [element.name for element in netlist.elements if element.kind == "I"]
    sources = [*volts, *amps]
    if source.upper() not in sources:
        raise CircuitError(f"there is no source '{source}'; write one of {nearest(source, [*names, *sources])}")
    one = np.zeros((1, len(sources)))
    one[0, sources.index(source.upper())] = 1.0
    right = np.zeros((1, layout.size))
    layout.sources.add(right, one)
    return right
