"""Serve a simulated instrument on a TCP port of this machine, so that a driver reaches it as it would a real one.

One thread a server, any number of clients. The instrument keeps its state when a client goes, whichever way it
goes. `Manners` make a server misbehave on purpose, for the tests of drivers.
"""

import selectors
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Protocol

__all__ = ["Instrument", "Manners", "Server", "Talker", "open_server"]

_CHUNK = 65536
_SEND_SECONDS = 1.0  # a client that takes no answer for so long is given up


class Talker(Protocol):
    """One client's side of an instrument."""

    def receive(self, data: bytes) -> bytes:
        """Take bytes as they come in and return the answer lines they lead to, each ended by LF."""


class Instrument(Protocol):
    """Anything that answers bytes with bytes."""

    def connection(self) -> Talker:
        """Return a new talker."""


@dataclass(frozen=True)
class Manners:
    """How answers reach the client; answers count from 1 since the server opened or was told to misbehave.

    `drop_answer`: this answer is never sent. `hold_answer`: it is sent only before the one after it, later than
    any time-out. `cut_answer`: half of it is sent, then the connection is closed. `terminator` ends every answer. The
    first answer on each connection takes `first_answer_seconds` longer.
    """

    drop_answer: int | None = None
    hold_answer: int | None = None
    cut_answer: int | None = None
    terminator: bytes = b"\n"
    first_answer_seconds: float = 0.0


WELL_BEHAVED = Manners()


class _Client:
    """A connected socket with its talker and the answer held back from it."""

    def __init__(self, sock: socket.socket, talker: Talker) -> None:
        # Without NODELAY a second small answer would wait 40 ms for the client's delayed acknowledgement.
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        sock.settimeout(_SEND_SECONDS)
        self.sock = sock
        self.talker = talker
        self.held = b""
        self.answered = False


class Server:
    """A listening socket and the thread that answers on it; `open_server` makes and ends it."""

    def __init__(self, instrument: Instrument, manners: Manners) -> None:
        self._instrument = instrument
        self._manners = manners
        self._answers = 0
        self._failure: BaseException | None = None
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._wake, self._woken = socket.socketpair()
        self._selector = selectors.DefaultSelector()
        self._selector.register(self._listener, selectors.EVENT_READ)
        self._selector.register(self._woken, selectors.EVENT_READ)
        self._thread = threading.Thread(target=self._serve, name=f"instrument on port {self.port}", daemon=True)
        self._thread.start()

    @property
    def resource(self) -> str:
        """The VISA resource string of this server."""
        return f"TCPIP0::127.0.0.1::{self.port}::SOCKET"

    def misbehave(self, manners: Manners) -> None:
        """Answer in another manner from now on; the count of answers starts again at 1."""
        self._manners, self._answers = manners, 0

    def close(self) -> None:
        """End the thread and every connection; raise what the instrument itself failed with, if it did."""
        self._wake.close()  # the thread sees the end of this pair and goes
        self._thread.join()
        if self._failure is not None:
            raise RuntimeError(f"the simulated instrument on port {self.port} broke down") from self._failure

    def _serve(self) -> None:
        try:
            while self._turn():
                pass
        except Exception as error:  # noqa: BLE001 - a thread has nobody to raise to; close() raises it
            self._failure = error
        finally:
            for key in list(self._selector.get_map().values()):
                assert isinstance(key.fileobj, socket.socket)
                key.fileobj.close()
            self._selector.close()

    def _turn(self) -> bool:
        """Deal with whatever is ready; False when the server is to end."""
        for key, _ in self._selector.select():
            if key.fileobj is self._woken:
                return False
            if key.fileobj is self._listener:
                self._accept()
            elif not self._listen_to(key.data):
                self._selector.unregister(key.fileobj)
                key.data.sock.close()
        return True

    def _accept(self) -> None:
        try:
            sock, _ = self._listener.accept()
        except OSError:  # the client was gone before we looked
            return
        self._selector.register(sock, selectors.EVENT_READ, _Client(sock, self._instrument.connection()))

    def _listen_to(self, client: _Client) -> bool:
        """Take what a client sent and answer it; False when the connection is at its end."""
        try:
            data = client.sock.recv(_CHUNK)
            if not data:
                return False
            *lines, _ = client.talker.receive(data).split(b"\n")
            return all(self._send(client, line) for line in lines)
        except OSError:  # reset, broken pipe, or an answer nobody takes
            return False

    def _send(self, client: _Client, line: bytes) -> bool:
        """Send one answer in one piece, as two would stall at some clients; False to close the connection."""
        self._answers += 1
        manners, number = self._manners, self._answers
        answer = line + manners.terminator
        if not client.answered:
            client.answered = True
            time.sleep(manners.first_answer_seconds)
        if number == manners.drop_answer:
            return True
        if number == manners.hold_answer:
            client.held = answer
            return True
        if number == manners.cut_answer:
            client.sock.sendall(answer[: len(answer) // 2])
            return False
        if client.held:
            client.sock.sendall(client.held)
            client.held = b""
        client.sock.sendall(answer)
        return True


@contextmanager
def open_server(instrument: Instrument, manners: Manners = WELL_BEHAVED) -> Iterator[Server]:
    """Serve an instrument on 127.0.0.1 at a free port, `server.port`, until the block ends."""
    server = Server(instrument, manners)
    try:
        yield server
    finally:
        server.close()
