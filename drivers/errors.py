"""Say what went wrong between us and an instrument, so that the person at the bench knows what to do next.

The family, by what happened:

    DriverError
    ├── LinkError            nothing usable came over the wire
    │   ├── NoReply          the instrument kept silent until the time-out
    │   └── LinkLost         refused, closed or reset; or it could not be opened at all
    ├── OutOfStep            after a time-out the next reply may answer an older question
    ├── BadReply             a reply came, but not of the form the question asks for
    │   └── Overloaded       a meter's range is too small for what is at its input
    ├── InstrumentError      the instrument itself complained in its error queue
    ├── SettingMismatch      a setting reads back differently from what was sent
    ├── NotPrepared          power was asked for before protections and settings stood
    └── UnknownDialect       a dialect name that is not in the table

Every message names the instrument as the bench calls it, its address, the command, what came and what to do.
"""

from dataclasses import dataclass

__all__ = [
    "BadReply",
    "DriverError",
    "InstrumentError",
    "LinkError",
    "LinkLost",
    "NoReply",
    "NotPrepared",
    "OutOfStep",
    "Overloaded",
    "QueuedError",
    "SettingMismatch",
    "UnknownDialect",
    "Where",
    "bad_reply",
]


@dataclass(frozen=True)
class Where:
    """Which instrument, at which VISA address, was busy with which command; "" where there is none yet."""

    instrument: str
    address: str
    command: str = ""

    def __str__(self) -> str:
        return f"{self.instrument} ({self.address})"


@dataclass(frozen=True)
class QueuedError:
    """One entry of an instrument's error queue: its number and its own text."""

    number: int
    text: str

    def __str__(self) -> str:
        return f'{self.number},"{self.text}"'


class DriverError(Exception):
    """Anything that keeps an instrument from doing what it was told.

    `problem` is what came, `remedy` what the person at the bench should do about it.
    """

    def __init__(self, where: Where, problem: str, remedy: str) -> None:
        super().__init__(where, problem, remedy)  # all three, so that a pickled error arrives whole
        self.where = where
        self.problem = problem
        self.remedy = remedy

    def __str__(self) -> str:
        about = f"{self.where}: " if self.where.instrument else ""
        return f"{about}{self.problem}; {self.remedy}"


class LinkError(DriverError):
    """Nothing usable came over the wire."""


class NoReply(LinkError):
    """The instrument kept silent until the time-out; the session is out of step from here on."""


class LinkLost(LinkError):
    """The link was refused, closed or reset, or could not be opened."""


class OutOfStep(DriverError):
    """A late reply may still be on its way, so the session refuses questions until it is resynchronised."""


class BadReply(DriverError):
    """A reply came, but not of the form the question asks for."""


class Overloaded(BadReply):
    """What is at the meter's input is beyond its range; `sign` says on which side."""

    def __init__(self, where: Where, problem: str, remedy: str, sign: float = 1.0) -> None:
        super().__init__(where, problem, remedy)
        self.args = (where, problem, remedy, sign)
        self.sign = sign


def bad_reply(where: Where, problem: object) -> BadReply:
    """Return the error for a reply that could not be read: `problem` says what is wrong with it."""
    return BadReply(
        where,
        f"{problem}, in reply to '{where.command}'",
        "check that its dialect fits and that nothing else is talking to it",
    )


class InstrumentError(DriverError):
    """The instrument complained in its error queue; `entries` holds what it said, oldest first."""

    def __init__(self, where: Where, problem: str, remedy: str, entries: tuple[QueuedError, ...] = ()) -> None:
        super().__init__(where, problem, remedy)
        self.args = (where, problem, remedy, entries)
        self.entries = entries


class SettingMismatch(DriverError):
    """A setting reads back differently from what was sent; nothing may be energised on it."""


class NotPrepared(DriverError):
    """Power was asked for before protections and settings had been read back."""


class UnknownDialect(DriverError):
    """A dialect name that is not in the table, or a dialect for another kind of instrument."""
