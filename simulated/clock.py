"""Time on a simulated bench: what its instruments take, added up instead of waited for, or truly waited for."""

import threading
import time

__all__ = ["RealClock", "VirtualClock"]


def _refuse_odd(seconds: float) -> None:
    if not 0.0 <= seconds < float("inf"):
        raise ValueError(f"the clock was asked to advance {seconds} s; write a finite time of zero or more")


class VirtualClock:
    """Seconds of bench time since the bench was opened; only `advance` moves them."""

    def __init__(self) -> None:
        self._seconds = 0.0
        self._lock = threading.Lock()  # for adding up: every simulated instrument answers on a thread of its own

    def seconds(self) -> float:
        """Return the bench time in seconds."""
        return self._seconds

    def advance(self, seconds: float) -> None:
        """Let `seconds` of bench time pass; a negative or NaN time is refused with ValueError."""
        _refuse_odd(seconds)
        with self._lock:
            self._seconds += seconds


class RealClock(VirtualClock):
    """The time on the wall: for a simulated bench that others reach as they would a real one."""

    def __init__(self) -> None:
        super().__init__()
        self._start = time.monotonic()

    def seconds(self) -> float:
        """Return the seconds since the bench was opened."""
        return time.monotonic() - self._start

    def advance(self, seconds: float) -> None:
        """Wait for `seconds`; a negative or NaN time is refused with ValueError."""
        _refuse_odd(seconds)
        time.sleep(seconds)
