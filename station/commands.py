"""What the commands that test boards do: demo, run and check, from arguments to exit code."""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

from rich.console import Console
from rich.text import Text

from station import demo
from station.benchfile import load_bench_file
from station.errors import StationError
from station.exits import DONE, exit_code
from station.interrupts import Interrupts, deferred_signals
from station.lookup import chosen_store, written_certificate
from station.names import check_operator, check_serial, file_name
from station.operators import Person
from station.outlook import Outlook, foreseen
from station.profile import Profile
from station.rehearsal import Rehearsal, rehearsed
from station.report.documents import check_document, print_json, run_document
from station.report.head import Head
from station.report.screen import Screen, open_screen
from station.report.tables import batch_table, check_view, said, yield_text
from station.report.wording import OUTCOME_STYLES, sentence
from station.run import Ended
from station.safety import CUT_BY_HAND
from station.schemas import schema
from station.shipped import found_profile
from station.store import open_store
from station.testing import Attended, Tested, Wanted, tested

__all__ = ["check_profile", "print_schema", "run_board", "run_demo"]


def check_profile(name: str, *, as_json: bool) -> int:
    """Show what a run would do, from a dry run on the nominal board."""
    profile = found_profile(name)
    with deferred_signals() as interrupts:
        rehearsal = _rehearsed(profile, interrupts)
    if as_json:
        print_json(check_document(profile, rehearsal))
    else:
        said(*check_view(profile, rehearsal))
    return DONE


def print_schema(of: str) -> int:
    """Print the JSON Schema of a kind of file."""
    print_json(schema(of))
    return DONE


def run_board(
    name: str, board: Wanted, store: str | None, console: Console, *, as_json: bool, bench: Path | None = None
) -> int:
    """Test one board, on a file's bench or else a simulated one; its outcome goes to stdout in one line, or as JSON."""
    profile = found_profile(name)
    check_serial(board.serial)
    file = None if bench is None else load_bench_file(bench)
    check_operator(board.operator)
    with deferred_signals() as interrupts:
        at = None if file is None else Attended(file, Person(console, interrupts))
        outlook = _foreseen(profile, interrupts)
        with open_store(chosen_store(store)) as record:
            done = tested(profile, board, record, _screen(console), outlook, interrupts, at)
        _tell_safe(done.ended, console)
        if as_json:
            print_json(run_document(done, profile.name, profile.revision))
        else:
            mark = "SIMULATED " if done.simulated else ""
            said(Text(f"{mark}{board.serial}  {_sentence(done.ended)}"))
        return exit_code(done.ended)


def run_demo(seed: int, store: str | None, console: Console) -> int:
    """Test the demo's boards one after the other; the table goes to stdout."""
    profile = found_profile(demo.DEMO_PROFILE)
    boards = demo.batch(seed)
    place = chosen_store(store, own="demo.sqlite")
    done: list[Tested] = []
    console.print(
        f"{len(boards)} simulated boards against {profile.name}, {demo.FAULTY} with an assembly fault put in:"
    )
    with deferred_signals() as interrupts, open_store(place) as record:
        outlook = _foreseen(profile, interrupts)
        for board in boards:
            done.append(tested(profile, board, record, _batch_screen(console), outlook, interrupts))
            ended = done[-1].ended
            _tell_one(console, len(done), len(boards), board.serial, ended)
            if not ended.safe.verified:
                _tell_safe(ended, console)
            if ended.trouble is not None or not ended.safe.verified:
                return exit_code(ended)
        passed = next((each for each in done if each.ended.outcome.value == "Passed"), done[0])
        page = written_certificate(record, passed.board.serial, record.folder / file_name(passed.board.serial, ".html"))
    notes = {board: demo.FAULTS[board.faults[0]] if board.faults else "" for board in boards}
    said(batch_table(done, notes), yield_text(done))
    said(Text(f"record       {place}\ncertificate  {page}"))
    return DONE


def _foreseen(profile: Profile, interrupts: Interrupts) -> Outlook:
    return foreseen(profile, lambda: _rehearsed(profile, interrupts).outlook)


def _rehearsed(profile: Profile, interrupts: Interrupts) -> Rehearsal:
    """Rehearse before power; what goes wrong on the nominal board is the profile's or the netlist's fault."""
    rehearsal = rehearsed(profile, interrupts)
    trouble = rehearsal.ended.trouble
    if isinstance(trouble, StationError):
        raise trouble
    return rehearsal


def _screen(console: Console) -> Callable[[Head, Callable[[], float]], AbstractContextManager[Screen]]:
    return lambda head, seconds: open_screen(console, head, seconds)


def _batch_screen(console: Console) -> Callable[[Head, Callable[[], float]], AbstractContextManager[Screen]]:
    """Show a batch's runs live where there is a terminal, and not at all elsewhere: each gets its line at its end."""

    @contextmanager
    def show(head: Head, seconds: Callable[[], float]) -> Iterator[Screen]:
        if not console.is_terminal:
            yield Screen(lambda ask, reply: None)
            return
        with open_screen(console, head, seconds, transient=True) as screen:
            yield screen

    return show


def _sentence(ended: Ended) -> str:
    return sentence(ended.outcome, ended.judgements, str(ended.trouble or ""))


def _tell_one(console: Console, number: int, of: int, serial: str, ended: Ended) -> None:
    text = Text(f"{number:>3}/{of}  {serial}  ").append(_sentence(ended), style=OUTCOME_STYLES[ended.outcome.value])
    console.print(text, soft_wrap=True)


def _tell_safe(ended: Ended, console: Console) -> None:
    if ended.safe.tripped:
        console.print(f"protections that had tripped: {', '.join(ended.safe.tripped)}", soft_wrap=True)
    if ended.safe.verified:
        console.print("bench verified safe")
        return
    console.print(Text(f"\n{CUT_BY_HAND}.", style="bold red"), soft_wrap=True)
    for problem in ended.safe.problems:
        console.print(Text(f"  {problem}"), soft_wrap=True)
