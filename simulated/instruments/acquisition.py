"""What a simulated meter does between a trigger and its readings: settings, multiplexer, trigger model, memory."""

from dataclasses import dataclass, replace
from typing import Literal

from simulated.clock import VirtualClock
from simulated.instruments.converter import (
    METER_RANGES,
    Converter,
    effort_resolving,
    hunted_range,
    integration_seconds,
    range_for,
)
from simulated.instruments.errors import ScpiError
from simulated.instruments.ohms import COMPLIANCE_VOLTS, OhmsConverter, OhmsSettings, hunted
from simulated.ports import MeterPort

__all__ = ["RANGE_SECONDS", "RELAY_SECONDS", "Acquisition", "MeterSettings", "Multiplexer"]

RELAY_SECONDS = 0.020
"""Bench time that a relay takes to switch and settle."""

RANGE_SECONDS = 0.020
"""Bench time that a change of range takes."""


@dataclass(frozen=True)
class MeterSettings:
    """How the meter measures; the defaults are those of *RST. `range_number` counts from the lowest range."""

    autorange: bool = True
    range_number: int = len(METER_RANGES) - 1
    cycles: float = 10.0
    autozero: bool = True
    source: str = "IMM"
    samples: int = 1
    function: Literal["VOLT", "RES"] = "VOLT"

    @property
    def range_volts(self) -> float:
        """The name of the range in volts."""
        return METER_RANGES[self.range_number].volts


class Multiplexer:
    """Relays in front of the meter, of which one at most is closed; inputs count from 1."""

    def __init__(self, port: MeterPort, inputs: int, clock: VirtualClock) -> None:
        self.inputs = inputs
        self.closed: int | None = None
        self._port = port
        self._clock = clock
        self._test_amps = 0.0

    def close(self, number: int) -> None:
        """Connect one input, which opens the one before it."""
        self._switch(number)

    def open(self, number: int) -> None:
        """Disconnect one input; nothing happens if it is not connected."""
        if number == self.closed:
            self._switch(None)

    def open_all(self) -> None:
        """Disconnect whatever is connected."""
        self._switch(None)

    def volts(self) -> float:
        """Return the true volts at the meter; with nothing connected 0 V, or all that drives a test current."""
        if self.closed is None:
            return COMPLIANCE_VOLTS if self._test_amps else 0.0
        return self._port.volts(self.closed)

    def ripple_volts(self) -> float:
        """Return the true rms volts of what alternates at the meter, 0 V with nothing connected."""
        return 0.0 if self.closed is None else self._port.ripple_volts(self.closed)

    def drive(self, amps: float) -> None:
        """Let a test current flow into whatever is connected, 0 A for none."""
        if amps != self._test_amps:
            self._test_amps = amps
            self._drive()

    def _switch(self, number: int | None) -> None:
        if number != self.closed:
            self.closed = number
            if self._test_amps:
                self._drive()
            self._clock.advance(RELAY_SECONDS)

    def _drive(self) -> None:
        self._port.drive(self.closed if self._test_amps else None, amps=self._test_amps, most_volts=COMPLIANCE_VOLTS)


class Acquisition:
    """The trigger model with its memory of readings; a change of settings empties the memory."""

    def __init__(
        self, multiplexer: Multiplexer, converter: Converter, ohms_converter: OhmsConverter, clock: VirtualClock
    ) -> None:
        self._multiplexer = multiplexer
        self._converter, self._ohms_converter = converter, ohms_converter
        self._clock = clock
        self._memory: list[float] = []
        self._waiting = False
        self._busy_until = 0.0
        self.settings, self.ohms = MeterSettings(), OhmsSettings()

    def reset(self) -> None:
        """Go back to the settings of *RST."""
        self.change(MeterSettings(), OhmsSettings())

    def change(self, settings: MeterSettings, ohms: OhmsSettings | None = None) -> None:
        """Take over new settings, and stop waiting for a trigger."""
        self.settings, self.ohms = settings, ohms or self.ohms
        self.abort()
        self._memory = []
        self._multiplexer.drive(self.ohms.range.amps if settings.function == "RES" else 0.0)

    def configure(self, range_volts: float | None, resolution_volts: float | None) -> None:
        """Preset everything for one kind of measurement: None lets the meter choose."""
        preset = MeterSettings(range_number=self.settings.range_number)
        if range_volts is not None:
            preset = replace(preset, autorange=False, range_number=range_for(range_volts))
        if resolution_volts is not None:
            if range_volts is None:
                raise ScpiError(-221, "a resolution needs a fixed range")
            preset = replace(preset, cycles=effort_resolving(resolution_volts, range_number=preset.range_number))
        self.change(preset)

    def configure_ohms(self, ohms: OhmsSettings) -> None:
        """Preset everything for ohms."""
        self.change(MeterSettings(range_number=self.settings.range_number, function="RES"), ohms)

    def initiate(self) -> None:
        """Begin to take readings into the memory, or wait for the trigger that starts them; `finish` waits for them.

        Other instruments work meanwhile: that is what two meters at once are for.
        """
        if self._waiting:
            raise ScpiError(-213)
        self._memory = []
        if self.settings.source == "IMM":
            self._take()
        else:
            self._waiting = True

    def trigger(self) -> None:
        """Take the readings that wait for a bus trigger."""
        if not (self._waiting and self.settings.source == "BUS"):
            raise ScpiError(-211)
        self._waiting = False
        self._take()

    def abort(self) -> None:
        """Stop waiting for a trigger, and for what is being taken."""
        self._waiting, self._busy_until = False, 0.0

    def finish(self) -> None:
        """Let the time pass that the readings still take."""
        self._clock.advance(max(0.0, self._busy_until - self._clock.seconds()))

    def fetch(self) -> list[float]:
        """Return the memory; ScpiError -230 if it is empty."""
        if not self._memory:
            raise ScpiError(-230)
        self.finish()
        return self._memory

    def read(self) -> list[float]:
        """Take new readings and return them; with another source than IMM the trigger could never come."""
        if self.settings.source != "IMM":
            raise ScpiError(-214)
        self.initiate()
        return self.fetch()

    def _take(self) -> None:
        self._memory = [self._sample() for _ in range(self.settings.samples)]

    def _sample(self) -> float:
        self.finish()  # one after the other
        return self._volts() if self.settings.function == "VOLT" else self._ohms()

    def _ohms(self) -> float:
        volts = self._multiplexer.volts()
        while (
            self.ohms.autorange and (at := hunted(volts, range_number=self.ohms.range_number)) != self.ohms.range_number
        ):
            up = at > self.ohms.range_number
            self.ohms = replace(self.ohms, range_number=at)
            self._multiplexer.drive(self.ohms.range.amps)
            self._clock.advance(RANGE_SECONDS)
            volts = self._multiplexer.volts()
            if up and hunted(volts, range_number=at) < at:
                break  # between two ranges: it stays on the higher one
        cycles = self.ohms.cycles
        self._integrate(cycles)
        return self._ohms_converter.read(volts, range_number=self.ohms.range_number, cycles=cycles)

    def _volts(self) -> float:
        volts = self._multiplexer.volts()
        if self.settings.autorange:
            fitting = hunted_range(volts, range_number=self.settings.range_number)
            if fitting != self.settings.range_number:
                self.settings = replace(self.settings, range_number=fitting)
                self._clock.advance(RANGE_SECONDS)
        settings = self.settings
        self._integrate(settings.cycles)
        return self._converter.read(volts, range_number=settings.range_number, cycles=settings.cycles)

    def _integrate(self, cycles: float) -> None:
        self._busy_until = self._clock.seconds() + integration_seconds(cycles, autozero=self.settings.autozero)
