"""A simulated electronic load of one or more inputs in constant-current mode, spoken to in SCPI."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from simulated.clock import VirtualClock
from simulated.instruments.accuracy import Accuracy, Readback, Readout, drawn
from simulated.instruments.binding import Selected
from simulated.instruments.channels import Channels, Style, channels_in, event, reading, setting, switch
from simulated.instruments.parameters import Choice, Integer, Numeric
from simulated.instruments.scpi import Connection, Interpreter
from simulated.instruments.status import Status
from simulated.instruments.tree import Command, command
from simulated.ports import LoadPort, LoadState

__all__ = ["BENCH_LOAD", "InputErrors", "InputState", "Load", "LoadRatings"]

_TRIPPED_BIT = 2  # QUEStionable bit 1: current


@dataclass(frozen=True)
class LoadRatings:
    """What a load can be set to, how fast it gets there, and how well it keeps and shows it."""

    amps: Numeric
    protection_amps: Numeric
    programming: Accuracy
    amps_readback: Readback
    volts_readback: Readback
    step_seconds: float


BENCH_LOAD = LoadRatings(
    amps=Numeric(0.0, 5.0, 0.0, 1e-4, "A"),
    protection_amps=Numeric(0.0, 5.5, 5.5, 1e-3, "A"),
    programming=Accuracy(0.0005, 0.5e-3),
    amps_readback=Readback(Accuracy(0.001, 1e-3), noise=2e-5, resolution=1e-4),
    volts_readback=Readback(Accuracy(0.0005, 5e-3), noise=1e-4, resolution=1e-3),
    step_seconds=0.005,
)
"""A load of 5 A an input."""


@dataclass(frozen=True)
class InputState:
    """How one input stands: `on` is whether it draws (a tripped one does not), amps as programmed."""

    on: bool
    amps_set: float
    tripped: bool


class InputErrors:
    """What one input's calibration is: how far its setting and its readbacks are off."""

    def __init__(self, ratings: LoadRatings, rng: np.random.Generator) -> None:
        self.programming = drawn(ratings.programming, rng)
        self.volts = Readout(ratings.volts_readback, rng)
        self.amps = Readout(ratings.amps_readback, rng)


class LoadInput:
    """One input with what it is wired to."""

    def __init__(self, port: LoadPort, clock: VirtualClock, ratings: LoadRatings, rng: np.random.Generator) -> None:
        self._port = port
        self._clock = clock
        self._ratings = ratings
        self._errors = InputErrors(ratings, rng)
        self._settled_at = 0.0
        self.reset(on=False)

    def reset(self, *, on: bool) -> None:
        """Do what *RST does: 0 A, protection wide open and cleared; `on` is a habit of the maker."""
        self.amps_set = self._ratings.amps.limit("DEF")
        self.protection_amps = self._ratings.protection_amps.limit("DEF")
        self.on = on
        self.tripped = False
        self._apply()

    def set_amps(self, amps: float) -> None:
        """Take over a new constant current."""
        self.amps_set = amps
        self._apply()
        self.watch()

    def set_protection(self, amps: float) -> None:
        """Take over the current above which the input switches itself off."""
        self.protection_amps = amps
        self.watch()

    def turn(self, on: bool) -> None:
        """Switch the input."""
        self.on = on
        self._apply()
        self.watch()

    def clear(self) -> None:
        """Forget a trip; an input that was not switched off meanwhile draws again."""
        self.tripped = False
        self._apply()
        self.watch()

    def watch(self) -> int:
        """Let the protection look at the input; return the QUEStionable condition."""
        if self.draws and self._port.state().amps > self.protection_amps:
            self.tripped = True
            self._apply()
        return _TRIPPED_BIT if self.tripped else 0

    @property
    def draws(self) -> bool:
        """True while the input is switched on and not tripped."""
        return self.on and not self.tripped

    def measure_volts(self) -> float:
        """Return a reading of the terminal volts, once the input has settled."""
        return self._errors.volts.read(self._settled_state().volts)

    def measure_amps(self) -> float:
        """Return a reading of the drawn amps, once the input has settled."""
        return self._errors.amps.read(self._settled_state().amps)

    def _settled_state(self) -> LoadState:
        self._clock.advance(max(0.0, self._settled_at - self._clock.seconds()))
        return self._port.state()

    def _apply(self) -> None:
        self._settled_at = self._clock.seconds() + self._ratings.step_seconds
        self._port.apply(amps=max(0.0, self._errors.programming.of(self.amps_set)), on=self.draws)


class Load:
    """Inputs wired to ports; with `reset_turns_on` their *RST leaves them on, as at one widespread family.

    `style` is how channels are named on the wire; with `units` numbers are answered with theirs. `rng` is a seed or a
    generator of its own.
    """

    def __init__(
        self,
        identity: str,
        ports: Sequence[LoadPort],
        clock: VirtualClock,
        rng: int | np.random.Generator,
        *,
        style: Style,
        ratings: LoadRatings = BENCH_LOAD,
        reset_turns_on: bool = False,
        units: bool = False,
    ) -> None:
        generator = np.random.default_rng(rng)
        self._inputs = tuple(LoadInput(port, clock, ratings, generator) for port in ports)
        self._status = Status(channels=len(ports))
        self._reset_turns_on = reset_turns_on
        channels = channels_in(style, len(ports), units=units)
        self._interpreter = Interpreter(
            identity,
            [
                *_level_commands(self._inputs, ratings, channels),
                *_input_commands(self._inputs, channels),
                *_selection(channels, len(ports)),
            ],
            clock=clock,
            status=self._status,
            reset=self._reset,
            refresh=self._refresh,
            channels=channels.parameter,
        )

    def connection(self) -> Connection:
        """Return a new talker to this load."""
        return self._interpreter.connection()

    def inputs(self) -> tuple[InputState, ...]:
        """Return how the inputs stand, for whoever is on the instrument's side of the wire."""
        with self._interpreter.lock:
            return tuple(InputState(each.draws, each.amps_set, each.tripped) for each in self._inputs)

    def _reset(self) -> None:
        for each in self._inputs:
            each.reset(on=self._reset_turns_on)

    def _refresh(self) -> None:
        for each, questionable in zip(self._inputs, self._status.questionable, strict=True):
            questionable.follow(each.watch())


def _level_commands(inputs: Sequence[LoadInput], ratings: LoadRatings, channels: Channels) -> list[Command]:
    return [
        *setting(
            "[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude]",
            ratings.amps,
            channels,
            put=lambda channel, amps: inputs[channel - 1].set_amps(amps),
            get=lambda channel: inputs[channel - 1].amps_set,
        ),
        *setting(
            "[SOURce]:CURRent:PROTection[:LEVel]",
            ratings.protection_amps,
            channels,
            put=lambda channel, amps: inputs[channel - 1].set_protection(amps),
            get=lambda channel: inputs[channel - 1].protection_amps,
        ),
        *_mode("MODE", channels),
        *_mode("[SOURce]:FUNCtion[:MODE]", channels),
    ]


def _selection(channels: Channels, count: int) -> list[Command]:
    """Return how the input is selected that all other messages act on, in styles that do so."""
    selected = channels.parameter
    if not isinstance(selected, Selected):
        return []

    def select(channel: int) -> None:
        selected.channel = channel

    return [
        command("CHANnel", select, Integer(1, count)),
        command("CHANnel?", lambda: str(selected.channel)),
    ]


def _mode(pattern: str, channels: Channels) -> tuple[Command, Command]:
    """Return a pair that takes constant current, the only mode there is: another one is refused with -141."""

    def query(which: tuple[int, ...]) -> str:
        return ",".join("CURR" for _ in which)

    return command(pattern, lambda _mode, _which: None, Choice(("CURRent",)), channels.parameter), command(
        f"{pattern}?", query, channels.parameter
    )


def _input_commands(inputs: Sequence[LoadInput], channels: Channels) -> list[Command]:
    return [
        *(
            each
            for pattern in ("INPut[:STATe]", "OUTPut[:STATe]")  # the second is an alias of the trade
            for each in switch(
                pattern,
                channels,
                put=lambda channel, on: inputs[channel - 1].turn(on),
                get=lambda channel: inputs[channel - 1].on,
            )
        ),
        event("INPut:PROTection:CLEar", channels, lambda channel: inputs[channel - 1].clear()),
        reading("MEASure[:SCALar]:VOLTage[:DC]?", "V", channels, lambda channel: inputs[channel - 1].measure_volts()),
        reading("MEASure[:SCALar]:CURRent[:DC]?", "A", channels, lambda channel: inputs[channel - 1].measure_amps()),
    ]
