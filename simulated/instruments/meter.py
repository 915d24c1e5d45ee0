"""A simulated multimeter with a multiplexed input, spoken to in SCPI: DC volts, ohms, the rms of what alternates.

Input 1 is channel (@101); one is connected at a time. With none connected the meter reads its own zero.
"""

from dataclasses import replace

import numpy as np

from simulated.clock import VirtualClock
from simulated.instruments.acquisition import Acquisition, MeterSettings, Multiplexer
from simulated.instruments.answers import joined, nr1, nr3, quoted
from simulated.instruments.converter import EFFORTS, METER_RANGES, Converter, effort_for, range_for
from simulated.instruments.errors import ScpiError
from simulated.instruments.ohms import OhmsConverter
from simulated.instruments.ohms_commands import ohms_commands
from simulated.instruments.parameters import (
    Boolean,
    ChannelList,
    Choice,
    Integer,
    Limit,
    Numeric,
    OrDefault,
    Text,
    WhenGiven,
    is_word,
)
from simulated.instruments.ripple import ripple_commands
from simulated.instruments.scpi import Connection, Interpreter
from simulated.instruments.status import Status
from simulated.instruments.tree import Command, command
from simulated.ports import MeterPort

__all__ = ["Meter", "route_commands"]

_CHANNEL_BEFORE_FIRST = 100
_RANGE = Numeric(0.0, METER_RANGES[-1].volts, None, 1e-6, "V")
_RESOLUTION = Numeric(1e-9, METER_RANGES[-1].volts, None, 1e-9, "V")
_CYCLES = Numeric(min(EFFORTS), max(EFFORTS), 10.0, 0.01)
_SAMPLES = Integer(1, 1000)
_SOURCES = Choice(("IMMediate", "BUS", "EXTernal"))


class Meter:
    """A multimeter wired to one port of `inputs` inputs; `rng` is a seed or a generator of its own."""

    def __init__(
        self, identity: str, port: MeterPort, inputs: int, clock: VirtualClock, rng: int | np.random.Generator
    ) -> None:
        if not 1 <= inputs <= 99:
            raise ValueError(f"a meter cannot have {inputs} inputs; write 1 to 99, channels (@101) to (@199)")
        self._multiplexer = Multiplexer(port, inputs, clock)
        own = np.random.default_rng(rng)
        ohms = OhmsConverter(own.spawn(1)[0])  # of its own: what volts are read as does not hang on it
        self._acquisition = Acquisition(self._multiplexer, Converter(own), ohms, clock)
        self._interpreter = Interpreter(
            identity,
            [
                *route_commands(self._multiplexer),
                *_range_commands(self._acquisition),
                *_integration_commands(self._acquisition),
                *_configure_commands(self._acquisition),
                *ohms_commands(self._acquisition),
                *_trigger_commands(self._acquisition),
                *ripple_commands(self._multiplexer, clock, own),
            ],
            clock=clock,
            status=Status(),
            reset=self._reset,
            finish=self._acquisition.finish,
        )

    def connection(self) -> Connection:
        """Return a new talker to this meter."""
        return self._interpreter.connection()

    def connected_input(self) -> int | None:
        """Return the input that is connected, from 1, for whoever is on the instrument's side of the wire."""
        with self._interpreter.lock:
            return self._multiplexer.closed

    def settings(self) -> MeterSettings:
        """Return how the meter measures now."""
        with self._interpreter.lock:
            return self._acquisition.settings

    def _reset(self) -> None:
        self._multiplexer.open_all()
        self._acquisition.reset()


def route_commands(multiplexer: Multiplexer) -> list[Command]:
    """Return the commands that close and open relays, wherever these are."""
    listed = ChannelList(_CHANNEL_BEFORE_FIRST + 1, _CHANNEL_BEFORE_FIRST + multiplexer.inputs)

    def close(channels: tuple[int, ...]) -> None:
        for channel in channels:  # the last one stays: each opens the one before it
            multiplexer.close(channel - _CHANNEL_BEFORE_FIRST)

    def open_listed(channels: tuple[int, ...]) -> None:
        for channel in channels:
            multiplexer.open(channel - _CHANNEL_BEFORE_FIRST)

    def are_closed(channels: tuple[int, ...]) -> str:
        return joined(nr1(channel - _CHANNEL_BEFORE_FIRST == multiplexer.closed) for channel in channels)

    return [
        command("ROUTe:CLOSe", close, listed),
        command("ROUTe:CLOSe:EXCLusive", close, listed),
        command("ROUTe:CLOSe?", are_closed, listed),
        command("ROUTe:OPEN", open_listed, listed),
        command("ROUTe:OPEN:ALL", multiplexer.open_all),
    ]


def _range_commands(acquisition: Acquisition) -> list[Command]:
    def fix_range(volts: float) -> None:
        acquisition.change(replace(acquisition.settings, autorange=False, range_number=range_for(volts)))

    def ask_range(limit: float | None) -> str:
        at = acquisition.settings.range_number if limit is None else range_for(limit)
        return nr3(METER_RANGES[at].volts)

    def set_autorange(on: bool) -> None:
        acquisition.change(replace(acquisition.settings, autorange=on))

    header = "[SENSe]:VOLTage[:DC]:RANGe"
    return [
        command(f"{header}[:UPPer]", fix_range, _RANGE),
        command(f"{header}[:UPPer]?", ask_range, WhenGiven(Limit(_RANGE))),
        command(f"{header}:AUTO", set_autorange, Boolean()),
        command(f"{header}:AUTO?", lambda: nr1(acquisition.settings.autorange)),
    ]


def _integration_commands(acquisition: Acquisition) -> list[Command]:
    def set_cycles(cycles: float) -> None:
        acquisition.change(replace(acquisition.settings, cycles=effort_for(cycles)))

    def ask_cycles(limit: float | None) -> str:
        return nr3(acquisition.settings.cycles if limit is None else limit)

    def set_autozero(on: bool) -> None:
        acquisition.change(replace(acquisition.settings, autozero=on))

    header = "[SENSe]:VOLTage[:DC]:NPLCycles"
    return [
        command(header, set_cycles, _CYCLES),
        command(f"{header}?", ask_cycles, WhenGiven(Limit(_CYCLES))),
        *(
            each
            for zero in ("[SENSe]:ZERO:AUTO", "[SENSe]:VOLTage[:DC]:ZERO:AUTO")
            for each in (
                command(zero, set_autozero, Boolean()),
                command(f"{zero}?", lambda: nr1(acquisition.settings.autozero)),
            )
        ),
    ]


def _configure_commands(acquisition: Acquisition) -> list[Command]:
    expected = WhenGiven(OrDefault(_RANGE))
    resolution = WhenGiven(OrDefault(_RESOLUTION))

    def measure(range_volts: float | None, resolution_volts: float | None) -> str:
        acquisition.configure(range_volts, resolution_volts)
        return _answer(acquisition.read())

    return [
        command("[SENSe]:FUNCtion[:ON]", lambda name: _choose_function(acquisition, name), Text()),
        command("[SENSe]:FUNCtion[:ON]?", lambda: quoted(acquisition.settings.function)),
        command("CONFigure:VOLTage[:DC]", acquisition.configure, expected, resolution),
        command("MEASure:VOLTage[:DC]?", measure, expected, resolution),
        command("READ?", lambda: _answer(acquisition.read())),
        command("FETCh?", lambda: _answer(acquisition.fetch())),
    ]


def _choose_function(acquisition: Acquisition, name: str) -> None:
    first, _, second = name.strip().upper().partition(":")
    if is_word(first, "VOLTage") and second in ("", "DC"):
        acquisition.change(replace(acquisition.settings, function="VOLT"))
    elif is_word(first, "RESistance") and not second:
        acquisition.change(replace(acquisition.settings, function="RES"))
    else:
        raise ScpiError(-224, f"{name}, the functions are VOLT:DC and RES")


def _trigger_commands(acquisition: Acquisition) -> list[Command]:
    def set_source(source: str) -> None:
        acquisition.change(replace(acquisition.settings, source=source))

    def set_samples(samples: int) -> None:
        acquisition.change(replace(acquisition.settings, samples=samples))

    return [
        command("INITiate[:IMMediate]", acquisition.initiate),
        command("ABORt", acquisition.abort),
        command("*TRG", acquisition.trigger),
        command("TRIGger[:SEQuence]:SOURce", set_source, _SOURCES),
        command("TRIGger[:SEQuence]:SOURce?", lambda: acquisition.settings.source),
        command("SAMPle:COUNt", set_samples, _SAMPLES),
        command("SAMPle:COUNt?", lambda: nr1(acquisition.settings.samples)),
    ]


def _answer(readings: list[float]) -> str:
    return joined(nr3(reading) for reading in readings)
