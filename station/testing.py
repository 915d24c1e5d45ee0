"""Test one board: open its bench, run the profile on screen and into the record, leave the bench safe."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version

from station.envelope import Envelope
from station.interrupts import Interrupts
from station.opening import open_simulated
from station.profile import Profile
from station.program import compiled
from station.record import begin
from station.rehearsal import Rehearsal, highest_volts
from station.report.head import Head
from station.run import Ended, Told, run
from station.store import Store

__all__ = ["Show", "Tested", "Wanted", "software", "tested"]

Show = Callable[[Head, Callable[[], float]], AbstractContextManager[Told]]  # opens a screen for a run


@dataclass(frozen=True)
class Wanted:
    """The board that is to be tested, and who tests it; seed and faults make the simulated one."""

    serial: str
    seed: int
    faults: tuple[str, ...] = ()
    operator: str = ""


@dataclass(frozen=True)
class Tested:
    """A run that has ended: its id in the record, its board, and how it ended."""

    id: str
    board: Wanted
    ended: Ended


def software() -> str:
    """Return this program's name and version, for the record."""
    try:
        return f"railbench {version('railbench')}"
    except PackageNotFoundError:
        return "railbench, not installed"


def tested(
    profile: Profile, board: Wanted, store: Store, show: Show, rehearsal: Rehearsal, interrupts: Interrupts
) -> Tested:
    """Run a profile on a simulated board; raises what opening bench or store raises, the rest is in `ended`."""
    program = compiled(profile, rehearsal.hazards)
    measured_by = tuple(program.lines()), len(profile.steps), rehearsal.seconds
    head = Head(board.serial, profile.name, profile.revision, True, *measured_by)
    highest = highest_volts(profile)
    with open_simulated(profile.board, highest, seed=board.seed, faults=board.faults, interrupts=interrupts) as bench:
        facts = {**bench.facts, "operator": board.operator}
        record = begin(store, profile, board.serial, simulated=True, bench=facts, software=software())
        with show(head, bench.clock.seconds) as told:
            envelope = Envelope(profile.board)
            ended = run(program, bench.performer, record, envelope=envelope, interrupts=interrupts, told=told)
    return Tested(record.id, board, ended)
