"""Spoil the k-th thing that goes over the wires of a bench, or is written into its record, once or from there on."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import Enum

from drivers.wire import Gone, Silence, Wire
from station.errors import StoreError
from station.store import Store

__all__ = ["Kind", "Spoiler", "SpoiltStore"]


class Kind(Enum):
    """What goes wrong."""

    NO_REPLY = "no reply"
    CLOSED = "connection closed"
    RESET = "connection reset"
    GARBAGE = "garbage reply"
    TRUNCATED = "truncated reply"
    LATE = "late reply"
    OVERLOAD = "overload value"
    NAN = "not a number"
    QUEUED_ERROR = "error in the queue"
    WRONG_INSTRUMENT = "wrong instrument"
    STAYS_ON = "output stays on"


REPLIES = {
    Kind.GARBAGE: b"\x07\xff#?!\n",
    Kind.OVERLOAD: b"+9.90000000E+37\n",
    Kind.NAN: b"+9.91000000E+37\n",
    Kind.WRONG_INSTRUMENT: b"MAKER,OTHER,1,1\n",
}


@dataclass
class Spoiler:
    """Counts what goes over all wires together, from 1; spoils the `at`-th, and all after it where it is `for_ever`."""

    kind: Kind
    at: int
    for_ever: bool = False
    count: int = 0

    def strikes(self) -> bool:
        """Count one more, and tell whether it is to be spoilt."""
        self.count += 1
        return self.count == self.at or (self.for_ever and self.count > self.at)

    def wrapped(self, wire: Wire) -> Wire:
        """Return a wire that this spoils."""
        return _SpoiltWire(wire, self)


@dataclass
class _SpoiltWire:
    """A wire with something wrong now and then."""

    wire: Wire
    spoiler: Spoiler

    def write_line(self, text: str) -> None:
        kind, strikes = self.spoiler.kind, self.spoiler.strikes()
        if strikes and kind in (Kind.CLOSED, Kind.RESET):
            self._cut()
        if strikes and kind is Kind.STAYS_ON and "OUTP" in text and "?" not in text:
            return  # what was sent never gets there
        if strikes and kind is Kind.QUEUED_ERROR:
            self.wire.write_line("NONSENSE:HEADER")
        self.wire.write_line(text)

    def read_line(self, timeout_seconds: float) -> bytes:
        kind = self.spoiler.kind
        if not self.spoiler.strikes():
            return self.wire.read_line(timeout_seconds)
        if kind is Kind.LATE:
            raise Silence(b"")  # it is still under way
        if kind in (Kind.CLOSED, Kind.RESET):
            self._cut()
        line = self.wire.read_line(timeout_seconds)
        if kind is Kind.NO_REPLY:
            raise Silence(b"")
        if kind is Kind.TRUNCATED:
            raise Silence(line[: len(line) // 2])
        return REPLIES.get(kind, line)

    def _cut(self) -> None:
        if self.spoiler.kind is Kind.RESET:
            self.wire.abort()
        else:
            self.wire.close()
        raise Gone(f"the {self.spoiler.kind.value}")

    def unread(self) -> int:
        return self.wire.unread()

    def close(self) -> None:
        self.wire.close()

    def abort(self) -> None:
        self.wire.abort()


@dataclass
class SpoiltStore:
    """Fails the `at`-th write into a store, and all after it where it is `for_ever`."""

    cause: str
    at: int
    for_ever: bool = False
    count: int = 0

    @contextmanager
    def spoilt(self, store: Store) -> Iterator[None]:
        """Spoil a store while the block runs."""
        whole = store.writing

        @contextmanager
        def writing():
            self.count += 1
            if self.count == self.at or (self.for_ever and self.count > self.at):
                raise StoreError(f"store {store.place}: {self.cause}")
            with whole() as connection:
                yield connection

        store.writing = writing  # type: ignore[method-assign]
        try:
            yield
        finally:
            store.writing = whole  # type: ignore[method-assign]
