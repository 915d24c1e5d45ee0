"""An instrument on a TCP port outlives its clients, answers several of them, and misbehaves when told to."""

import socket
import struct
import threading
from collections.abc import Iterator
from typing import Self

import pytest

from simulated.server import Manners, Server, open_server
from tests.simulated.instruments.line_client import connected
from tests.simulated.instruments.reference_instrument import ReferenceInstrument


@pytest.fixture
def server() -> Iterator[Server]:
    with open_server(ReferenceInstrument()) as opened:
        yield opened


def test_settings_survive_a_client_that_goes(server: Server) -> None:
    with connected(server.port) as first:
        first.send("VOLT 5")
        first.ask("*OPC?")
    with connected(server.port) as second:
        assert float(second.ask("VOLT?")) == 5.0


def test_two_clients_share_settings_but_not_half_a_message(server: Server) -> None:
    with connected(server.port) as one, connected(server.port) as other:
        one.send("VOLT 7;VO", terminated=False)
        assert float(other.ask("VOLT 3;VOLT?")) == 3.0
        assert float(one.ask("LT?")) == 7.0


def test_a_client_that_resets_its_connection_disturbs_nobody(server: Server) -> None:
    rude = socket.create_connection(("127.0.0.1", server.port))
    rude.sendall(b"*IDN?\n" * 100)
    rude.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    rude.close()
    with connected(server.port) as polite:
        assert polite.ask("*OPC?") == "1"


def test_many_messages_in_one_piece_are_answered_in_order(server: Server) -> None:
    with connected(server.port) as client:
        client.send("".join(f"VOLT {n};VOLT?\n" for n in range(30)), terminated=False)
        assert [float(client.read_line()) for _ in range(30)] == list(range(30))


def test_closing_leaves_no_thread_and_no_open_connection() -> None:
    before = threading.active_count()
    with open_server(ReferenceInstrument()) as server, connected(server.port) as client:
        assert client.ask("*OPC?") == "1"
        server.close()
        with pytest.raises(EOFError, match="closed the connection"):
            client.read_line()
    assert threading.active_count() == before


def test_a_dropped_answer_never_comes_and_the_next_one_does(server: Server) -> None:
    server.misbehave(Manners(drop_answer=1))
    with connected(server.port) as client:
        client.send("VOLT?")
        assert client.ask("*OPC?") == "1"


def test_a_held_answer_comes_before_the_next_one_and_puts_the_client_out_of_step(server: Server) -> None:
    server.misbehave(Manners(hold_answer=2))
    with connected(server.port) as client:
        assert client.ask("*OPC?") == "1"
        client.send("CURR?")
        assert float(client.ask("VOLT 9;VOLT?")) == 0.1
        assert float(client.read_line()) == 9.0


def test_a_cut_answer_ends_the_connection_in_its_middle(server: Server) -> None:
    server.misbehave(Manners(cut_answer=1))
    with connected(server.port) as client, pytest.raises(EOFError, match="after b'RAILBENCH,RE"):
        client.ask("*IDN?")


def test_a_wrong_terminator_is_sent_as_told(server: Server) -> None:
    server.misbehave(Manners(terminator=b"\r\n"))
    with connected(server.port) as client:
        assert client.ask("*OPC?") == "1\r"


class BrokenInstrument:
    """Fails at the first byte."""

    def connection(self) -> Self:
        return self

    def receive(self, data: bytes) -> bytes:
        raise ZeroDivisionError(f"at {data!r}")


def test_an_instrument_that_breaks_down_closes_its_connections_and_is_reported_at_the_end() -> None:
    with pytest.raises(RuntimeError, match="broke down"), open_server(BrokenInstrument()) as server:  # noqa: SIM117
        with connected(server.port) as client, pytest.raises(EOFError, match="closed the connection"):
            client.ask("*IDN?")
