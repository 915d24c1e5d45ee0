"""Time on a simulated bench: what its instruments take, added up instead of waited for, or truly waited for."""

import math
import threading
import time
from collections.abc import Callable

__all__ = ["LoneClock", "RealClock", "VirtualClock"]

_ENDLESS = math.inf


def _refuse_odd(seconds: float) -> None:
    if not 0.0 <= seconds < _ENDLESS:
        raise ValueError(f"the clock was asked to advance {seconds} s; write a finite time of zero or more")


class LoneClock:
    """Seconds of bench time since the bench was opened, where one thread alone works on it: without any alarms.

    `now` is what `seconds` returns here, for whoever looks a thousand times.
    """

    def __init__(self) -> None:
        self.now = 0.0

    def seconds(self) -> float:
        """Return the bench time in seconds."""
        return self.now

    def advance(self, seconds: float) -> None:
        """Let `seconds` of bench time pass; a negative or NaN time is refused with ValueError."""
        _refuse_odd(seconds)
        self.now += seconds


class VirtualClock(LoneClock):
    """Seconds of bench time since the bench was opened; only `advance` moves them."""

    def __init__(self) -> None:
        super().__init__()
        self._alarms: list[tuple[float, Callable[[], None]]] = []
        self._lock = threading.Lock()  # for adding up: every simulated instrument answers on a thread of its own

    def advance(self, seconds: float) -> None:
        """Let `seconds` of bench time pass; a negative or NaN time is refused with ValueError.

        What is to happen in between happens at its time, not at the end.
        """
        _refuse_odd(seconds)
        left = seconds
        while (step := self._step(left)) is not None:
            passed, ring = step
            left -= passed
            ring()

    def call_at(self, seconds: float, ring: Callable[[], None]) -> None:
        """Call `ring` once, on whichever thread, when the bench time is `seconds`; a past one, as soon as it moves."""
        with self._lock:
            self._alarms.append((seconds, ring))

    def _step(self, left: float) -> tuple[float, Callable[[], None]] | None:
        """Move on to the first alarm within `left` and return it, or to the end and return None."""
        with self._lock:
            at, ring = min(self._alarms, key=lambda alarm: alarm[0]) if self._alarms else (_ENDLESS, None)
            if ring is None or at > self.now + left:
                self.now += left
                return None
            self._alarms.remove((at, ring))
            passed = max(0.0, at - self.now)
            self.now += passed
            return passed, ring


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

    def call_at(self, seconds: float, ring: Callable[[], None]) -> None:
        """Call `ring` once, on a thread of its own, at so many seconds; no alarm keeps a process alive."""
        timer = threading.Timer(max(0.0, seconds - self.seconds()), ring)
        timer.daemon = True
        timer.start()
