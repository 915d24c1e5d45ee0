"""Measure a whole proof of dual15 beside ngspice on circuits of the same faults, in one run on one core.

    python -m tests.benchmarks.prove_speed [PER_FAULT [EVERY]]

- the proof: every fourth (EVERY) fault of the universe, PER_FAULT (100) boards of each, healthy boards, what any
  terminal shows of each fault, coverage and advice; solutions are operating points of one board that were found;
- where its time goes, by timers around what is called;
- ngspice: boards of sampled faults with spread parts, at nominal input and half load: one process that alters them
  one after the other, and one `ngspice -b` process for each; and, which is kinder to it and nearer to what a proof
  does, one process that alters a board's parts once for ten conditions of inputs and loads.

Ratios, not times, are what to compare; processor time is counted on both sides, ngspice's half before the proof and
half after it, for a machine may be quicker at one time than at another. The bar, 25 times the alter loop, is on
solving alone: ngspice runs no program and judges nothing; the ratio of the whole proof stands beside it. Drawing
ngspice's parts and writing its scripts are not counted.
"""

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import shutil
import sys
import time
from collections.abc import Callable, Sequence

from simulated.circuit import fleet, ready, sparse
from simulated.circuit.fleet import Fleet
from simulated.circuit.fleet_point import FleetPoint
from simulated.circuit.stock import Stock
from simulated.circuit.wirings import Patterns
from simulated.lanes import Lanes
from station import lots, sight
from station.defects import universe_of
from station.likelihood import likelihoods
from station.opening import described
from station.profile import Profile
from station.proof import Proof
from station.prove import proved
from station.tally import Universe, Wanted
from tests.benches import full_profile
from tests.benchmarks.ngspice_rival import altering, solved_by

HEALTHY, PER_FAULT, EVERY = 1000, 100, 4
FAULTS, ALTERED, PROCESSES = 12, 60, 20  # sampled for ngspice: faults, boards of each, and processes in all
BENCH = ("V_inp inp 0 22", "V_inn inn 0 -22", "R_outp outp 0 30", "R_outn outn 0 30")
TEN = [
    (f"alter V_inp = {volts}", f"alter V_inn = {-volts}", f"alter R_outp = {ohms}", f"alter R_outn = {ohms}")
    for volts in (19.0, 20.5, 22.0, 24.0, 26.0)
    for ohms in (1000.0, 30.0)
]
WANTED_RATIO = 25.0
Counted = tuple[int, float]  # operating points, and the seconds they took


class Split:
    """Adds up seconds under names; what runs inside something else counts there only."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self._under: list[str] = []
        self._since = 0.0

    def around(self, owner: object, name: str, what: str) -> None:
        """Time a function of a module or class wherever that calls it by its name."""
        setattr(owner, name, self.timed(getattr(owner, name), what))

    def timed(self, function: Callable[..., object], what: str) -> Callable[..., object]:
        """Return the function, its time added to a name."""

        def run(*args: object, **options: object) -> object:
            self._to(what)
            try:
                return function(*args, **options)
            finally:
                self._back()

        return run

    def _to(self, what: str) -> None:
        self._charge()
        self._under.append(what)

    def _back(self) -> None:
        self._charge()
        self._under.pop()

    def _charge(self) -> None:
        now = time.process_time()
        if self._under:
            name = self._under[-1]
            self.seconds[name] = self.seconds.get(name, 0.0) + now - self._since
        self._since = now


PYTHON = "programs and performer, in Python"
READY = "lanes made ready: netlists, parts, fleets"
ASSEMBLY = "assembly: devices and stamps"
FACTORS = "factorisation and substitution"
SOLVING = "the rest of solving: Newton's bookkeeping"
OTHERS = "the rest of the proof: what boards show, advice"


def watched(split: Split, solved: list[int]) -> None:
    """Put timers around what a proof calls, and note how many boards each solve found a solution of."""
    solve = Fleet.solve

    def counted(fleet: Fleet, *args: object, **options: object) -> FleetPoint:
        point = solve(fleet, *args, **options)  # type: ignore[arg-type]  # whatever it was called with
        solved.append(int(point.solved.sum()))
        return point

    setattr(Fleet, "solve", counted)  # noqa: B010  mypy refuses the assignment
    for module in (lots, sight):
        split.around(module, "in_lockstep", PYTHON)
    split.around(Lanes, "__init__", READY)
    split.around(Lanes, "settle", SOLVING)
    for owner, name in (
        (fleet, "devices_of"),
        (ready, "devices_of"),
        (Stock, "given"),
        (sparse, "straight_lines"),
        (Patterns, "sums"),
    ):
        split.around(owner, name, ASSEMBLY)
    for name in ("run", "dense_solution", "newton_by_wiring"):
        split.around(sparse, name, FACTORS)


def proof_of(profile: Profile, per_fault: int, every: int) -> tuple[int, int, Split]:
    """Prove a profile; return boards, solutions found, and where the time went."""
    faults = universe_of(profile.board)
    universe = Universe(faults, likelihoods(faults, None), tuple(range(0, len(faults), every)))
    split, solved = Split(), list[int]()
    watched(split, solved)
    proof = split.timed(proved, OTHERS)(profile, universe, Wanted(HEALTHY, per_fault, 1, 1))
    assert isinstance(proof, Proof)
    return proof.boards, sum(solved), split


def rivals(profile: Profile) -> tuple[Counted, Counted, Counted]:
    """Return the operating points that ngspice finds, and its seconds.

    An alter loop for each sampled fault, one that alters a board once for ten conditions, a process for each.
    """
    description, names = described(profile.board), [fault for fault, _ in universe_of(profile.board)]
    sampled = names[:: len(names) // FAULTS][:FAULTS]
    loops = [altering(description, BENCH, (fault,), range(ALTERED)) for fault in sampled]
    visits = [altering(description, BENCH, (fault,), range(ALTERED // 6), TEN) for fault in sampled]
    single = [altering(description, BENCH, (sampled[at % FAULTS],), [at]) for at in range(PROCESSES)]
    return found_by(loops, ALTERED), found_by(visits, ALTERED // 6 * len(TEN)), found_by(single, 1)


def found_by(scripts: Sequence[str], points: int) -> Counted:
    """Return the operating points of scripts that each ask for so many, and the seconds they take."""
    begun = _children_seconds()
    told = sum(solved_by(script) for script in scripts)
    seconds = _children_seconds() - begun
    assert told > 0.9 * points * len(scripts), f"ngspice solved {told} of {points * len(scripts)}"
    return told, seconds


def _children_seconds() -> float:
    """Return the processor time of processes that have ended, as ours is counted."""
    times = os.times()
    return times.children_user + times.children_system


def main() -> None:
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
    profile = full_profile()
    wanted = [int(word) for word in sys.argv[1:]] + [PER_FAULT, EVERY][len(sys.argv) - 1 :]
    rival = shutil.which("ngspice") is not None
    before = rivals(profile) if rival else ()
    boards, solutions, split = proof_of(profile, wanted[0], wanted[1])
    total = sum(split.seconds.values())
    solving = sum(split.seconds[name] for name in (ASSEMBLY, FACTORS, SOLVING))
    print(f"whole proof   {boards / total:9.0f} boards/s {solutions / total:9.0f} solutions/s   {total:.1f} s")
    print(f"solving alone {boards / solving:9.0f} boards/s {solutions / solving:9.0f} solutions/s   {solving:.1f} s")
    for name, seconds in sorted(split.seconds.items(), key=lambda item: -item[1]):
        print(f"  {seconds / total:5.1%}  {name}")
    python = split.seconds[PYTHON]
    print(
        f"next factor: without its Python {total / (total - python):.1f} times, without its solving "
        f"{total / (total - solving):.1f} times as quick; two times takes compiled code for both"
    )
    if not rival:
        print("ngspice is not installed: no ratio")
        return
    both = zip(before, rivals(profile), strict=True)
    altered, visited, processes = ((one + other) / (took + again) for (one, took), (other, again) in both)
    loops = ("one alter loop", altered), ("ten conditions a board", visited), ("-b an operating point", processes)
    for what, found in loops:
        whole, alone = solutions / total / found, solutions / solving / found
        print(f"ngspice, {what:<22} {found:6.0f} /s   ratio of the whole proof {whole:5.1f}, of solving {alone:5.1f}")
    sys.exit(0 if solutions / solving / altered >= WANTED_RATIO else 1)


if __name__ == "__main__":
    main()
