"""An instrument of a few literal replies behind a real TCP port, which remembers what it was told."""

import contextlib
import socket
import struct
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from enum import Enum

NO_ERROR = b'0,"No error"\n'
IDENTITY = b"Nobody,Bench 2,SN1,1.0\n"


class Act(Enum):
    """What it does in place of a reply."""

    KEEP_SILENT = "nothing at all"
    CLOSE = "close the connection"
    RESET = "reset the connection"


_PATIENCE_SECONDS = 5.0

Answer = bytes | Act
Answers = Mapping[str, Answer | Sequence[Answer]]


class LineServer:
    """Answers each known line with its bytes as they stand; several answers are given in turn, the last for ever.

    A line that is not known is remembered and not answered, as a command is.
    """

    def __init__(self, answers: Answers) -> None:
        self.told: list[str] = []
        self.connections = 0
        self.resets = 0
        self._answers = {
            line: [each] if isinstance(each, bytes | Act) else list(each) for line, each in answers.items()
        }
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._clients: list[socket.socket] = []
        self._placeholder = socket.socket()
        self._vanished = False
        self._serving: list[threading.Thread] = []
        self._accepting = threading.Thread(target=self._accept, daemon=True)
        self._accepting.start()

    @property
    def resource(self) -> str:
        return f"TCPIP0::127.0.0.1::{self._listener.getsockname()[1]}::SOCKET"

    def hears(self, *lines: str) -> bool:
        """Whether it is told these lines and no others, on any connection, within a short while.

        A bare write has no reply that would show when it has arrived.
        """
        return self._soon(lambda: sorted(self.told) == sorted(lines))

    def is_reset(self) -> bool:
        """Whether a connection is reset, rather than closed, within a short while."""
        return self._soon(lambda: self.resets > 0)

    def _soon(self, holds: Callable[[], bool]) -> bool:
        for _ in range(500):
            if holds():
                return True
            threading.Event().wait(0.001)
        return False

    def push(self, data: bytes) -> None:
        """Send bytes unasked on the newest connection."""
        with contextlib.suppress(OSError):
            self._clients[-1].sendall(data)

    def hang_up(self) -> None:
        """Close the newest connection."""
        self._clients[-1].shutdown(socket.SHUT_RDWR)

    def vanish(self) -> None:
        """End every connection and refuse new ones, holding on to the port so that nobody else answers there."""
        address = self._listener.getsockname()
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._accepting.join(_PATIENCE_SECONDS)  # first, so that nobody is let in behind our back
        self._placeholder.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._placeholder.bind(address)
        for client in self._clients:
            with contextlib.suppress(OSError):
                client.shutdown(socket.SHUT_RDWR)
        for thread in self._serving:
            thread.join(_PATIENCE_SECONDS)
        self._vanished = True

    def close(self) -> None:
        if not self._vanished:
            self.vanish()
        self._listener.close()
        self._placeholder.close()
        assert not any(thread.is_alive() for thread in (self._accepting, *self._serving))

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._listener.accept()
            except OSError:
                return
            self.connections += 1
            self._clients.append(client)
            thread = threading.Thread(target=self._serve, args=(client,), daemon=True)
            self._serving.append(thread)
            thread.start()

    def _serve(self, client: socket.socket) -> None:
        try:
            with client, client.makefile("rb") as lines:
                for line in lines:
                    text = line.decode("ascii").removesuffix("\n")
                    self.told.append(text)
                    if not self._answer(client, text):
                        return
        except ConnectionResetError:
            self.resets += 1
        except OSError:
            return  # closed from this side

    def _answer(self, client: socket.socket, text: str) -> bool:
        """Answer one line; False ends the connection."""
        waiting = self._answers.get(text, [Act.KEEP_SILENT])
        answer = waiting.pop(0) if len(waiting) > 1 else waiting[0]
        if answer is Act.RESET:
            client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        if isinstance(answer, bytes):
            client.sendall(answer)
        return answer not in (Act.RESET, Act.CLOSE)


@contextlib.contextmanager
def line_server(answers: Answers) -> Iterator[LineServer]:
    server = LineServer({"*IDN?": IDENTITY, "SYST:ERR?": NO_ERROR, **answers})
    try:
        yield server
    finally:
        server.close()
