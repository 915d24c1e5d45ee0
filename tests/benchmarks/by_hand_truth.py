"""What simulated boards truly are on each line of a profile: no noise, no meter, circuits at rest and cold.

Inputs and loads are as each board's own bench applies them, errors of programming included.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from simulated.lanes import LaneBoard, Lanes
from station.opening import described
from station.profile import BoundStep, Profile
from station.steps.measuring import Measure
from station.steps.overloading import ABOVE, FALLEN_SHARE, Overload
from station.steps.sweeping import LineSweep, LoadSweep, spaced
from station.steps.trimming import Trim

__all__ = ["Tested", "truths"]

Values = list[float]
BISECTIONS = 12


@dataclass(frozen=True)
class Tested:
    """A board as a test left it: its seed and faults, and where each trimmer stood (0..1, by netlist parameter)."""

    seed: int
    faults: tuple[str, ...]
    travel: tuple[tuple[str, float], ...]


class _Boards:
    """All boards side by side, put under one condition after the other."""

    def __init__(self, profile: Profile, boards: Sequence[Tested]) -> None:
        self._board = profile.board
        self._lanes = Lanes(described(profile.board), [LaneBoard(each.seed, each.faults) for each in boards])
        for lane, board in zip(self._lanes.lanes, boards, strict=True):
            for parameter, position in board.travel:
                lane.turn(parameter, position)

    def apply(self, volts: float | None, loads: dict[str, Values], limit: float) -> list[bool]:
        """Feed all inputs (None: nominal), draw loads, and return which boards have a solution."""
        for at, lane in enumerate(self._lanes.lanes):
            for name, form in self._board.terminals("input").items():
                lane.feed(name, abs(form.nominal or 0.0) if volts is None else volts, limit)
            for name in self._board.terminals("output"):
                lane.draw(name, loads[name][at] if name in loads else 0.0)
        self._lanes.settle(self._lanes.lanes)
        return [lane.solved for lane in self._lanes.lanes]

    def volts(self, terminal: str) -> Values:
        return [lane.volts(terminal) for lane in self._lanes.lanes]

    def amps(self, terminal: str) -> Values:
        at = self._lanes.input_at[terminal] + len(self._lanes.terminals)
        return [float(lane.seen[at]) for lane in self._lanes.lanes]

    @property
    def count(self) -> int:
        return len(self._lanes.lanes)


def truths(profile: Profile, boards: Sequence[Tested]) -> list[dict[str, float]]:
    """Return the true value of each line, by its title, of every board; lines that have none are left out."""
    stand, found = _Boards(profile, boards), [dict[str, float]() for _ in boards]
    for step in profile.steps:
        for what, values in _step_truth(stand, step, profile).items():
            for each, value in zip(found, values, strict=True):
                each[f"{step.setup.title}: {what}"] = value
    return found


def _step_truth(stand: _Boards, step: BoundStep, profile: Profile) -> dict[str, Values]:
    form, setup = step.form, step.setup
    if isinstance(form, Trim | Measure):
        stand.apply(None, {}, 1.0)
        named = [line for line in form.lines(setup) if line.name in ("trimmed", "voltage", "current")]
        return {
            f"{line.terminal} {line.name}": (stand.amps if line.name == "current" else stand.volts)(line.terminal)
            for line in named
        }
    if isinstance(form, LineSweep):
        return _line_truth(stand, form, max(abs(v) for v in setup.nominal_volts.values()))
    if isinstance(form, LoadSweep):
        return {f"{name} load regulation": _load_truth(stand, name, form) for name in form.other()}
    if isinstance(form, Overload):
        return {f"{name} limits at": _limit_truth(stand, name, form) for name in form.other()}
    return {}


def _line_truth(stand: _Boards, form: LineSweep, nominal: float) -> dict[str, Values]:
    assert form.inputs.low is not None and form.inputs.high is not None
    points = spaced(float(form.inputs.low), float(form.inputs.high), form.points)
    seen: dict[str, list[Values]] = {name: [] for name in form.other()}
    for volts in points:
        stand.apply(volts, {}, 1.0)
        for name, values in seen.items():
            values.append(stand.volts(name))
    middle = min(range(len(points)), key=lambda at: abs(points[at] - nominal))
    return {
        f"{name} line regulation": [
            (max(board) - min(board)) / max(abs(board[middle]), 1e-9) / (points[-1] - points[0])
            for board in zip(*values, strict=True)
        ]
        for name, values in seen.items()
    }


def _load_truth(stand: _Boards, name: str, form: LoadSweep) -> Values:
    wanted, seen = form.other()[name], []
    for amps in spaced(wanted.from_, wanted.to, wanted.points):
        stand.apply(None, {name: [amps] * stand.count}, 3.0)
        seen.append(stand.volts(name))
    return [max(abs(v - board[0]) for v in board) / max(abs(board[0]), 1e-9) for board in zip(*seen, strict=True)]


def _limit_truth(stand: _Boards, name: str, form: Overload) -> Values:
    """Return the current at which the output has fallen by a twentieth, by bisection."""
    stand.apply(None, {}, 3.0)
    wanted = [FALLEN_SHARE * abs(volts) for volts in stand.volts(name)]
    low, high = [0.0] * stand.count, [ABOVE * float(form.other()[name].limits_at.high)] * stand.count
    for _ in range(BISECTIONS):
        middle = [(a + b) / 2.0 for a, b in zip(low, high, strict=True)]
        stand.apply(None, {name: middle}, 3.0)
        for at, volts in enumerate(stand.volts(name)):
            if abs(volts) >= wanted[at]:
                low[at] = middle[at]
            else:
                high[at] = middle[at]
    return [(a + b) / 2.0 for a, b in zip(low, high, strict=True)]
