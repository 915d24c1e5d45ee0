"""How an instrument wants to be talked to: remote and local, acknowledgements, a slow first reply, terminators."""

import time

import pytest

from drivers import InstrumentError, NoReply, open_links
from drivers.link import Manners
from tests.drivers.conftest import Called
from tests.drivers.line_server import Act, line_server


def test_remote_comes_first_on_every_link_and_local_last(call: Called, waits: list[float]) -> None:
    server, session = call({"VOLT?": [Act.KEEP_SILENT, b"5\n"]}, timeout_seconds=0.05)
    session.adopt(Manners(remote="SYST:REM", local="SYST:LOC"), waits.append)
    with pytest.raises(NoReply):
        session.query("VOLT?")
    session.resynchronise()
    session.close()
    assert server.hears("SYST:REM", "VOLT?", "SYST:REM", "*IDN?", "SYST:LOC")
    assert server.told[-1] == "SYST:LOC"


def test_a_link_out_of_step_is_not_set_local(call: Called, waits: list[float]) -> None:
    server, session = call({"VOLT?": Act.KEEP_SILENT}, timeout_seconds=0.05)
    session.adopt(Manners(remote="SYST:REM", local="SYST:LOC"), waits.append)
    with pytest.raises(NoReply):
        session.query("VOLT?")
    session.close()
    assert server.hears("SYST:REM", "VOLT?")


def test_last_words_on_a_new_link_are_in_remote_too(call: Called, waits: list[float]) -> None:
    server, session = call({"VOLT?": Act.CLOSE}, timeout_seconds=0.05)
    session.adopt(Manners(remote="SYST:REM"), waits.append)
    with pytest.raises(Exception, match="link was lost"):
        session.query("VOLT?")
    assert session.last_words("OUTP OFF") is None
    assert server.hears("SYST:REM", "VOLT?", "SYST:REM", "OUTP OFF")


def test_an_acknowledged_command_is_read_and_compared(call: Called, waits: list[float]) -> None:
    _, session = call({"VOLT 5": b"OK\r\n", "VOLT 99": b"E04\r\n", "VOLT?": b"5\r\n"})
    session.adopt(Manners(acknowledgement="OK"), waits.append)
    session.write("VOLT 5")
    assert session.query("VOLT?") == "5"
    upsets = session.upsets
    with pytest.raises(InstrumentError, match="'VOLT 99' was answered 'E04' in place of 'OK'"):
        session.write("VOLT 99")
    assert session.upsets > upsets  # nothing counts as set any more
    assert session.query("VOLT?") == "5"  # and yet the next reply is the next question's


def test_a_command_that_is_not_acknowledged_leaves_the_link_out_of_step(call: Called, waits: list[float]) -> None:
    _, session = call({}, timeout_seconds=0.05)
    session.adopt(Manners(acknowledgement="OK"), waits.append)
    with pytest.raises(NoReply):
        session.write("VOLT 5")
    assert not session.in_step


def test_only_the_first_reply_on_a_link_is_waited_for_longer(call: Called, waits: list[float]) -> None:
    server, session = call({"VOLT?": Act.KEEP_SILENT}, timeout_seconds=0.05)
    session.adopt(Manners(first_reply_seconds=0.3), waits.append)
    started = time.monotonic()
    with pytest.raises(NoReply):
        session.query("VOLT?")
    assert time.monotonic() - started > 0.3
    session.resynchronise()  # *IDN? is the first reply there
    started = time.monotonic()
    with pytest.raises(NoReply):
        session.query("VOLT?")
    assert time.monotonic() - started < 0.3
    assert server.told == ["VOLT?", "*IDN?", "VOLT?"]


@pytest.mark.parametrize(("termination", "told"), [("\n", "VOLT?"), ("\r\n", "VOLT?\r")])
@pytest.mark.parametrize("reply", [b"5.000\n", b"5.000\r\n", b"5.000\n"])
def test_a_message_ends_as_told_and_a_reply_as_it_likes(termination: str, told: str, reply: bytes) -> None:
    with line_server({"VOLT?": reply, "VOLT?\r": reply}) as server, open_links() as links:
        session = links.open(server.resource, name="supply", timeout_seconds=0.2, termination=termination)
        assert [session.query("VOLT?") for _ in range(3)] == ["5.000"] * 3
        assert server.told == [told] * 3


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"gap_seconds": 11.0}, "gap_seconds is 11.0; write 0 to 10 s"),
        ({"first_reply_seconds": -1.0}, "first_reply_seconds is -1.0; write 0 to 10 s"),
        ({"remote": "SYST:REM\nOUTP ON"}, "is not one line of ASCII"),
        ({"termination": "\0"}, "write LF, CR LF or CR"),
        ({"remote": "SYST:REM", "acknowledgement": "OK"}, "write one of the two"),
    ],
)
def test_manners_that_cannot_be_kept_are_refused(wrong: dict[str, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Manners(**wrong)  # type: ignore[arg-type]
