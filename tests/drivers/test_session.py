import logging
import socket
import threading
import time

import pytest

from drivers import BadReply, LinkLost, NoReply, OutOfStep, QueuedError, open_links
from drivers.link import Manners
from tests.drivers.conftest import Called
from tests.drivers.line_server import Act, line_server


def test_a_query_returns_the_stripped_reply_and_sends_exactly_one_line(call: Called) -> None:
    server, session = call({"VOLT?": b"5.000\r\n"})
    assert session.query("VOLT?") == "5.000"
    assert server.told == ["VOLT?"]


def test_a_question_right_behind_a_command_does_not_wait_for_its_acknowledgement(call: Called) -> None:
    _, session = call({"VOLT?": b"5\n"})
    started = time.monotonic()
    for _ in range(20):
        session.write("VOLT 5")
        session.query("VOLT?")
    assert time.monotonic() - started < 0.4  # 0.88 s with Nagle's algorithm on


def test_silence_names_instrument_address_command_time_and_remedy(call: Called) -> None:
    server, session = call({}, timeout_seconds=0.05)
    with pytest.raises(NoReply) as raised:
        session.query("MEAS:VOLT?")
    assert str(raised.value) == (
        f"supply ({server.resource}): no reply to 'MEAS:VOLT?' within 0.05 s; check its power, its cable and its "
        "dialect, and that no other program holds it; then resynchronise"
    )
    assert raised.value.where.command == "MEAS:VOLT?"


def test_a_reply_without_its_end_is_counted(call: Called) -> None:
    _, session = call({"VOLT?": b"5.0"}, timeout_seconds=0.05)
    with pytest.raises(NoReply, match="it sent 3 bytes without a terminator"):
        session.query("VOLT?")


def test_a_reply_in_pieces_is_one_reply(call: Called) -> None:
    server, session = call({"VOLT?": b"5.0"}, timeout_seconds=0.3)

    def send_the_rest() -> None:
        server.hears("VOLT?")
        server.push(b"00\n")

    rest = threading.Thread(target=send_the_rest, daemon=True)
    rest.start()
    assert session.query("VOLT?") == "5.000"
    rest.join()


def test_an_endless_reply_ends_at_the_time_out(call: Called) -> None:
    server, session = call({"VOLT?": b"5"}, timeout_seconds=0.1)
    stop = threading.Event()

    def drip() -> None:
        server.hears("VOLT?")
        while not stop.wait(0.002):
            server.push(b"5")

    dripping = threading.Thread(target=drip, daemon=True)
    dripping.start()
    started = time.monotonic()
    with pytest.raises(NoReply, match="without a terminator"):
        session.query("VOLT?")
    took = time.monotonic() - started
    stop.set()
    dripping.join()
    assert took < 1.0


def test_after_silence_nothing_is_asked_until_the_session_is_resynchronised(call: Called) -> None:
    server, session = call({"VOLT?": [Act.KEEP_SILENT, b"5.000\n"]}, timeout_seconds=0.05)
    with pytest.raises(NoReply):
        session.query("VOLT?")
    with pytest.raises(OutOfStep, match=r"'VOLT\?' was not sent.*resynchronise the session"):
        session.query("VOLT?")
    session.resynchronise()
    assert session.query("VOLT?") == "5.000"
    assert server.told == ["VOLT?", "*IDN?", "VOLT?"]
    assert server.connections == 2
    assert server.is_reset()  # so that what is still queued is never carried out


def test_a_late_reply_never_answers_the_next_question(call: Called) -> None:
    server, session = call({"VOLT?": Act.KEEP_SILENT, "CURR?": b"0.100\n"}, timeout_seconds=0.05)
    with pytest.raises(NoReply):
        session.query("VOLT?")
    server.push(b"5.000\n")
    session.resynchronise()
    assert session.query("CURR?") == "0.100"


@pytest.mark.parametrize("answer", [b"5.000\n0.100\n", b"5.000\n0.1"])
def test_bytes_that_nobody_asked_for_put_it_out_of_step(call: Called, answer: bytes) -> None:
    _, session = call({"VOLT?": answer})
    session.query("VOLT?")
    with pytest.raises(OutOfStep, match="bytes came that nobody had asked for"):
        session.query("VOLT?")
    assert not session.in_step


@pytest.mark.parametrize("act", [Act.CLOSE, Act.RESET])
def test_a_lost_link_is_noticed_at_once_and_not_after_the_time_out(call: Called, act: Act) -> None:
    _, session = call({"VOLT?": act}, timeout_seconds=5.0)
    started = time.monotonic()
    with pytest.raises(LinkLost, match=r"the link was lost at 'VOLT\?'.*outputs stay as they were"):
        session.query("VOLT?")
    assert time.monotonic() - started < 1.0


def test_a_link_that_closed_between_questions_is_noticed_before_the_next(call: Called) -> None:
    server, session = call({"VOLT?": b"5\n"}, timeout_seconds=5.0)
    session.query("VOLT?")
    server.hang_up()
    with pytest.raises(LinkLost, match="closed the link"):
        session.write("VOLT 7")
    assert "VOLT 7" not in server.told


def test_a_refused_connection_is_an_error_at_open() -> None:
    with socket.create_server(("127.0.0.1", 0)) as gone:
        port = gone.getsockname()[1]
    with open_links() as links, pytest.raises(LinkLost, match=r"meter \(TCPIP0::.*lost at opening the link.*could not"):
        links.open(f"TCPIP0::127.0.0.1::{port}::SOCKET", name="meter")


def test_an_address_that_is_none_is_an_error_at_open() -> None:
    with open_links() as links, pytest.raises(LinkLost, match="opening the link"):
        links.open("the meter on the left", name="meter")


def test_a_link_waits_as_long_as_its_bench_says_unless_it_is_told_otherwise() -> None:
    with line_server({}) as first, line_server({}) as second, open_links(timeout_seconds=60.0) as links:
        assert links.open(first.resource, name="supply").timeout_seconds == 60.0
        assert links.open(second.resource, name="meter", timeout_seconds=0.2).timeout_seconds == 0.2


def test_one_resource_is_opened_once(call: Called) -> None:
    with line_server({}) as server, open_links() as links:
        links.open(server.resource, name="supply")
        with pytest.raises(LinkLost, match="this resource is already open as 'supply'"):
            links.open(server.resource, name="meter")


def test_closing_one_bench_leaves_anothers_links_open() -> None:
    with line_server({"VOLT?": b"5\n"}) as server, open_links() as outer:
        session = outer.open(server.resource, name="supply")
        with open_links():
            pass
        assert session.query("VOLT?") == "5"


def test_a_reply_that_is_no_text_is_refused_and_the_session_stays_in_step(call: Called) -> None:
    _, session = call({"VOLT?": [b"5\x00\x01\n", b"5\n"]})
    with pytest.raises(BadReply, match=r"holds bytes that are no text, in reply to 'VOLT\?'; check that its dialect"):
        session.query("VOLT?")
    assert session.query("VOLT?") == "5"


def test_another_instrument_after_a_reopening_is_refused(call: Called) -> None:
    _, session = call({"*IDN?": [b"Nobody,Bench 2,SN1,1.0\n", b"Nobody,Bench 2,SN2,1.0\n"]})
    session.identify()
    with pytest.raises(BadReply, match=r"now answered by Nobody Bench 2, serial SN2.*before it was .* serial SN1"):
        session.resynchronise()
    assert not session.in_step


def test_resynchronising_gives_up_after_three_attempts(call: Called, waits: list[float]) -> None:
    server, session = call({"*IDN?": Act.CLOSE}, timeout_seconds=0.05)
    session.adopt(Manners(), waits.append)
    with pytest.raises(LinkLost):
        session.resynchronise()
    assert server.told == ["*IDN?"] * 3
    assert waits == [0.1, 0.3]


def test_the_error_queue_is_drained_oldest_first(call: Called) -> None:
    _, session = call({"SYST:ERR?": [b'-113,"Undefined header"\n', b'-222,"Data out of range"\n', b'+0,"No error"\n']})
    assert session.drain_errors() == (QueuedError(-113, "Undefined header"), QueuedError(-222, "Data out of range"))


def test_a_permanent_fault_in_the_error_queue_does_not_hold_up_for_ever(call: Called) -> None:
    _, session = call({"SYST:ERR?": b'-240,"Hardware error"\n'})
    assert len(session.drain_errors()) == 32


def test_an_instrument_without_an_error_queue_is_not_asked(call: Called) -> None:
    server, session = call({})
    session.adopt(Manners(error_query=""), time.sleep)
    assert session.drain_errors() == ()
    assert server.told == []


def test_pacing_waits_before_each_further_message_and_before_each_reply(call: Called, waits: list[float]) -> None:
    _, session = call({"VOLT?": b"5\n"})
    session.adopt(Manners(gap_seconds=0.3, query_delay_seconds=0.02), waits.append)
    session.write("VOLT 5")
    session.query("VOLT?")
    assert waits == [0.3, 0.02]


def test_last_words_need_no_reply(call: Called) -> None:
    server, session = call({})
    assert session.last_words("OUTP OFF") is None
    assert server.hears("OUTP OFF")
    assert session.in_step


def test_last_words_are_said_out_of_step_on_the_old_link_and_on_a_new_one(call: Called) -> None:
    server, session = call({}, timeout_seconds=0.05)
    with pytest.raises(NoReply):
        session.query("VOLT?")
    assert session.last_words("OUTP OFF") is None
    assert session.last_words("VOLT 0") is None
    assert server.hears("VOLT?", "OUTP OFF", "OUTP OFF", "VOLT 0")
    assert (server.connections, server.resets) == (2, 0)  # closed plainly: a late *off* is welcome


def test_after_last_words_on_a_new_link_it_is_not_yet_known_who_answers_there(call: Called) -> None:
    _, session = call({"VOLT?": [Act.CLOSE, b"5\n"]})
    with pytest.raises(LinkLost):
        session.query("VOLT?")
    session.last_words("OUTP OFF")
    with pytest.raises(OutOfStep, match="resynchronise the session"):
        session.query("VOLT?")


def test_last_words_reopen_a_link_that_was_lost(call: Called) -> None:
    server, session = call({"VOLT?": Act.CLOSE})
    with pytest.raises(LinkLost):
        session.query("VOLT?")
    assert session.last_words("OUTP OFF") is None
    assert server.hears("VOLT?", "OUTP OFF")


def test_resynchronising_after_last_words_does_not_drop_them(call: Called) -> None:
    server, session = call({"VOLT?": Act.CLOSE})
    with pytest.raises(LinkLost):
        session.query("VOLT?")
    session.last_words("OUTP OFF")
    session.resynchronise()
    assert server.told == ["VOLT?", "OUTP OFF", "*IDN?"]
    assert server.connections == 2


def test_last_words_to_nobody_are_an_error_returned() -> None:
    with line_server({}) as server, open_links() as links:
        session = links.open(server.resource, name="supply")
        server.vanish()
        failure = session.last_words("OUTP OFF")
    assert isinstance(failure, LinkLost)
    assert "'OUTP OFF'" in str(failure) or "opening the link" in str(failure)


def test_threads_that_share_a_session_get_their_own_replies(call: Called) -> None:
    questions = [f"MEAS:VOLT? (@{number})" for number in range(1, 9)]
    _, session = call({question: question[-3:].encode() + b"\n" for question in questions}, timeout_seconds=2.0)
    wrong: list[str] = []

    def ask(question: str) -> None:
        wrong.extend(reply for _ in range(100) if (reply := session.query(question)) != question[-3:])

    threads = [threading.Thread(target=ask, args=(question,)) for question in questions]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


def test_each_exchange_is_logged_with_instrument_and_milliseconds(
    call: Called, caplog: pytest.LogCaptureFixture
) -> None:
    _, session = call({"VOLT?": b"5\n"})
    with caplog.at_level(logging.DEBUG, logger="drivers"):
        session.query("VOLT?")
    assert caplog.messages[0] == "supply > VOLT?"
    assert caplog.messages[1].startswith("supply < b'5\\n' ")
    assert caplog.messages[1].endswith(" ms")


@pytest.mark.parametrize("seconds", [0.0, float("inf"), float("nan"), 601.0])
def test_a_time_out_is_never_infinite(call: Called, seconds: float) -> None:
    with pytest.raises(ValueError, match="write more than 0 and at most 600 s"):
        call({}, timeout_seconds=seconds)
