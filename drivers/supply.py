"""Feed boards from a DC supply: protections first, every setting read back before power, off verified."""

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

from drivers.conversation import Conversation
from drivers.dialects.dialect import Bit, Dialect, Step
from drivers.errors import BadReply, NotPrepared
from drivers.safety import make_safe
from drivers.scpi import Identity, parse_register
from drivers.session import Session, understanding

__all__ = ["Found", "Measured", "Mode", "Supply"]

logger = logging.getLogger(__name__)


class Mode(Enum):
    """What holds a supply's output."""

    CV = "constant voltage"
    CC = "constant current"
    TRIPPED = "tripped"
    OFF = "off"


@dataclass(frozen=True)
class Measured:
    """What an instrument's own readback says is at its terminals."""

    volts: float
    amps: float


@dataclass(frozen=True)
class Found:
    """What a channel was doing before it was touched."""

    on: bool
    volts: float
    amps: float


class Supply:
    """A DC supply with one or more channels, numbered from 1.

    Methods raise ValueError for what may never be sent (a NaN, a channel the dialect does not have) and otherwise
    what `drivers.errors` lists. After any error nothing counts as set, so power needs `prepare` again.
    """

    def __init__(self, session: Session, dialect: Dialect, *, wait: Callable[[float], None] = time.sleep) -> None:
        self.session = session
        self._talk = Conversation(session, dialect, "supply", wait)
        assert dialect.regulation is not None  # a supply's dialect cannot be made without
        self._regulation = dialect.regulation

    def identify(self) -> Identity:
        """Ask who it is."""
        return self.session.identify()

    def prepare(self, channel: int, *, over_volts: float, over_amps_delay_seconds: float) -> Found:
        """Switch a channel off, program 0 V and its protections, clear old trips, and return how it was found.

        Over-current protection trips when the output has been in constant current for longer than the delay. All of
        it is read back; entries already in the error queue are logged and dropped.
        """
        found = self._find(channel)
        self._talk.discard_old_errors()
        self._talk.put(Step.OUTPUT, False, channel)
        self._talk.put(Step.VOLTAGE, 0.0, channel)
        self._talk.put(Step.OVER_VOLTAGE, float(over_volts), channel)
        self._talk.put(Step.OVER_CURRENT_DELAY, float(over_amps_delay_seconds), channel)
        self._talk.put(Step.OVER_CURRENT, True, channel)
        self.clear_trips(channel)
        return found

    def _find(self, channel: int) -> Found:
        on = self._talk.read_back(Step.OUTPUT, channel) is True
        measured = self.measure(channel)
        if on:
            volts, amps = measured.volts, measured.amps
            logger.warning("%s: channel %d was found on, %g V %g A", self.session.where(), channel, volts, amps)
        self._talk.forget(channel=channel)
        return Found(on, measured.volts, measured.amps)

    def set_output(self, channel: int, *, volts: float, limit_amps: float) -> None:
        """Set the current limit, then the voltage, each read back and compared; the output stays as it is.

        Raises ValueError for negative values and for a voltage at or above the over-voltage level, which would trip
        at once. Returns after the supply's settling time.
        """
        if not (volts >= 0.0 and limit_amps > 0.0):
            raise ValueError(f"{volts} V with a limit of {limit_amps} A; write volts of 0 or more and a limit above 0")
        over_volts = self._talk.standing(Step.OVER_VOLTAGE, channel)
        if isinstance(over_volts, float) and volts >= over_volts:
            raise ValueError(f"{volts} V would trip the over-voltage protection at {over_volts} V; prepare it higher")
        self._talk.put(Step.CURRENT_LIMIT, float(limit_amps), channel)
        self._talk.put(Step.VOLTAGE, float(volts), channel)

    def switch(self, channel: int, on: bool) -> None:
        """Switch a channel and read its state back; returns after its switching time.

        Raises NotPrepared if it is to go on before protections, limit and voltage have been set and read back without
        trouble since.
        """
        if on:
            steps = (Step.OVER_VOLTAGE, Step.OVER_CURRENT_DELAY, Step.OVER_CURRENT, Step.CURRENT_LIMIT, Step.VOLTAGE)
            missing = [str(step) for step in steps if self._talk.standing(step, channel) is None]
            if missing:
                raise NotPrepared(
                    self.session.where(),
                    f"channel {channel} was to go on, but its {', '.join(missing)} had not been read back",
                    "prepare the channel and set its output first; after any trouble, again",
                )
        self._talk.put(Step.OUTPUT, on, channel)

    def measure(self, channel: int) -> Measured:
        """Ask what is at the terminals, in volts and amps."""
        volts, amps = self._talk.measured((Step.MEASURED_VOLTS, Step.MEASURED_AMPS), channel)
        return Measured(volts, amps)

    def mode(self, channel: int) -> Mode:
        """Ask what holds the output; never remembered. Some supplies answer 'on' after a trip: the trip wins.

        A channel found tripped has to be prepared again before it may go on.
        """
        on, bits = self._status(channel)
        regulation = self._regulation
        if any(bits[bit] for _, bit in regulation.trips):
            self._talk.forget(channel=channel)  # nothing goes on again before `prepare` has looked at it
            return Mode.TRIPPED
        if not on:
            return Mode.OFF
        constant_voltage, constant_current = bits[regulation.constant_voltage], bits[regulation.constant_current]
        if constant_voltage == constant_current:
            raise BadReply(
                self.session.where(regulation.constant_voltage.register),
                f"channel {channel} is on and shows {'both' if constant_voltage else 'neither'} of CV and CC",
                "its output is not regulated: check the load, the mains range and the dialect",
            )
        return Mode.CV if constant_voltage else Mode.CC

    def trips(self, channel: int) -> tuple[str, ...]:
        """Ask which protections have tripped, by name."""
        _, bits = self._status(channel)
        return tuple(name for name, bit in self._regulation.trips if bits[bit])

    def _status(self, channel: int) -> tuple[bool, dict[Bit, bool]]:
        """Return whether the output is programmed on, and every bit the dialect knows of."""
        regulation = self._regulation
        bits = (regulation.constant_voltage, regulation.constant_current, *(bit for _, bit in regulation.trips))
        templates = tuple(dict.fromkeys(bit.register for bit in bits))
        dialect = self._talk.dialect
        asking = (dialect.asking(Step.OUTPUT, channel), *(dialect.asking_for(each, channel) for each in templates))
        output, *registers = self._talk.ask_all(asking)
        with understanding(self.session.where(";:".join(asking))):
            on = dialect.settings[Step.OUTPUT].parse(output) is True
            words = {template: parse_register(reply) for template, reply in zip(templates, registers, strict=True)}
        return on, {bit: bool(words[bit.register] >> bit.number & 1) for bit in bits}

    def clear_trips(self, channel: int) -> None:
        """Clear tripped protections with the output off, because many supplies restore it to on; check they are.

        Raises BadReply if a protection stays tripped: its cause is still there.
        """
        self._talk.forget(Step.OUTPUT, channel=channel)
        self._talk.put(Step.OUTPUT, False, channel)
        self._talk.act(Step.CLEAR_TRIPS, channel)
        still = self.trips(channel)
        if still:
            raise BadReply(
                self.session.where(self._talk.dialect.command(Step.CLEAR_TRIPS, channel)),
                f"channel {channel} stays tripped by {', '.join(still)}",
                "remove what drives its terminals from outside, or let it cool down",
            )

    def make_safe(self, channel: int) -> tuple[str, ...]:
        """Switch a channel off, program 0 V and verify both; return what could not be verified, in words.

        Never raises for an instrument's or a link's trouble. An empty tuple means: reads back off and 0 V, and
        delivers no current. What is still charged behind it is for others to bleed.
        """
        return make_safe(self._talk, channel, switch=Step.OUTPUT, level=Step.VOLTAGE)
