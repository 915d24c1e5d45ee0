"""Virtual time: what the simulated bench's instruments take, added up instead of waited for."""

import threading

__all__ = ["VirtualClock"]


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
        if not 0.0 <= seconds < float("inf"):
            raise ValueError(f"the clock was asked to advance {seconds} s; write a finite time of zero or more")
        with self._lock:
            self._seconds += seconds
