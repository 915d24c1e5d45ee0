"""Carry single lines to and from one instrument through a VISA resource, and notice every way that can fail.

On raw sockets PyVISA-py leaves Nagle's algorithm on (44 ms for a write before a query), spins on a link whose far
end has closed, and never times out on a reply without an end. So where the backend shows its socket, the end of the
reply is waited for here, by looking without taking, and VISA then reads a line that is complete. Any other
transport is read by VISA alone under its own time-out: nothing here needs a socket.
"""

import contextlib
import select
import socket
import struct
import time
from typing import Protocol

import pyvisa
from pyvisa.resources import MessageBasedResource

__all__ = ["Gone", "Silence", "VisaWire", "Wire", "WireFault", "open_visa_wire"]

LONGEST_REPLY_BYTES = 65536
_UNACKNOWLEDGED_MILLISECONDS = 5000
_PIECE_SECONDS = 0.0005
# What one exchange through pyvisa and PyVISA-py was seen to raise when a link breaks; OSError covers refused, reset,
# broken pipe and time-out, TypeError a close in mid-read.
_LINK_TROUBLE = (pyvisa.Error, OSError, ValueError, TypeError)


class WireFault(Exception):
    """A line could not be carried."""


class Silence(WireFault):
    """No complete line came in time; `got` is what had come by then."""

    def __init__(self, got: bytes) -> None:
        super().__init__(got)
        self.got = got


class Gone(WireFault):
    """The far end refused, closed or reset the link."""


class Wire(Protocol):
    """Carries lines to one instrument; a session knows no more of a transport than this."""

    def write_line(self, text: str) -> None:
        """Send `text` and its terminator; raises Gone."""

    def read_line(self, timeout_seconds: float) -> bytes:
        """Return one line; raises Silence after the time-out, or Gone."""

    def unread(self) -> int:
        """Return how many bytes have come that nobody asked for; raises Gone if the far end has closed."""

    def close(self) -> None:
        """Close, delivering what is still queued."""

    def abort(self) -> None:
        """Close and drop what is still queued, so that an old command is not carried out later."""


class VisaWire:
    """One open VISA resource; made by `open_visa_wire`."""

    def __init__(self, resource: MessageBasedResource, termination: str) -> None:
        self._resource = resource
        self._end = termination.encode("ascii")
        self._backend = getattr(resource.visalib, "sessions", {}).get(resource.session)
        interface = getattr(self._backend, "interface", None)
        self._socket = interface if isinstance(interface, socket.socket) else None
        self._timeout_seconds = 0.0
        if self._socket is not None:
            _tune(self._socket)

    def write_line(self, text: str) -> None:
        """Send `text` and its terminator; raises Gone."""
        try:
            self._resource.write_raw(text.encode("ascii") + self._end)
        except _LINK_TROUBLE as error:
            raise Gone(_words(error)) from error

    def read_line(self, timeout_seconds: float) -> bytes:
        """Return one line with its terminator; raises Silence after the time-out, or Gone."""
        try:
            if self._socket is not None:
                self._await_line(self._socket, timeout_seconds)
            if timeout_seconds != self._timeout_seconds:
                self._resource.timeout = timeout_seconds * 1000.0
                self._timeout_seconds = timeout_seconds
            return self._resource.read_raw()
        except pyvisa.VisaIOError as error:
            if error.error_code == pyvisa.constants.StatusCode.error_timeout:
                raise Silence(b"") from error
            raise Gone(_words(error)) from error
        except _LINK_TROUBLE as error:
            raise Gone(_words(error)) from error

    def _await_line(self, link: socket.socket, timeout_seconds: float) -> None:
        """Return once a whole line can be read without waiting."""
        deadline = time.monotonic() + timeout_seconds
        seen = b""
        while True:
            left = deadline - time.monotonic()
            readable = select.select([link], [], [], max(left, 0.0))[0]
            if readable:
                now = link.recv(LONGEST_REPLY_BYTES, socket.MSG_PEEK)
                if self._end[-1:] in now:
                    return
                if not now or len(now) >= LONGEST_REPLY_BYTES:
                    raise Gone("the instrument closed the link") if not now else Silence(now)
                if now == seen:  # a closed end behind half a line shows no more than that half
                    time.sleep(min(_PIECE_SECONDS, max(left, 0.0)))
                seen = now
            if left <= 0.0:
                raise Silence(seen)

    def unread(self) -> int:
        """Return how many bytes have come that nobody asked for; raises Gone if the far end has closed."""
        if self._socket is None:
            return 0
        waiting = len(getattr(self._backend, "_pending_buffer", b""))
        try:
            if not select.select([self._socket], [], [], 0.0)[0]:
                return waiting
            now = self._socket.recv(LONGEST_REPLY_BYTES, socket.MSG_PEEK)
        except (OSError, ValueError) as error:  # ValueError: a closed socket, or a descriptor select cannot take
            raise Gone(_words(error)) from error
        if not now:
            raise Gone("the instrument closed the link")
        return waiting + len(now)

    def close(self) -> None:
        """Close, delivering what is still queued."""
        with contextlib.suppress(*_LINK_TROUBLE):
            self._resource.close()

    def abort(self) -> None:
        """Close and drop what is still queued: the kernel keeps unsent data after a plain close."""
        if self._socket is not None:
            with contextlib.suppress(OSError):
                self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        self.close()


def _tune(link: socket.socket) -> None:
    """Send small lines at once, give up unacknowledged ones after 5 s, and report a refused connection now."""
    refused = link.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
    if refused:
        raise OSError(refused, "could not connect")
    link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    link.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    if hasattr(socket, "TCP_USER_TIMEOUT"):
        link.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, _UNACKNOWLEDGED_MILLISECONDS)


def open_visa_wire(
    manager: pyvisa.ResourceManager, address: str, *, termination: str, open_timeout_seconds: float
) -> VisaWire:
    """Open a VISA resource as a wire; raises Gone in words if that fails.

    Both terminators are `termination`: the VISA defaults differ for reading and writing, and lose replies.
    """
    try:
        resource = manager.open_resource(
            address,
            open_timeout=int(open_timeout_seconds * 1000),
            timeout=open_timeout_seconds * 1000.0,
            read_termination=termination,
            write_termination=termination,
        )
    except Exception as error:  # PyVISA-py 0.8.1 raises a bare Exception for a silent or unknown host
        raise Gone(_words(error)) from error
    if not isinstance(resource, MessageBasedResource):
        resource.close()
        raise Gone(f"{address} is a {type(resource).__name__}, which carries no messages")
    try:
        return VisaWire(resource, termination)
    except OSError as error:
        with contextlib.suppress(*_LINK_TROUBLE):
            resource.close()
        raise Gone(_words(error)) from error


def _words(error: Exception) -> str:
    return str(error) or type(error).__name__
