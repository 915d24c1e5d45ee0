"""Turn Ctrl-C and SIGTERM into a flag, so that nothing is cut short in the wrong place.

The flag is looked at between asks and inside every ask that can last. A second signal changes nothing: making safe
is never interrupted.
"""

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

from station.errors import Interrupted

__all__ = ["Interrupts", "deferred_signals"]


class Interrupts:
    """Whether somebody has asked the run to end, and who."""

    def __init__(self) -> None:
        self.cause = ""

    def ask_to_end(self, cause: str) -> None:
        """Ask the run to end; the first cause is kept."""
        self.cause = self.cause or cause

    def check(self) -> None:
        """Raise Interrupted once somebody has asked the run to end."""
        if self.cause:
            raise Interrupted(self.cause)


@contextmanager
def deferred_signals() -> Iterator[Interrupts]:
    """Catch Ctrl-C, SIGTERM and hang-up as a flag while the block runs; outside the main thread nothing is caught."""
    interrupts = Interrupts()
    if threading.current_thread() is not threading.main_thread():
        yield interrupts
        return

    def note(number: int, _frame: FrameType | None) -> None:
        interrupts.ask_to_end(
            "stopped by Ctrl-C" if number == signal.SIGINT else f"stopped by {signal.Signals(number).name}"
        )

    wanted = [signal.SIGINT, signal.SIGTERM, *([signal.SIGHUP] if hasattr(signal, "SIGHUP") else [])]
    before = {number: signal.signal(number, note) for number in wanted}
    try:
        yield interrupts
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
