import os
import signal
import threading

import pytest

from station.errors import Interrupted
from station.interrupts import Interrupts, deferred_signals


def test_nobody_asked_yet() -> None:
    Interrupts().check()


def test_the_first_cause_is_kept() -> None:
    interrupts = Interrupts()
    interrupts.ask_to_end("stopped by Ctrl-C")
    interrupts.ask_to_end("stopped by SIGTERM")
    with pytest.raises(Interrupted, match=r"^stopped by Ctrl-C$"):
        interrupts.check()


@pytest.mark.parametrize(
    ("number", "cause"),
    [
        (signal.SIGINT, "stopped by Ctrl-C"),
        (signal.SIGTERM, "stopped by SIGTERM"),
        (signal.SIGHUP, "stopped by SIGHUP"),
    ],
)
def test_a_signal_is_a_flag_and_nothing_is_cut_short(number: signal.Signals, cause: str) -> None:
    with deferred_signals() as interrupts:
        os.kill(os.getpid(), number)
        os.kill(os.getpid(), number)  # a second one changes nothing
        assert interrupts.cause == cause


def test_signals_are_as_before_after_the_block() -> None:
    before = signal.getsignal(signal.SIGINT)
    with deferred_signals():
        assert signal.getsignal(signal.SIGINT) is not before
    assert signal.getsignal(signal.SIGINT) is before


def test_another_thread_catches_no_signals() -> None:
    found = []

    def inside() -> None:
        with deferred_signals() as interrupts:
            found.append((interrupts.cause, signal.getsignal(signal.SIGINT)))

    thread = threading.Thread(target=inside)
    thread.start()
    thread.join()
    assert found == [("", signal.getsignal(signal.SIGINT))]
