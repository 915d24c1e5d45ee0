"""See what a fault shows at the terminals under the rated conditions, whatever a profile looks at.

Every input goes from a tenth below nominal to a tenth above (never beyond the sheet's ceiling), every output from no
load to its rating, rails trimmed as the profile trims them. A fault is visible where it lies outside of what boards
within tolerance show, by more than an instrument's uncertainty.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.asks import Draw, Feed, Quantity, Read, StepStarted
from station.board import Board, TerminalForm
from station.errors import BoardStopped, Unreadable
from station.lockstep import Condition, LaneBoard, LaneEnded, in_lockstep
from station.profile import Profile
from station.quantities import format_value
from station.rehearsal import highest_volts
from station.workers import Stopped, Workers

__all__ = ["Seen", "condition_text", "looking", "place_text"]

Floats = NDArray[np.float64]

GOOD_BOARDS, EACH, FAULTS_AT_ONCE = 300, 5, 60  # boards within tolerance, boards of each fault
SPAN = 0.1  # of the nominal input, either way
OFF_NOMINAL = 0.1  # from where a rail counts as out of its rating
# Standard uncertainties that tell a real difference, about those of a bench: share of the value, and volts or amps.
VOLTS_SHARE, VOLTS, AMPS_SHARE, AMPS, COVERAGE_FACTOR = 1e-4, 1e-3, 1e-3, 3e-4, 3.0


@dataclass(frozen=True)
class Seen:
    """What a fault shows: `visible`, and where most (a terminal, 'voltage' or 'current', a condition in words).

    `differs`: the same board without the fault reads otherwise, though other good boards read alike. `harm` says
    which terminals leave their rating where good boards keep it.
    """

    visible: bool
    differs: bool
    terminal: str = ""
    quantity: str = ""
    where: str = ""
    harm: tuple[str, ...] = ()


class _Look:
    """A program that visits the rated conditions and reads something at each, so that its circuit is solved there."""

    def __init__(self, profile: Profile) -> None:
        self._profile = profile
        rated = [form.rated or 0.0 for form in profile.board.terminals("output").values()]
        limits = [step.setup.amps_limit for step in profile.steps]
        self._limit = max([1.5 * max(rated, default=0.0), *limits])

    async def run(self) -> None:
        """Look at one board; what stops it ends the look."""
        await StepStarted(0, "look")
        board = self._profile.board
        outputs = board.terminals("output")
        try:
            await self._feed(1.0)
            for step in self._profile.steps:
                if step.form.kind == "trim":
                    await step.form.program(step.setup)
            for share in (1.0 - SPAN, 1.0, 1.0 + SPAN):
                await self._feed(share)
                for loaded in (0.0, 0.5, 1.0):  # of each output's rating
                    for name, form in outputs.items():
                        await Draw(name, loaded * (form.rated or 0.0))
                    await Read(next(iter(board.terminals("input"))), Quantity.CURRENT)
                for name in outputs:
                    await Draw(name, 0.0)
        except (BoardStopped, Unreadable):
            return

    async def _feed(self, share: float) -> None:
        for name, form in self._profile.board.terminals("input").items():
            volts = min(share * abs(form.nominal or 0.0), form.never_above or 0.0)
            await Feed(name, form.sign * volts, self._limit)


@dataclass(frozen=True)
class _Task:
    """Faults to look at, and what good boards show (GOOD_BOARDS, conditions, quantities)."""

    profile: Profile
    faults: tuple[str, ...]
    seed: int
    conditions: tuple[Condition, ...]
    good: Floats


def looking(profile: Profile, faults: Sequence[str], seed: int, workers: Workers) -> Callable[[], dict[str, Seen]]:
    """Have the workers begin to look, and return how to wait for what each fault shows.

    Faults that were not looked at when the workers were stopped are left out.
    """
    good = _looked(profile, [LaneBoard(seed + at) for at in range(GOOD_BOARDS)], workers.stopped)
    if workers.stopped():
        return dict
    conditions = tuple(key for key in max((lane.visited for lane in good), key=len) if _is_whole(key, profile.board))
    base = _table(good, conditions, max(row.size for lane in good for row in lane.visited.values()))
    shares = [tuple(faults[begin : begin + FAULTS_AT_ONCE]) for begin in range(0, len(faults), FAULTS_AT_ONCE)]
    tasks = [_Task(profile, share, seed, conditions, base) for share in shares]
    begun = workers.begun(_seen, tasks)
    return lambda: {fault: sight for each in begun() for fault, sight in each.items()}


def _seen(task: _Task, stopped: Stopped) -> dict[str, Seen]:
    boards = [LaneBoard(task.seed + at, (fault,)) for fault in task.faults for at in range(EACH)]
    lanes = _looked(task.profile, boards, stopped)
    span = np.nanmin(task.good, axis=0), np.nanmax(task.good, axis=0)
    found = {}
    for at, fault in enumerate(task.faults):
        own = _table(lanes[at * EACH : (at + 1) * EACH], task.conditions, task.good.shape[2])
        found[fault] = _told(task.profile.board, task.conditions, own, task.good[:EACH], span)
    return found


def _looked(profile: Profile, boards: Sequence[LaneBoard], stopped: Stopped) -> list[LaneEnded]:
    return in_lockstep(_Look(profile), profile.board, highest_volts(profile), boards, stopped)


def _is_whole(condition: Condition, board: Board) -> bool:
    """Whether all inputs are fed, and all outputs loaded, to one share: on the way to a condition only some are."""
    fed, drawn = condition
    inputs, outputs = board.terminals("input"), board.terminals("output")
    shares = [volts / (inputs[name].nominal or 1.0) for name, volts in fed]
    loads = [amps / (outputs[name].rated or 1.0) for name, amps in drawn]
    return len(shares) == len(inputs) and np.ptp(shares) < SPAN / 2.0 and (not loads or np.ptp(loads) < SPAN / 2.0)


def _table(lanes: Sequence[LaneEnded], conditions: Sequence[Condition], width: int) -> Floats:
    """Return what lanes showed (lanes, conditions, width); NaN for conditions that were not reached."""
    nothing = np.full(width, np.nan)
    rows = [[nothing if lane.unsolved else lane.visited.get(key, nothing) for key in conditions] for lane in lanes]
    return np.array(rows, dtype=np.float64).reshape(len(lanes), len(conditions), width)


def _told(
    board: Board, conditions: Sequence[Condition], own: Floats, good: Floats, span: tuple[Floats, Floats]
) -> Seen:
    """Say what a fault's boards (EACH, conditions, quantities) show beside good boards."""
    low, high = span
    margin = COVERAGE_FACTOR * _uncertainty(board, own)
    beyond = np.maximum(low[None] - own, own - high[None]) / margin  # above 1: visible
    reached = np.isfinite(own).all(axis=(1, 2))
    shows = ~reached | (np.nan_to_num(beyond, nan=0.0).max(axis=(1, 2)) > 1.0)
    differs = bool((np.abs(own - good) > margin).any())
    worst = np.nan_to_num(np.median(beyond, axis=0), nan=-np.inf)
    at, column = np.unravel_index(int(np.argmax(worst)), worst.shape)
    terminal, quantity = place_text(board, int(column))
    harm = _harm(board, conditions, own, good)
    if 2 * int(shows.sum()) <= len(shows):
        return Seen(False, differs, harm=harm)
    if not np.isfinite(worst[at, column]):
        return Seen(True, True, where="the look itself is stopped by the board", harm=harm)
    return Seen(True, True, terminal, quantity, condition_text(conditions[int(at)]), harm)


def _uncertainty(board: Board, values: Floats) -> Floats:
    terminals = len(board.terminals())
    u = VOLTS + VOLTS_SHARE * np.abs(values)
    u[..., terminals:] = AMPS + AMPS_SHARE * np.abs(values[..., terminals:])
    return u


def place_text(board: Board, column: int) -> tuple[str, str]:
    """Return the terminal and 'voltage' or 'current' of a column of what lanes showed."""
    order = [name for kind in ("input", "output", "probe") for name in board.terminals(kind)]
    if column < len(order):
        return order[column], "voltage"
    return order[column - len(order)], "current"


def condition_text(condition: Condition) -> str:
    """Return a condition in words: '24.2 V in, OUTP 1 A'."""
    volts = max(abs(volts) for _, volts in condition[0])
    loads = [f"{name} {format_value(amps, 'A')}" for name, amps in condition[1] if amps]
    return ", ".join([f"{format_value(volts, 'V', digits=4)} in", *(loads or ["no load"])])


def _harm(board: Board, conditions: Sequence[Condition], own: Floats, good: Floats) -> tuple[str, ...]:
    """Say which outputs leave their rating where good ones keep it, on the median board, and where first."""
    order, found = [name for kind in ("input", "output") for name in board.terminals(kind)], list[str]()
    for name, form in board.terminals("output").items():
        column = order.index(name)
        volts, usual = (np.median(boards[:, :, column], axis=0).tolist() for boards in (own, good))
        for condition, value, without in zip(conditions, volts, usual, strict=True):
            wrong = _out_of_rating(form, value)
            if wrong is not None and _out_of_rating(form, without) is None:
                place = condition_text(condition)
                found.append(f"{name} at {format_value(value, 'V', digits=3)} with {place}{wrong}")
                break
    return tuple(found)


def _out_of_rating(form: TerminalForm, volts: float) -> str | None:
    """Return what volts at an output exceed, '' where they are only off nominal, None where they are as they should.

    NaN counts as that: some boards were stopped on the way there.
    """
    if form.never_above is not None and form.sign * volts > form.never_above:
        return f", never above {form.never_above:g} V"
    return "" if abs(volts - (form.nominal or 0.0)) > OFF_NOMINAL * abs(form.nominal or 0.0) else None
