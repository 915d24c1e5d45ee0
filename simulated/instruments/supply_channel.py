"""One output of a simulated supply: its settings, its protections and what it shows of the true volts and amps.

The output never sinks current, and constant current is the port's work; here it is noticed, timed and shown.
"""

from dataclasses import dataclass
from enum import Flag

import numpy as np

from simulated.clock import VirtualClock
from simulated.instruments.accuracy import Accuracy, Readback, Readout, drawn
from simulated.instruments.parameters import Numeric
from simulated.ports import Regulation, SupplyPort, SupplyState

__all__ = ["BENCH_SUPPLY", "ChannelErrors", "SupplyChannel", "SupplyRatings", "SupplySettings", "Trip"]


@dataclass(frozen=True)
class SupplyRatings:
    """What a supply can be set to, how fast it gets there, and how well it keeps and shows it."""

    volts: Numeric
    limit_amps: Numeric
    protection_volts: Numeric
    protection_seconds: Numeric
    programming: Accuracy
    volts_readback: Readback
    amps_readback: Readback
    turn_on_seconds: float
    step_seconds: float


BENCH_SUPPLY = SupplyRatings(
    volts=Numeric(0.0, 32.0, 0.0, 1e-3, "V"),
    limit_amps=Numeric(0.0, 3.0, 0.1, 1e-4, "A"),
    protection_volts=Numeric(0.5, 35.2, 35.2, 1e-3, "V"),
    protection_seconds=Numeric(0.0, 10.0, 0.05, 1e-3, "S"),
    programming=Accuracy(0.0005, 5e-3),
    volts_readback=Readback(Accuracy(0.0005, 5e-3), noise=1e-4, resolution=1e-3),
    amps_readback=Readback(Accuracy(0.001, 0.5e-3), noise=1e-5, resolution=1e-4),
    turn_on_seconds=0.020,
    step_seconds=0.010,
)
"""A supply of 32 V and 3 A an output."""


class Trip(Flag):
    """Which protection has switched an output off; the values are the bits of QUEStionable:CONDition."""

    NONE = 0
    OVER_VOLTAGE = 1
    OVER_CURRENT = 2
    WATCHDOG = 1 << 11  # from memory


_OPERATION_BITS = {Regulation.VOLTAGE: 1 << 8, Regulation.CURRENT: 1 << 10, Regulation.OFF: 0}


@dataclass(frozen=True)
class SupplySettings:
    """What has been sent to one channel; `on` is the switch, not whether the output delivers."""

    volts: float
    limit_amps: float
    protection_volts: float
    protection_seconds: float
    trips_on_limit: bool = False
    on: bool = False


class ChannelErrors:
    """What one output's calibration is: how far its settings and its readbacks are off."""

    def __init__(self, ratings: SupplyRatings, rng: np.random.Generator) -> None:
        self.programming = drawn(ratings.programming, rng)
        self.volts = Readout(ratings.volts_readback, rng)
        self.amps = Readout(ratings.amps_readback, rng)


class SupplyChannel:
    """One output with what it is wired to."""

    def __init__(self, port: SupplyPort, clock: VirtualClock, ratings: SupplyRatings, rng: np.random.Generator) -> None:
        self._port = port
        self._clock = clock
        self._ratings = ratings
        self._errors = ChannelErrors(ratings, rng)
        self._settled_at = 0.0
        self._limited_since: float | None = None
        self.reset()

    def reset(self) -> None:
        """Do what *RST does: 0 V, output off, protections wide open and cleared."""
        self.trips = Trip.NONE
        self.settings = SupplySettings(
            volts=self._ratings.volts.limit("DEF"),
            limit_amps=self._ratings.limit_amps.limit("DEF"),
            protection_volts=self._ratings.protection_volts.limit("DEF"),
            protection_seconds=self._ratings.protection_seconds.limit("DEF"),
        )
        self._apply()

    def take(self, settings: SupplySettings) -> None:
        """Take over new settings; the output needs its time to follow, a protection may trip at once."""
        before, self.settings = self.settings, settings
        if settings.on and not before.on:
            self._settles_in(self._ratings.turn_on_seconds)
        elif settings.on and settings.volts != before.volts:
            self._settles_in(self._ratings.step_seconds)
        self._apply()
        self.watch()

    def clear(self, trips: Trip) -> None:
        """Forget trips; an output that was not switched off meanwhile comes back on."""
        was_tripped, self.trips = self.trips, self.trips & ~trips
        if was_tripped and self.delivers:
            self._settles_in(self._ratings.turn_on_seconds)
            self._apply()
            self.watch()

    def trip(self, trip: Trip) -> None:
        """Switch off for a reason from outside the channel."""
        self.trips |= trip
        self._apply()

    def regulation(self) -> Regulation:
        """Return what holds the output now."""
        return self._port.state().regulation if self.delivers else Regulation.OFF

    def watch(self) -> tuple[int, int]:
        """Let the protections look at the output; return the OPERation and QUEStionable conditions."""
        state = self._port.state() if self.delivers else None
        if state is not None and self._trips_at(state):
            self._apply()
            state = None
        if state is None:
            self._limited_since = None
        return (_OPERATION_BITS[state.regulation] if state else 0), self.trips.value

    @property
    def delivers(self) -> bool:
        """True while the output is switched on and no protection has tripped."""
        return self.settings.on and not self.trips

    def measure_volts(self) -> float:
        """Return a reading of the terminal volts, once the output has settled."""
        return self._errors.volts.read(self._settled_state().volts)

    def measure_amps(self) -> float:
        """Return a reading of the delivered amps, once the output has settled."""
        return self._errors.amps.read(self._settled_state().amps)

    def _settled_state(self) -> SupplyState:
        self._clock.advance(max(0.0, self._settled_at - self._clock.seconds()))
        self.watch()
        return self._port.state()

    def _settles_in(self, seconds: float) -> None:
        self._settled_at = max(self._settled_at, self._clock.seconds() + seconds)

    def _trips_at(self, state: SupplyState) -> bool:
        if state.volts > self.settings.protection_volts:
            self.trips |= Trip.OVER_VOLTAGE
        if state.regulation is not Regulation.CURRENT:
            self._limited_since = None
        elif self._limited_since is None:
            self._limited_since = self._clock.seconds()
        if self.settings.trips_on_limit and self._limited_since is not None:
            lasted = self._clock.seconds() - self._limited_since
            # Half a nanosecond of tolerance: sums of milliseconds do not meet the delay exactly.
            if lasted >= self.settings.protection_seconds - 0.5e-9:
                self.trips |= Trip.OVER_CURRENT
        return bool(self.trips)

    def _apply(self) -> None:
        volts = max(0.0, self._errors.programming.of(self.settings.volts))
        self._port.apply(volts=volts, limit_amps=self.settings.limit_amps, on=self.delivers)
