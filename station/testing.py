"""Test one board: open its bench, run the profile on screen and into the record, leave the bench safe."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version

from station.benchfile import BenchFile
from station.envelope import Envelope
from station.errors import InputError
from station.interrupts import Interrupts
from station.opening import OpenBench, open_instruments, open_simulated
from station.operators import Person
from station.outlook import Outlook
from station.profile import Profile
from station.program import compiled
from station.record import begin
from station.rehearsal import highest_volts
from station.report.head import Head
from station.report.screen import Screen
from station.run import Ended, run
from station.store import Store

__all__ = ["Attended", "Show", "Tested", "Wanted", "software", "tested"]

Show = Callable[[Head, Callable[[], float]], AbstractContextManager[Screen]]  # opens a screen for a run


@dataclass(frozen=True)
class Wanted:
    """The board that is to be tested, and who tests it; seed and faults make the simulated one."""

    serial: str
    seed: int
    faults: tuple[str, ...] = ()
    operator: str = ""


@dataclass(frozen=True)
class Attended:
    """A bench of instruments, and the person who attends to it."""

    file: BenchFile
    person: Person


@dataclass(frozen=True)
class Tested:
    """A run that has ended: its id in the record, its board, and how it ended."""

    id: str
    board: Wanted
    ended: Ended
    simulated: bool = True


def software() -> str:
    """Return this program's name and version, for the record."""
    try:
        return f"railbench {version('railbench')}"
    except PackageNotFoundError:
        return "railbench, not installed"


def tested(
    profile: Profile,
    board: Wanted,
    store: Store,
    show: Show,
    outlook: Outlook,
    interrupts: Interrupts,
    at: Attended | None = None,
) -> Tested:
    """Run a profile on a board; raises what opening bench or store raises, the rest is in `ended`.

    The board is a simulated one, unless somebody attends to a bench of instruments that has it.
    """
    program = compiled(profile, outlook.hazards)
    highest = highest_volts(profile)
    with _opened(profile, board, highest, interrupts, at) as bench:
        measured_by = tuple(program.lines()), len(profile.steps), outlook.seconds
        head = Head(
            board.serial, profile.name, profile.revision, bench.simulated, *measured_by, attended=at is not None
        )
        facts = {**bench.facts, "operator": board.operator}
        record = begin(
            store,
            profile,
            board.serial,
            simulated=bench.simulated,
            bench=facts,
            software=software(),
            texts=bench.texts,
        )
        bench.keeps(store.place, record.id)
        with show(head, bench.clock.seconds) as screen:
            if at is not None:
                at.person.paused = screen.paused
            envelope = Envelope(profile.board)
            ended = run(program, bench.performer, record, envelope=envelope, interrupts=interrupts, told=screen.told)
    return Tested(record.id, board, ended, bench.simulated)


def _opened(
    profile: Profile, board: Wanted, highest: dict[str, float], interrupts: Interrupts, at: Attended | None
) -> AbstractContextManager[OpenBench]:
    if at is not None:
        if doubled := at.file.doubled(profile.steps):
            raise InputError(doubled)
        return open_instruments(at.file, profile.board, highest, operator=at.person, interrupts=interrupts)
    return open_simulated(profile.board, highest, seed=board.seed, faults=board.faults, interrupts=interrupts)
