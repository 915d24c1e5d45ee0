"""Carry exchanges to one instrument, paced as it needs, and know whether the next reply will be ours.

A link is *in step* while every exchange has come to its end. The flag falls before a question is sent and rises when
its reply is here, so whatever breaks an exchange, Ctrl-C included, leaves it down; then only `say` still sends.
"""

import contextlib
import logging
import time
from collections.abc import Callable
from dataclasses import dataclass

from drivers.errors import DriverError, LinkLost, NoReply, OutOfStep, Where
from drivers.wire import Gone, Silence, Wire, WireFault

__all__ = ["Link", "Manners"]

logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class Manners:
    """How an instrument wants to be talked to, whatever is said.

    `gap_seconds` before every message after the first, `query_delay_seconds` between a question and its reply,
    `first_reply_seconds` more patience for the first reply on a new link. `error_query` is empty where there is no
    error queue. `remote` is sent first on every new link, `local` last. `acknowledgement` is the line that comes back
    after every command. `termination` ends a message; replies may end in CR LF or LF, whichever it is.
    """

    gap_seconds: float = 0.0
    query_delay_seconds: float = 0.0
    first_reply_seconds: float = 0.0
    error_query: str = "SYST:ERR?"
    remote: str = ""
    local: str = ""
    acknowledgement: str = ""
    identity_in_fields: bool = True
    termination: str = "\n"

    def __post_init__(self) -> None:
        for name in ("gap_seconds", "query_delay_seconds", "first_reply_seconds"):
            value = getattr(self, name)
            if not 0.0 <= value <= 10.0:
                raise ValueError(f"{name} is {value}; write 0 to 10 s")
        for message in (self.error_query, self.remote, self.local, self.acknowledgement):
            if message and not (message.isascii() and message.isprintable()):
                raise ValueError(f"'{message}' is not one line of ASCII")
        if self.remote and self.acknowledgement:
            raise ValueError("a message to be remote that is acknowledged is not known here; write one of the two")
        if self.termination not in ("\n", "\r\n", "\r"):
            raise ValueError(f"messages end in {self.termination!r}; write LF, CR LF or CR")


class Link:
    """One instrument's wire, opened and dropped as needed; not for more than one thread at a time.

    `upsets` counts every trouble so far, `fresh` says that nothing was asked yet on the wire that is open.
    """

    def __init__(self, name: str, address: str, open_wire: Callable[[], Wire]) -> None:
        self.name = name
        self.address = address
        self.manners = Manners()
        self.wait: Callable[[float], None] = time.sleep
        self.in_step = False
        self.fresh = False
        self.upsets = 0
        self._open_wire = open_wire
        self._wire: Wire | None = None
        self._talked = False
        self._greeted = False
        self._answered = False

    def where(self, message: str = "") -> Where:
        """Return which instrument and command an error is about."""
        return Where(self.name, self.address, message)

    def open(self) -> None:
        """Open the wire; raises LinkLost. What is at its other end shows only when it answers."""
        self.close()
        try:
            self._wire = self._open_wire()
        except Gone as fault:
            raise self._trouble(fault, "") from fault
        self.in_step = self.fresh = True
        self._greeted = self._answered = False

    def close(self, *, dropping: bool = False) -> None:
        """Close the wire, delivering what is still queued or `dropping` it.

        What was written while a cable was out is carried out when it comes back, even after a plain close.
        """
        wire, self._wire = self._wire, None
        polite = self.in_step and self._greeted and not dropping
        self.in_step = self.fresh = False
        if wire is None:
            return
        if polite and self.manners.local:
            with contextlib.suppress(WireFault):  # gone already: nobody is left to be told
                self._transmit(wire, self.manners.local)
        if dropping:
            wire.abort()
        else:
            wire.close()

    def exchange(self, message: str, limit_seconds: float) -> bytes:
        """Send a question and return the line that answers it; raises OutOfStep, NoReply or LinkLost."""
        wire = self._ready_wire(message)
        started = time.perf_counter()
        self.in_step = self.fresh = False
        try:
            self._transmit(wire, message)
            if self.manners.query_delay_seconds:
                self.wait(self.manners.query_delay_seconds)
            raw = self._read(wire, limit_seconds)
        except WireFault as fault:
            raise self._trouble(fault, message, limit_seconds) from fault
        self.in_step = True
        logger.debug("%s < %r %.2f ms", self.name, raw, (time.perf_counter() - started) * 1e3)
        return raw

    def send(self, message: str, limit_seconds: float) -> bytes:
        """Send a message that has no reply, and return the line that acknowledges it where the instrument does so.

        Raises OutOfStep, LinkLost or, where an acknowledgement is missing, NoReply.
        """
        wire = self._ready_wire(message)
        self.in_step = False
        try:
            self._transmit(wire, message)
            raw = self._read(wire, limit_seconds) if self.manners.acknowledgement else b""
        except WireFault as fault:
            raise self._trouble(fault, message, limit_seconds) from fault
        self.in_step = True
        return raw

    def say(self, message: str) -> DriverError | None:
        """Send a message in step or not, on a new wire if need be; return what went wrong instead of raising it.

        A wire that is out of step is told too and then closed plainly: a late delivery of *off* is welcome.
        """
        if self._wire is not None and self._try(self._wire, message) is None and (self.in_step or self.fresh):
            return None
        try:
            self.open()
        except LinkLost as lost:
            return lost
        self.in_step = False  # who answers there is for resynchronising to find out
        return self._try(self._wire, message) if self._wire is not None else None

    def _try(self, wire: Wire, message: str) -> DriverError | None:
        try:
            wire.unread()  # a write to a closed link succeeds once
            self._transmit(wire, message)
        except WireFault as fault:
            self.in_step = self.fresh = False
            return self._trouble(fault, message)
        return None

    def _ready_wire(self, message: str) -> Wire:
        """Return the wire if the next reply on it will be ours."""
        if self._wire is None or not self.in_step:
            raise OutOfStep(
                self.where(message),
                f"'{message}' was not sent: an earlier exchange did not come to its end",
                "resynchronise the session, then read back what the instrument is set to",
            )
        try:
            waiting = self._wire.unread()
        except Gone as fault:
            self.in_step = False
            raise self._trouble(fault, message) from fault
        if waiting:
            self.in_step = False
            self.upsets += 1
            raise OutOfStep(
                self.where(message),
                f"'{message}' was not sent: {waiting} bytes came that nobody had asked for",
                "resynchronise the session; look for a second program on this instrument",
            )
        return self._wire

    def _read(self, wire: Wire, limit_seconds: float) -> bytes:
        raw = wire.read_line(limit_seconds + (0.0 if self._answered else self.manners.first_reply_seconds))
        self._answered = True
        return raw

    def _transmit(self, wire: Wire, message: str) -> None:
        if self.manners.remote and not self._greeted:
            self._greeted = True
            self._transmit(wire, self.manners.remote)
        self._greeted = True
        if self.manners.gap_seconds and self._talked:
            self.wait(self.manners.gap_seconds)
        self._talked = True
        logger.debug("%s > %s", self.name, message)
        wire.write_line(message)

    def _trouble(self, fault: WireFault, message: str, limit_seconds: float = 0.0) -> DriverError:
        """Return a wire's trouble in words, and count it."""
        self.upsets += 1
        asked = f"'{message}'" if message else "opening the link"
        if isinstance(fault, Silence):
            got = f"; it sent {len(fault.got)} bytes without a terminator" if fault.got else ""
            return NoReply(
                self.where(message),
                f"no reply to {asked} within {limit_seconds:g} s{got}",
                "check its power, its cable and its dialect, and that no other program holds it; then resynchronise",
            )
        return LinkLost(
            self.where(message),
            f"the link was lost at {asked}: {fault}",
            "its outputs stay as they were; check its power, its cable and the address in the bench file",
        )
