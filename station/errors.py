"""Say what went wrong, where, and what to do instead: the one family of errors that the station raises on purpose.

    StationError
    ├── InputError        a command, profile, board sheet or netlist is wrong   (its author acts)  exit 2
    ├── BenchError        wiring, instrument or link                            (the bench)        exit 5
    ├── StoreError        the record's disk or server                           (its keeper)       exit 5
    ├── Unreadable        a reading could not be taken; thrown into a program, which goes on
    │   ├── Beyond        ohms beyond what the range of a test current shows, on either side
    │   └── NotHere       this bench has nothing to take it with
    ├── NotSolved         a simulated board's circuit has no solution; in lockstep the lane ends with it
    ├── BoardStopped      the board reached a limit; thrown into a program, which ends Failed
    └── Interrupted       Ctrl-C, SIGTERM or the operator                       (nobody)           exit 4

`drivers` and `simulated` have small families of their own; the station chains them into these.
"""

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = [
    "BenchError",
    "Beyond",
    "BoardStopped",
    "InputError",
    "Interrupted",
    "NotHere",
    "NotSolved",
    "Problem",
    "StationError",
    "StoreError",
    "Unreadable",
    "halves",
]

MOST_TOLD = 50  # problems in one message; who mends these sees the rest
MOST_LETTERS = 600  # of each half of a problem


class StationError(Exception):
    """Base of everything the station raises on purpose; its text is one message for a person."""


@dataclass(frozen=True, order=True)
class Problem:
    """One thing wrong in a file: where (counted from 1, 0 where there is no place), what, and what to write."""

    file: str
    line: int
    column: int
    what: str
    instead: str = ""

    def __str__(self) -> str:
        place = ":".join(str(part) for part in (self.file, self.line, self.column) if part)
        what, instead = _short(self.what), _short(self.instead)
        told = f"{what}; {instead}" if instead else what
        return _one_line(f"{place}: {told}" if place else told)


def _short(text: str) -> str:
    """Return a text without most of what it quotes, where that is no word but a whole file."""
    return text if len(text) <= MOST_LETTERS else f"{text[: MOST_LETTERS // 2]} ... {text[-MOST_LETTERS // 2 :]}"


def _one_line(text: str) -> str:
    """Return a text with what would steer a terminal or break the line written out: what it quotes may hold that."""
    return text if text.isprintable() else "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)


def halves(message: object) -> tuple[str, str]:
    """Return what is wrong and what to write, from a message of the form 'what is wrong; write this instead'."""
    what, _, instead = str(message).partition("; ")
    return what, instead


class InputError(StationError):
    """All that is wrong with what somebody wrote, in the order of the file."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(problems))
        told = [str(problem) for problem in self.problems[:MOST_TOLD]]
        if more := len(self.problems) - len(told):
            told.append(f"and {more} more")
        super().__init__("\n".join(told))

    @classmethod
    def about(cls, what: str, instead: str = "", *, file: str = "") -> "InputError":
        """Return the error for one problem without a place in a file."""
        return cls([Problem(file, 0, 0, what, instead)])


class BenchError(StationError):
    """An instrument, its link or the wiring could not do what was asked."""


class StoreError(StationError):
    """The record could not be opened, read or written."""


class Unreadable(StationError):
    """A reading could not be taken: overload, not a number, no answer. Never a number."""


class Beyond(Unreadable):
    """Ohms beyond the range, of which only `ohms`, its end, is known; below zero where a charge drives them."""

    def __init__(self, cause: str, ohms: float) -> None:
        super().__init__(cause)
        self.ohms = ohms


class NotHere(Unreadable):
    """This bench has nothing to take the reading with, whatever the board does."""


class NotSolved(StationError):
    """A simulated board's circuit has no solution; never a number, and never a fault detected."""


class BoardStopped(StationError):
    """The board itself ended the step: a limit or protection reached, a wrong sign, a rail above its ceiling."""

    def __init__(self, terminal: str, cause: str, value: float | None = None) -> None:
        self.terminal = terminal
        self.cause = cause
        self.value = value
        super().__init__(f"{terminal}: {cause}")


class Interrupted(StationError):
    """The operator or the system asked the run to end."""
