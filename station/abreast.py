"""Two ways of asking several readings at once, for benches that have a meter for each terminal.

An ability, not a duty: whoever performs and does not have it says so by lacking `Together`'s methods, and a program
then reads one terminal after the other. The answer to `Abreast` is recorded as any other, so that a replay goes the
way the run went.
"""

from functools import cache
from typing import Protocol, TypeGuard, runtime_checkable

from station.asks import Ask, Performer, Read, Reading
from station.errors import Unreadable

__all__ = ["Abreast", "ReadTogether", "Together"]


@runtime_checkable
class Together(Protocol):
    """A performer that may have several meters."""

    def abreast(self, ask: "Abreast") -> bool:
        """Say whether each terminal hangs on a meter of its own."""

    def read_together(self, ask: "ReadTogether") -> tuple[Reading | Unreadable, ...]:
        """Take readings at once; in the place of one that could not be had stands why."""


def _has_several(performer: Performer) -> TypeGuard[Together]:
    return _kind_has_several(type(performer))


@cache  # for a protocol is asked method by method
def _kind_has_several(kind: type[Performer]) -> bool:
    return issubclass(kind, Together)


class Abreast(Ask[bool], frozen=True):
    """Ask whether the volts of these terminals can be read at once."""

    terminals: tuple[str, ...]

    def put_to(self, performer: Performer) -> bool:
        """See Ask."""
        return _has_several(performer) and performer.abreast(self)


class ReadTogether(Ask[tuple[Reading, ...]], frozen=True):
    """Take the volts of terminals that are abreast: begin all readings, then fetch them.

    Each is recorded and told as a reading of its own. Where one can't be had, that is raised once all are recorded.
    """

    reads: tuple[Read, ...]

    def put_to(self, performer: Performer) -> tuple[Reading | Unreadable, ...]:  # type: ignore[override]  # run raises
        """See Ask."""
        if _has_several(performer):
            return performer.read_together(self)
        return tuple(performer.read(each) for each in self.reads)
