"""Prove a profile: run it on simulated boards, good ones and every fault, and say which faults it catches.

The same program as on the bench is answered in lockstep, lot by lot. A board is caught when its run ends Failed;
Undecided is not caught, and neither is a board whose circuit has no solution.
"""

import time
from collections import Counter
from collections.abc import Callable, Sequence

from station.errors import InputError, Interrupted
from station.lockstep import LaneBoard
from station.lots import Lot, Told, cut, run_lot
from station.profile import Profile
from station.proof import Proof
from station.sight import looking
from station.tally import Tally, Universe, Wanted, line_titles, outcomes_of
from station.workers import Workers

__all__ = ["proved"]

FIRST_GOOD = 200  # boards that are looked at before all others: a profile that fails them proves nothing
MOST_FALSE = 0.5  # of them
SEEDS_PER_FAULT = 10_000  # so that a fault's boards are the same whichever other faults are chosen


def proved(
    profile: Profile,
    universe: Universe,
    wanted: Wanted,
    stopped: Callable[[], bool] = lambda: False,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Proof:
    """Return what proving a profile finds; `progress` is told boards done and boards in all.

    Raises InputError where most good boards fail, and Interrupted where it is stopped before any lot is done.
    """
    started = time.monotonic()
    boards = _boards(universe, wanted)
    lots = _lots(boards, wanted.healthy)
    done = 0

    def told(task: tuple[Profile, Lot]) -> None:
        nonlocal done
        done += len(task[1].boards)
        progress(done, len(boards))

    progress(0, len(boards))
    with Workers(wanted.jobs, stopped) as workers:
        others = workers.begun(run_lot, [(profile, lot) for lot in lots[1:]], told)
        first = [run_lot((profile, lots[0]), stopped)]
        if stopped():
            raise Interrupted("stopped before anything was simulated")
        told((profile, lots[0]))
        _refuse_a_profile_for_no_good_board(profile, first[0])
        names = [universe.faults[at][0] for at in universe.chosen]
        looked = looking(profile, names, wanted.seed * SEEDS_PER_FAULT * SEEDS_PER_FAULT, workers)
        tally = Tally(profile, universe, wanted, [*first, *others()])
        hot = tally.hottest()  # while processes look
        sights = looked()
    return tally.proof(sights, hot, time.monotonic() - started, stopped=stopped())


def _boards(universe: Universe, wanted: Wanted) -> list[LaneBoard]:
    """Return all boards, good ones first; a board's seed hangs on its fault's place in the whole universe."""
    start = wanted.seed * (len(universe.faults) + 1) * SEEDS_PER_FAULT
    good = [LaneBoard(start + at) for at in range(wanted.healthy)]
    return good + [
        LaneBoard(start + (place + 1) * SEEDS_PER_FAULT + at, (universe.faults[place][0],))
        for place in universe.chosen
        for at in range(wanted.per_fault)
    ]


def _lots(boards: Sequence[LaneBoard], healthy: int) -> list[Lot]:
    first = min(FIRST_GOOD, healthy)
    good = [Lot(0, tuple(boards[:first])), *cut(boards[first:healthy], first, behind=len(boards) - healthy)]
    return [*good, *cut(boards[healthy:], healthy)]


def _refuse_a_profile_for_no_good_board(profile: Profile, told: Told) -> None:
    outcomes = outcomes_of([told])
    failed, solved = int(outcomes.caught.sum()), int((~outcomes.unsolved).sum())
    if solved and not outcomes.caught.any() and not outcomes.passed.any():
        what = f"none of {solved} boards without a fault passes: they are Undecided, and so will every faulty one be"
        instead = "widen the limits that the bench can't hold; 'railbench check' shows them on the nominal board"
        raise InputError.about(what, instead, file=str(profile.path))
    if failed <= MOST_FALSE * outcomes.caught.size:
        return
    titles = line_titles(profile)
    worst, times = Counter(titles[at] for at in outcomes.first_line[outcomes.caught].tolist()).most_common(1)[0]
    raise InputError.about(
        f"{failed} of {outcomes.caught.size} boards without a fault fail, {times} of them first on '{worst}': "
        "what such a profile fails proves nothing",
        "widen that limit, or correct the netlist or its tolerances",
        file=str(profile.path),
    )
