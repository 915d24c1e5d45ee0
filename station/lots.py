"""Run lots of simulated boards through a profile in lockstep and keep of each what a proof is made of.

Lots are cut without regard to how many processes work on them, so that the same seed gives the same figures.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from station.lines import Outcome
from station.lockstep import Condition, LaneBoard, LaneEnded, in_lockstep
from station.profile import Profile
from station.program import compiled
from station.rehearsal import highest_volts
from station.workers import Stopped

__all__ = ["CODES", "OUTCOMES", "Lot", "Told", "cut", "run_lot"]

OUTCOMES = (Outcome.NOT_STARTED, Outcome.PASSED, Outcome.FAILED, Outcome.UNDECIDED, Outcome.ABORTED)
CODES = {outcome: code for code, outcome in enumerate(OUTCOMES)}
# Boards together in one lot, and faults: more boards fill memory (0.7 GB), more wirings solve more slowly.
LOT_BOARDS, MOST_FAULTS = 4000, 60
LEAST_BOARDS, SHARE = 1000, 3  # the last lots take a third of what is left, so that processes end at about one time


@dataclass(frozen=True)
class Lot:
    """Boards that are run together; `start` is the place of the first among all."""

    start: int
    boards: tuple[LaneBoard, ...]


@dataclass
class Told:
    """What became of a lot's boards (N), in their order, line by line (L) as the program promises them.

    `outcomes` are places in OUTCOMES, `values` what was judged (NaN: nothing). `visited` has volts of all terminals
    and amps of all inputs (N, T) under each condition, NaN for boards that did not pass or were not there.
    """

    start: int
    outcomes: NDArray[np.int8]
    values: NDArray[np.float64]
    unsolved: dict[int, str] = field(default_factory=dict)
    visited: dict[Condition, NDArray[np.float64]] = field(default_factory=dict)
    step_seconds: dict[str, list[float]] = field(default_factory=dict)
    unfed_steps: set[str] = field(default_factory=set)


def cut(boards: Sequence[LaneBoard], start: int, behind: int = 0) -> Iterator[Lot]:
    """Cut boards, those of one fault standing together, into lots.

    `start` is the place of the first among all, and so many boards are to be cut yet that stand `behind` the last.
    """
    begin, faults, most = 0, set[tuple[str, ...]](), _most(len(boards) + behind)
    for at, board in enumerate(boards):
        if at - begin >= most or (board.faults not in faults and len(faults) == MOST_FAULTS):
            yield Lot(start + begin, tuple(boards[begin:at]))
            begin, faults, most = at, set(), _most(len(boards) - at + behind)
        faults.add(board.faults)
    if begin < len(boards):
        yield Lot(start + begin, tuple(boards[begin:]))


def _most(left: int) -> int:
    return min(LOT_BOARDS, max(LEAST_BOARDS, left // SHARE))


def run_lot(task: tuple[Profile, Lot], stopped: Stopped) -> Told:
    """Run one lot through a profile; what is told of a lot that was `stopped` is not the whole of it."""
    profile, lot = task
    program = compiled(profile)
    places = {line: at for at, line in enumerate(program.lines())}
    ended = in_lockstep(program, profile.board, highest_volts(profile), lot.boards, stopped)
    told = Told(
        lot.start,
        np.zeros((len(ended), len(places)), dtype=np.int8),
        np.full((len(ended), len(places)), np.nan),
    )
    for at, lane in enumerate(ended):
        if lane.unsolved:
            told.unsolved[at] = lane.unsolved
        for judgement in lane.judgements:
            # What this bench can't start decides nothing, and keeps no board from passing.
            outcome = judgement.outcome if judgement.counts else Outcome.PASSED
            place = places[judgement.line]
            told.outcomes[at, place] = CODES[outcome]
            if judgement.value is not None:
                told.values[at, place] = judgement.value
        for step, seconds in lane.seconds.items():
            told.step_seconds.setdefault(step, []).append(seconds)
        told.unfed_steps |= lane.unfed_steps
        if not lane.unsolved and (told.outcomes[at] == CODES[Outcome.PASSED]).all():
            _see(told, at, lane)
    return told


def _see(told: Told, at: int, lane: LaneEnded) -> None:
    for condition, seen in lane.visited.items():
        if condition not in told.visited:
            told.visited[condition] = np.full((told.outcomes.shape[0], seen.size), np.nan)
        told.visited[condition][at] = seen
