"""Keep the supplies' own watchdogs fed while a run goes on: outputs go off even when the computer loses power."""

from collections.abc import Collection
from contextlib import suppress

from drivers import DriverError
from station.clock import Clock
from station.errors import BenchError
from station.wiring import SupplyChannel

__all__ = ["BITES_AFTER_SECONDS", "Watchdogs"]

BITES_AFTER_SECONDS = 10.0  # longer than any reading and any time-out with its second try
FED_EVERY_SECONDS = 2.0


class Watchdogs:
    """The watchdogs of a bench's supply channels; of a supply that has none, nothing is asked."""

    def __init__(self, channels: Collection[SupplyChannel], clock: Clock) -> None:
        self._channels, self._clock = channels, clock
        self._armed: list[SupplyChannel] = []
        self._fed = 0.0

    def arm(self) -> bool:
        """Arm every watchdog there is; returns whether there is any. drivers.DriverError where one is not taken."""
        self._armed = [each for each in self._channels if each.supply.arm_watchdog(each.channel, BITES_AFTER_SECONDS)]
        self._fed = self._clock.seconds()
        return bool(self._armed)

    def tend(self) -> None:
        """Let every watchdog hear that we are there, where it is time; BenchError where a supply does not answer."""
        if not self._armed or self._clock.seconds() - self._fed < FED_EVERY_SECONDS:
            return
        try:
            for each in self._armed:
                each.supply.feed(each.channel)
        except DriverError as error:
            raise BenchError(str(error)) from error
        self._fed = self._clock.seconds()

    def disarm(self) -> None:
        """Let the supplies be; one that can't be reached any more keeps its watchdog, and its output off."""
        for each in self._armed:
            with suppress(DriverError):
                each.supply.disarm_watchdog(each.channel)
        self._armed = []
