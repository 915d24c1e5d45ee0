"""A plain socket client that sends lines and reads lines: the drivers are not used to test the instruments."""

import socket
from collections.abc import Iterator
from contextlib import contextmanager


class LineClient:
    """One connection to a server on this machine; a read waits 5 s at most."""

    def __init__(self, sock: socket.socket) -> None:
        self.sock = sock
        self._file = sock.makefile("rb")

    def send(self, message: str, *, terminated: bool = True) -> None:
        self.sock.sendall(message.encode("latin-1") + (b"\n" if terminated else b""))

    def read_line(self) -> str:
        line = self._file.readline()
        if not line.endswith(b"\n"):
            raise EOFError(f"the server closed the connection after {line!r}")
        return line[:-1].decode("latin-1")

    def ask(self, message: str) -> str:
        self.send(message)
        return self.read_line()

    def drain_errors(self) -> list[str]:
        errors = []
        while not (entry := self.ask("SYST:ERR?")).startswith("0,"):
            errors.append(entry)
            assert len(errors) < 100, "the error queue does not come to an end"
        return errors

    def close(self) -> None:
        self._file.close()
        self.sock.close()


@contextmanager
def connected(port: int) -> Iterator[LineClient]:
    client = LineClient(socket.create_connection(("127.0.0.1", port), timeout=5.0))
    client.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    try:
        yield client
    finally:
        client.close()
