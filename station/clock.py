"""The station's only source of time: real on the bench, virtual where everything is simulated."""

import time
from typing import Protocol

__all__ = ["BenchClock", "Clock", "SimulatedClock", "VirtualTime"]


class Clock(Protocol):
    """Seconds of bench time, and waiting."""

    def seconds(self) -> float:
        """Return the bench time in seconds."""

    def wait(self, seconds: float) -> None:
        """Let time pass."""


class VirtualTime(Protocol):
    """What a simulated bench offers as its time."""

    def seconds(self) -> float:
        """Return the bench time in seconds."""

    def advance(self, seconds: float) -> None:
        """Move the bench time on."""


class BenchClock:
    """Real time, monotonic, from the moment it is made."""

    def __init__(self) -> None:
        self._start = time.monotonic()

    def seconds(self) -> float:
        """See Clock."""
        return time.monotonic() - self._start

    def wait(self, seconds: float) -> None:
        """See Clock."""
        time.sleep(seconds)


class SimulatedClock:
    """The simulated bench's time: waiting moves it and takes none of ours."""

    def __init__(self, virtual: VirtualTime) -> None:
        self._virtual = virtual

    def seconds(self) -> float:
        """See Clock."""
        return self._virtual.seconds()

    def wait(self, seconds: float) -> None:
        """See Clock."""
        self._virtual.advance(seconds)
