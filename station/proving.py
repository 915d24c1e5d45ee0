"""What the command prove does, from arguments to exit code: choose faults, weigh them, simulate, report."""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from station.counts import load_repair_counts
from station.defects import chosen, universe_of
from station.errors import StoreError
from station.exits import ABORTED, DONE, FAILED
from station.interrupts import deferred_signals
from station.likelihood import likelihoods
from station.profile import Profile
from station.proof import Proof
from station.prove import proved
from station.report.documents import print_json
from station.report.proof_document import proof_document
from station.report.proof_page import proof_html
from station.report.proof_view import proof_view
from station.report.tables import said
from station.shipped import found_profile
from station.tally import Universe, Wanted

__all__ = ["Asked", "prove_profile"]


@dataclass(frozen=True)
class Asked:
    """What the command line asks for."""

    boards: int
    per_fault: int
    faults: tuple[str, ...]
    counts: Path | None
    seed: int
    jobs: int | None
    html: Path | None
    as_json: bool
    fail_under: float | None


def prove_profile(name: str, asked: Asked, console: Console) -> int:
    """Prove a profile; what was done before Ctrl-C is reported too, and ends as Aborted."""
    profile = found_profile(name)
    if asked.html is not None:
        _check_writable(asked.html)
    universe = _universe(profile, asked)
    wanted = Wanted(asked.boards, asked.per_fault, asked.seed, asked.jobs or os.cpu_count() or 1)
    with deferred_signals() as interrupts, _progress(console) as progress:
        proof = proved(profile, universe, wanted, lambda: bool(interrupts.cause), progress)
    _report(proof, asked)
    if proof.stopped:
        return ABORTED
    missed = asked.fail_under is not None and 100.0 * proof.coverage.value < asked.fail_under
    return FAILED if missed else DONE


def _universe(profile: Profile, asked: Asked) -> Universe:
    faults = universe_of(profile.board)
    names = [fault for fault, _ in faults]
    repairs = None if asked.counts is None else load_repair_counts(asked.counts, names)
    picked = {fault for fault, _ in chosen(faults, asked.faults, profile.board)}
    places = tuple(at for at, name in enumerate(names) if name in picked)
    return Universe(faults, likelihoods(faults, repairs), places)


def _check_writable(path: Path) -> None:
    """Find out before minutes of work that their page can't be written."""
    there = path.exists()
    try:
        path.open("a", encoding="utf-8").close()
        if not there:
            path.unlink()  # a proof that is refused or stopped leaves no empty page
    except OSError as error:
        raise StoreError(f"{path}: the page can't be written ({error.strerror}); name another --html") from error


def _report(proof: Proof, asked: Asked) -> None:
    if asked.html is not None:
        try:
            asked.html.write_text(proof_html(proof), encoding="utf-8")
        except OSError as error:
            raise StoreError(f"{asked.html}: the page can't be written ({error.strerror})") from error
    if asked.as_json:
        print_json(proof_document(proof))
    else:
        said(*proof_view(proof))


@contextmanager
def _progress(console: Console) -> Iterator[Callable[[int, int], None]]:
    """Show boards done and the time left, where there is a terminal."""
    columns = TextColumn("simulated boards"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn()
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("boards", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
