"""A simulated DC supply of one or more outputs, spoken to in SCPI."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from simulated.clock import VirtualClock
from simulated.instruments.answers import joined, nr1
from simulated.instruments.channels import Channels, Style, channels_in, event, reading, setting, switch
from simulated.instruments.errors import ScpiError
from simulated.instruments.scpi import Connection, Interpreter
from simulated.instruments.status import Status
from simulated.instruments.supply_channel import BENCH_SUPPLY, SupplyChannel, SupplyRatings, SupplySettings, Trip
from simulated.instruments.tree import Command, command
from simulated.ports import SupplyPort

__all__ = ["ChannelState", "Supply"]


@dataclass(frozen=True)
class ChannelState:
    """How one output stands: `on` is whether it delivers (a tripped one does not), volts and amps as programmed."""

    on: bool
    volts_set: float
    limit_amps: float
    tripped: bool


class Supply:
    """Outputs wired to ports, with over-voltage and over-current protections that latch.

    `style` is how channels are named on the wire. With `query_hides_trip` the answer of `OUTP?` stays 1 after a
    trip, as at some real ones. Over-voltage protection is always on. `rng` is a seed or a generator of its own.
    """

    def __init__(
        self,
        identity: str,
        ports: Sequence[SupplyPort],
        clock: VirtualClock,
        rng: int | np.random.Generator,
        *,
        style: Style,
        ratings: SupplyRatings = BENCH_SUPPLY,
        query_hides_trip: bool = True,
    ) -> None:
        generator = np.random.default_rng(rng)
        self._outputs = tuple(SupplyChannel(port, clock, ratings, generator) for port in ports)
        self._status = Status(channels=len(ports))
        channels = channels_in(style, len(ports))
        self._interpreter = Interpreter(
            identity,
            [
                *_source_commands(self._outputs, ratings, channels),
                *_protection_commands(self._outputs, ratings, channels),
                *_output_commands(self._outputs, channels, query_hides_trip=query_hides_trip),
                *(_ONLY_WITHOUT_LISTS if style == "single channel" else ()),
            ],
            clock=clock,
            status=self._status,
            reset=self._reset,
            refresh=self._refresh,
            channels=channels,
        )

    def connection(self) -> Connection:
        """Return a new talker to this supply."""
        return self._interpreter.connection()

    def outputs(self) -> tuple[ChannelState, ...]:
        """Return how the outputs stand, for whoever is on the instrument's side of the wire."""
        with self._interpreter.lock:
            return tuple(
                ChannelState(each.delivers, each.settings.volts, each.settings.limit_amps, bool(each.trips))
                for each in self._outputs
            )

    def _reset(self) -> None:
        for output in self._outputs:
            output.reset()

    def _refresh(self) -> None:
        for output, operation, questionable in zip(
            self._outputs, self._status.operation, self._status.questionable, strict=True
        ):
            regulating, tripped = output.watch()
            operation.follow(regulating)
            questionable.follow(tripped)


Outputs = Sequence[SupplyChannel]


def _changing(
    outputs: Outputs, change: Callable[[SupplySettings, float], SupplySettings]
) -> Callable[[int, float], None]:
    """Return a handler that gives one channel its settings with one of them changed."""

    def put(channel: int, value: float) -> None:
        output = outputs[channel - 1]
        output.take(change(output.settings, value))

    return put


def _source_commands(outputs: Outputs, ratings: SupplyRatings, channels: Channels) -> list[Command]:
    return [
        *setting(
            "[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]",
            ratings.volts,
            channels,
            put=_changing(outputs, lambda settings, volts: replace(settings, volts=volts)),
            get=lambda channel: outputs[channel - 1].settings.volts,
        ),
        *setting(
            "[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude]",
            ratings.limit_amps,
            channels,
            put=_changing(outputs, lambda settings, amps: replace(settings, limit_amps=amps)),
            get=lambda channel: outputs[channel - 1].settings.limit_amps,
        ),
    ]


def _protection_commands(outputs: Outputs, ratings: SupplyRatings, channels: Channels) -> list[Command]:
    return [
        *setting(
            "[SOURce]:VOLTage:PROTection[:LEVel]",
            ratings.protection_volts,
            channels,
            put=_changing(outputs, lambda settings, volts: replace(settings, protection_volts=volts)),
            get=lambda channel: outputs[channel - 1].settings.protection_volts,
        ),
        *setting(
            "OUTPut:PROTection:DELay",
            ratings.protection_seconds,
            channels,
            put=_changing(outputs, lambda settings, seconds: replace(settings, protection_seconds=seconds)),
            get=lambda channel: outputs[channel - 1].settings.protection_seconds,
        ),
        *switch(
            "[SOURce]:CURRent:PROTection:STATe",
            channels,
            put=_changing(outputs, lambda settings, on: replace(settings, trips_on_limit=bool(on))),
            get=lambda channel: outputs[channel - 1].settings.trips_on_limit,
        ),
        event("OUTPut:PROTection:CLEar", channels, lambda channel: outputs[channel - 1].clear(~Trip.NONE)),
        *_one_protection("VOLTage", Trip.OVER_VOLTAGE, outputs, channels),
        *_one_protection("CURRent", Trip.OVER_CURRENT, outputs, channels),
    ]


def _one_protection(quantity: str, trip: Trip, outputs: Outputs, channels: Channels) -> list[Command]:
    def tripped(which: tuple[int, ...]) -> str:
        return joined(nr1(trip in outputs[channel - 1].trips) for channel in which)

    return [
        command(f"[SOURce]:{quantity}:PROTection:TRIPped?", tripped, channels),
        event(f"[SOURce]:{quantity}:PROTection:CLEar", channels, lambda channel: outputs[channel - 1].clear(trip)),
    ]


def _output_commands(outputs: Outputs, channels: Channels, *, query_hides_trip: bool) -> list[Command]:
    def is_on(channel: int) -> bool:
        output = outputs[channel - 1]
        return output.settings.on if query_hides_trip else output.delivers

    return [
        *switch(
            "OUTPut[:STATe]",
            channels,
            put=_changing(outputs, lambda settings, on: replace(settings, on=bool(on))),
            get=is_on,
        ),
        reading("MEASure[:SCALar]:VOLTage[:DC]?", channels, lambda channel: outputs[channel - 1].measure_volts()),
        reading("MEASure[:SCALar]:CURRent[:DC]?", channels, lambda channel: outputs[channel - 1].measure_amps()),
    ]


def _refuse_off(_channel: int, on: bool) -> None:
    if not on:
        raise ScpiError(-224, "over-voltage protection is always on")


# Scripts for one-output supplies switch the over-voltage protection on, although here it cannot be off.
_ONLY_WITHOUT_LISTS = switch(
    "[SOURce]:VOLTage:PROTection:STATe",
    channels_in("single channel", 1),
    put=_refuse_off,
    get=lambda _channel: True,
)
