"""Ask one instrument questions and never take an old reply for a new one.

One session is one instrument: a lock around each exchange, and *out of step* as soon as an exchange did not come to
its end. A late reply would answer the next question, so from then on the session refuses work until `resynchronise`
has opened the link anew and the same instrument answers `*IDN?`. Making safe is exempt: `last_words` is a bare write
that waits for nothing and returns its failure.
"""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from drivers import scpi
from drivers.errors import BadReply, DriverError, InstrumentError, LinkLost, NoReply, QueuedError, Where, bad_reply
from drivers.link import Link, Manners
from drivers.wire import Wire

__all__ = ["LONGEST_TIMEOUT_SECONDS", "Session", "understanding"]

LONGEST_TIMEOUT_SECONDS = 600.0
# Queues of 10, 20 and 30 entries are built; two more reads see the end. A permanent fault re-enters its queue.
_MOST_QUEUED_ERRORS = 32
_REOPEN_PAUSES_SECONDS = (0.1, 0.3)


class Session:
    """The link to one instrument; made by `Links.open`, closed with it, used by one driver."""

    def __init__(self, name: str, address: str, open_wire: Callable[[], Wire], timeout_seconds: float = 2.0) -> None:
        if not 0.0 < timeout_seconds <= LONGEST_TIMEOUT_SECONDS:
            raise ValueError(f"{name} has a time-out of {timeout_seconds} s; write more than 0 and at most 600 s")
        self.timeout_seconds = timeout_seconds
        self._link = Link(name, address, open_wire)
        self._lock = threading.RLock()
        self._identity: scpi.Identity | None = None

    @property
    def in_step(self) -> bool:
        """Whether the next reply will answer the next question."""
        return self._link.in_step

    @property
    def upsets(self) -> int:
        """Every trouble so far, counted: who remembers what the instrument was set to forgets it when this moves."""
        return self._link.upsets

    def doubt(self) -> None:
        """Count a trouble that only shows in what a reply says."""
        self._link.upsets += 1

    def adopt(self, manners: Manners, wait: Callable[[float], None]) -> None:
        """Take over how the instrument wants to be talked to, and what waits (a clock, when it is simulated)."""
        self._link.manners = manners
        self._link.wait = wait

    def open(self) -> None:
        """Open the link; raises LinkLost. What is at its other end shows only when it answers."""
        with self._lock:
            self._link.open()

    def close(self) -> None:
        """Close the link, delivering what is still queued; a closed session can be opened again."""
        self._link.close()

    def where(self, message: str = "") -> Where:
        """Return which instrument and command an error is about."""
        return self._link.where(message)

    def query(self, message: str, *, timeout_seconds: float | None = None) -> str:
        """Send a question and return its reply, stripped.

        Raises OutOfStep without sending anything if an earlier exchange did not end well; NoReply or LinkLost if this
        one does not; BadReply for a reply that is no text. After NoReply and LinkLost the session is out of step.
        """
        limit = self.timeout_seconds if timeout_seconds is None else min(timeout_seconds, LONGEST_TIMEOUT_SECONDS)
        with self._lock:
            raw = self._link.exchange(message, limit)
        with understanding(self.where(message)):
            return scpi.tidy(raw)

    def write(self, message: str) -> None:
        """Send a message that has no reply. A query has to follow: that a write succeeded proves nothing.

        Raises InstrumentError where the instrument acknowledges commands and does not acknowledge this one.
        """
        with self._lock:
            raw = self._link.send(message, self.timeout_seconds)
        wanted = self._link.manners.acknowledgement
        if not wanted:
            return
        with understanding(self.where(message)):
            told = scpi.tidy(raw)
        if told != wanted:
            self._link.upsets += 1
            problem = f"'{message}' was answered '{told}' in place of '{wanted}'"
            raise InstrumentError(self.where(message), problem, "look it up in its manual; it was not done")

    def last_words(self, message: str) -> DriverError | None:
        """Send a message that makes safe, in step or not, and return what went wrong instead of raising it.

        Waits for no reply. On a link that is out of step it is sent there and once more on a new link.
        """
        patient = self._lock.acquire(timeout=self.timeout_seconds)  # an exchange that hangs must not hold up *off*
        try:
            return self._link.say(message)
        finally:
            if patient:
                self._lock.release()

    def resynchronise(self) -> scpi.Identity:
        """Drop the link with everything still queued, open it anew and make sure the same instrument answers.

        Raises LinkLost or NoReply after a few attempts, and BadReply if another instrument answers. Settings, output
        state and error queue are then as the instrument has them: assume nothing.
        """
        with self._lock:
            self._link.upsets += 1
            for pause in _REOPEN_PAUSES_SECONDS:
                try:
                    return self._start_again()
                except (LinkLost, NoReply):
                    self._link.wait(pause)
            return self._start_again()

    def identify(self) -> scpi.Identity:
        """Ask who is there; raises BadReply if it is not who answered on this session before."""
        reply = self.query("*IDN?")
        with understanding(self.where("*IDN?")):
            identity = scpi.parse_identity(reply, in_fields=self._link.manners.identity_in_fields)
        if self._identity is not None and identity != self._identity:
            self._link.in_step = False
            self._link.upsets += 1
            raise BadReply(
                self.where("*IDN?"),
                f"'*IDN?' is now answered by {identity}, before it was {self._identity}",
                "look which instrument is at this address, then start the run again",
            )
        self._identity = identity
        return identity

    def drain_errors(self) -> tuple[QueuedError, ...]:
        """Empty the error queue and return what was in it, oldest first; () where the dialect has none."""
        question = self._link.manners.error_query
        if not question:
            return ()
        entries: list[QueuedError] = []
        while len(entries) < _MOST_QUEUED_ERRORS:
            reply = self.query(question)
            with understanding(self.where(question)):
                entry = scpi.parse_error(reply)
            if entry is None:
                break
            entries.append(entry)
        return tuple(entries)

    def _start_again(self) -> scpi.Identity:
        if self._link.fresh:  # last words may still be on their way there: aborting would drop them
            self._link.in_step = True
        else:
            self._link.close(dropping=True)
            self._link.open()
        return self.identify()


@contextmanager
def understanding(where: Where) -> Iterator[None]:
    """Turn a reply that cannot be read into a BadReply which says whose it was and what it answered."""
    try:
        yield
    except scpi.Unreadable as fault:
        raise bad_reply(where, fault) from fault
