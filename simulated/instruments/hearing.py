"""When an instrument hears a message: not while it is still busy with the last one, and who is told that it did."""

from collections.abc import Callable

from simulated.clock import VirtualClock

__all__ = ["Hearing", "Watchdog"]

_EARLIER = float("-inf")
_DUST = 1e-9  # sums of milliseconds do not meet a time exactly


class Hearing:
    """Drops what comes sooner than `gap_seconds` after the message before, and all before the one that says `remote`.

    `told` is called for every message that is heard.
    """

    def __init__(
        self,
        clock: VirtualClock,
        gap_seconds: float = 0.0,
        told: Callable[[], None] = lambda: None,
        remote: str = "",
    ) -> None:
        self._clock = clock
        self._gap_seconds = gap_seconds
        self._told = told
        self._remote = remote
        self._done_at = _EARLIER

    def takes(self, message: str) -> bool:
        """Return whether a message that comes now is heard, and acted upon."""
        if self._clock.seconds() < self._done_at + self._gap_seconds - _DUST:
            return False
        self._told()
        if not self._remote:
            return True
        if message.strip().upper() == self._remote:
            self._remote = ""  # from here on it listens
        return False

    def done(self) -> None:
        """Take note that a message has been dealt with."""
        self._done_at = self._clock.seconds()


class Watchdog:
    """Bites when no message has come for `delay_seconds`, if it is armed; any message feeds it, no front panel does.

    Rung by the clock, on any thread and without the instrument's lock: it only ever bites while nobody talks.
    """

    def __init__(self, clock: VirtualClock, bite: Callable[[], None], delay_seconds: float) -> None:
        self._clock = clock
        self._bite = bite
        self._fed_at = _EARLIER
        self._waiting = False
        self.armed = False
        self.delay_seconds = delay_seconds

    def arm(self, on: bool) -> None:
        """Arm or disarm it."""
        self.armed = on
        self._wait()

    def set_delay(self, seconds: float) -> None:
        """Change how long it goes unfed."""
        self.delay_seconds, self._waiting = seconds, False
        self._wait()

    def feed(self) -> None:
        """Take note of a message."""
        self._fed_at = self._clock.seconds()
        self._wait()

    def _wait(self) -> None:
        if self.armed and not self._waiting:
            self._waiting = True
            self._clock.call_at(self._fed_at + self.delay_seconds, self._look)

    def _look(self) -> None:
        self._waiting = False
        if not self.armed:
            return
        if self._clock.seconds() >= self._fed_at + self.delay_seconds - _DUST:
            self._bite()
        else:
            self._wait()
