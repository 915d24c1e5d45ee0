"""Feed boards from a DC supply: protections first, every setting read back before power, off verified."""

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass

from drivers.conversation import Conversation
from drivers.dialects.dialect import Dialect, Step
from drivers.errors import BadReply, NotPrepared
from drivers.regulation import Mode, read_mode, read_status
from drivers.safety import make_safe
from drivers.scpi import Identity
from drivers.session import Session
from drivers.switching import switching
from drivers.watchdog import arm, disarm

__all__ = ["Found", "Measured", "Mode", "Supply"]

logger = logging.getLogger(__name__)

# What counts as live at the terminals of a supply that can't say whether it is on; common practice, no source.
_LIVE_VOLTS, _LIVE_AMPS = 1.0, 0.02
# Set by `prepare` in this order, as far as the dialect has words for them.
_PROTECTIONS = (Step.OVER_VOLTAGE, Step.OVER_VOLTAGE_ON, Step.OVER_CURRENT_DELAY, Step.OVER_CURRENT)


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

    A supply whose dialect has no over-voltage level or no over-current protection is refused by `prepare`, unless
    whoever opens it says `unprotected`: then only the driver refuses higher volts, and only the station's own
    judgement ends an overload. `lacking` names what is missing.
    """

    def __init__(
        self,
        session: Session,
        dialect: Dialect,
        *,
        wait: Callable[[float], None] = time.sleep,
        unprotected: bool = False,
    ) -> None:
        self.session = session
        self.lacking = dialect.lacking
        self._talk = Conversation(session, dialect, "supply", wait)
        self._switching = switching(self._talk)
        self._unprotected = unprotected

    def identify(self) -> Identity:
        """Ask who it is."""
        return self.session.identify()

    def prepare(self, channel: int, *, over_volts: float, over_amps_delay_seconds: float) -> Found:
        """Switch a channel off, program 0 V and its protections, clear old trips, and return how it was found.

        Over-current protection trips when the output has been in constant current for longer than the delay. All of
        it is read back; entries already in the error queue are logged and dropped. Raises NotPrepared where
        protections are missing and the supply was not opened as unprotected.
        """
        self._refuse_unprotected()
        found = _find(self._talk, channel)
        self._talk.discard_old_errors()
        self._switching.turn(channel, False)
        self._talk.put(Step.VOLTAGE, 0.0, channel)
        wanted = (float(over_volts), True, float(over_amps_delay_seconds), True)
        for step, value in zip(_PROTECTIONS, wanted, strict=True):
            if step in self._talk.dialect.settings:
                self._talk.put(step, value, channel)
        self.clear_trips(channel)
        if Step.OVER_VOLTAGE in self.lacking:
            self._talk.keep(Step.OVER_VOLTAGE, float(over_volts), channel)
        return found

    def _refuse_unprotected(self) -> None:
        if self.lacking and not self._unprotected:
            raise NotPrepared(
                self.session.where(),
                f"its dialect '{self._talk.dialect.name}' has no {' and no '.join(self.lacking)}",
                "use a supply that has them, or open it as unprotected: nothing but the station then limits a fault",
            )

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
        self._switching.set_volts(channel, float(volts))

    def switch(self, channel: int, on: bool) -> None:
        """Switch a channel and read its state back; returns after its switching time.

        Where all channels share a switch, off switches all of them off, and on gives no volts to the others. Raises
        NotPrepared if it is to go on before protections, limit and voltage have been set and read back without
        trouble since.
        """
        if on:
            protections = (step for step in _PROTECTIONS if step in self._talk.dialect.settings)
            steps = dict.fromkeys((Step.OVER_VOLTAGE, *protections, Step.CURRENT_LIMIT))
            missing = [str(step) for step in steps if self._talk.standing(step, channel) is None]
            if not self._switching.has_volts(channel):
                missing.append(str(Step.VOLTAGE))
            if missing:
                raise NotPrepared(
                    self.session.where(),
                    f"channel {channel} was to go on, but its {', '.join(missing)} had not been read back",
                    "prepare the channel and set its output first; after any trouble, again",
                )
        self._switching.turn(channel, on)

    def measure(self, channel: int) -> Measured:
        """Ask what is at the terminals, in volts and amps."""
        volts, amps = self._talk.measured((Step.MEASURED_VOLTS, Step.MEASURED_AMPS), channel)
        return Measured(volts, amps)

    def mode(self, channel: int) -> Mode:
        """Ask what holds the output; never remembered.

        A channel found tripped has to be prepared again before it may go on.
        """
        mode = read_mode(self._talk, channel, idle=self._switching.idles(channel))
        if mode is Mode.TRIPPED:
            self._talk.forget(channel=channel)  # nothing goes on again before `prepare` has looked at it
        return mode

    def trips(self, channel: int) -> tuple[str, ...]:
        """Ask which protections have tripped, by name; () too where the supply can't say."""
        return read_status(self._talk, channel).trips

    def clear_trips(self, channel: int) -> None:
        """Clear tripped protections with the output off, because many supplies restore it to on; check they are.

        Raises BadReply if a protection stays tripped: its cause is still there.
        """
        self._talk.forget(Step.OUTPUT, channel=channel)
        self._switching.turn(channel, False)
        if Step.CLEAR_TRIPS in self._talk.dialect.actions:
            self._talk.act(Step.CLEAR_TRIPS, channel)
        still = self.trips(channel)
        if still:
            raise BadReply(
                self.session.where(),
                f"channel {channel} stays tripped by {', '.join(still)}",
                "remove what drives its terminals from outside, or let it cool down",
            )

    def arm_watchdog(self, channel: int, seconds: float) -> bool:
        """Let the supply switch its outputs off by itself when it hears nothing for so long; False if it can't.

        Any message feeds it. Once it has bitten, outputs stay off and `trips` names it, until `clear_trips`.
        """
        return arm(self._talk, channel, seconds)

    def disarm_watchdog(self, channel: int) -> None:
        """Let the supply stay as it is however long it hears nothing, whoever armed it; nothing where it has none."""
        disarm(self._talk, channel)

    def feed(self, channel: int = 1) -> None:
        """Ask something cheap, so that a watchdog hears that we are there."""
        self._talk.read_back(Step.VOLTAGE, channel)

    def make_safe(self, channel: int) -> tuple[str, ...]:
        """Switch a channel off, program 0 V and verify both; return what could not be verified, in words.

        Never raises for an instrument's or a link's trouble. An empty tuple means: reads back off (where it can be
        asked) and 0 V, and delivers no current. What is still charged behind it is for others to bleed.
        """
        return make_safe(self._talk, channel, switch=Step.OUTPUT, level=Step.VOLTAGE)


def _find(talk: Conversation, channel: int) -> Found:
    """Return what a channel is doing before it is touched; one that can't say so is on where it is live."""
    can_say = bool(talk.dialect.settings[Step.OUTPUT].ask)
    told_on = can_say and talk.read_back(Step.OUTPUT, channel) is True
    volts, amps = talk.measured((Step.MEASURED_VOLTS, Step.MEASURED_AMPS), channel)
    on = told_on if can_say else volts > _LIVE_VOLTS or amps > _LIVE_AMPS
    if on:
        logger.warning("%s: channel %d was found on, %g V %g A", talk.session.where(), channel, volts, amps)
    talk.forget(channel=channel)
    return Found(on, volts, amps)
