"""A simulated DC supply of one or more outputs, spoken to in one of several styles."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from simulated.clock import VirtualClock
from simulated.instruments.binding import Selected
from simulated.instruments.channels import Style, channels_in
from simulated.instruments.hearing import Hearing, Watchdog
from simulated.instruments.panel import Panel
from simulated.instruments.plain import PlainInterpreter
from simulated.instruments.scpi import Connection, Interpreter
from simulated.instruments.status import Status
from simulated.instruments.supply_channel import BENCH_SUPPLY, SupplyChannel, SupplyRatings, Trip
from simulated.instruments.supply_commands import prefix_commands, standard_commands
from simulated.instruments.supply_words import plain_rules
from simulated.ports import SupplyPort

__all__ = ["ChannelState", "Quirks", "Supply"]

_PLAIN = ("serial words", "short tokens")
_COMMON_SWITCH = ("selected by name on one switch", "serial words")


@dataclass(frozen=True)
class ChannelState:
    """How one output stands: `on` is whether it delivers (a tripped one does not), volts and amps as programmed."""

    on: bool
    volts_set: float
    limit_amps: float
    tripped: bool


@dataclass(frozen=True)
class Quirks:
    """What real supplies do beside their manual.

    `units`: numbers are answered with their unit. `shows_both`: volts and amps in one answer. `hides_trip`: the
    output's query stays 1 after a trip. `gap_seconds`: what comes sooner after the message before is dropped.
    `remote`: nothing is heard before this message.
    """

    units: bool = False
    shows_both: bool = False
    hides_trip: bool = True
    gap_seconds: float = 0.0
    watchdog: bool = True
    remote: str = ""


class Supply:
    """Outputs wired to ports, with over-voltage and over-current protections that latch.

    `style` is how it is spoken to. Over-voltage protection is always on. `rng` is a seed or a generator of its own.
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
        quirks: Quirks = Quirks(),
    ) -> None:
        generator = np.random.default_rng(rng)
        self._outputs = tuple(SupplyChannel(port, clock, ratings, generator) for port in ports)
        self._status = Status(channels=len(ports))
        self._watchdog = Watchdog(clock, self._bite, delay_seconds=60.0)
        self._selected: Selected | None = None
        self._clock = clock
        hearing = Hearing(clock, quirks.gap_seconds, told=self._watchdog.feed, remote=quirks.remote)
        panel = Panel(
            self._outputs,
            ratings,
            self._watchdog if quirks.watchdog else None,
            style in _COMMON_SWITCH,
            quirks.hides_trip,
            quirks.shows_both,
        )
        self._interpreter: PlainInterpreter | Interpreter = (
            PlainInterpreter(
                plain_rules(panel, style, identity, units=quirks.units),
                clock=clock,
                refresh=self._refresh,
                channels=len(ports),
                hearing=hearing,
            )
            if style in _PLAIN
            else self._scpi(identity, panel, style, hearing, units=quirks.units)
        )

    def _scpi(self, identity: str, panel: Panel, style: Style, hearing: Hearing, *, units: bool) -> Interpreter:
        channels = channels_in(style, len(panel.outputs), units=units)
        if isinstance(channels.parameter, Selected):
            self._selected = channels.parameter
        prefixed = style == "channel prefix"
        return Interpreter(
            identity,
            prefix_commands(panel, channels) if prefixed else standard_commands(panel, style, channels),
            clock=self._clock,
            status=self._status,
            reset=self._reset,
            refresh=self._refresh,
            channels=channels.parameter,
            hearing=hearing,
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

    def select(self, channel: int) -> None:
        """Select a channel as at the front panel; ValueError where the style has no selection."""
        if self._selected is None:
            raise ValueError("this supply has no channel to select")
        with self._interpreter.lock:
            self._selected.channel = channel

    def _bite(self) -> None:
        for output in self._outputs:
            output.trip(Trip.WATCHDOG)

    def _reset(self) -> None:
        self._watchdog.arm(False)
        for output in self._outputs:
            output.reset()

    def _refresh(self) -> None:
        for output, operation, questionable in zip(
            self._outputs, self._status.operation, self._status.questionable, strict=True
        ):
            regulating, tripped = output.watch()
            operation.follow(regulating)
            questionable.follow(tripped)
