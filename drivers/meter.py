"""Read DC volts with a multimeter, on a fixed range, with as much integration as is asked for."""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from drivers.conversation import Conversation
from drivers.dialects.dialect import Dialect, Step
from drivers.dialects.meters import METER
from drivers.errors import Overloaded, bad_reply
from drivers.scpi import Identity, Special, parse_reading
from drivers.session import Session, understanding

__all__ = ["Meter", "MeterReading", "fitting_range"]

# A rail a little above its nominal value must not overload the range that ends there; common practice, no source.
_HEADROOM = 1.05
_MOST_CARD_CHANNELS = 99


@dataclass(frozen=True)
class MeterReading:
    """One reading, and how it was taken as the meter itself says.

    `power_line_cycles_actual` is the integration the meter reports, which may be less than was asked for; `seconds` is
    how long reading took it, autozero included.
    """

    volts: float
    range_volts: float
    power_line_cycles_actual: float
    seconds: float


class Meter:
    """A multimeter on DC volts, with a scanner card in front of its input or without.

    Ranges are fixed, so that no reading hunts for one; `mains_hz` turns power-line cycles into seconds. Methods raise
    ValueError for what may never be sent, and otherwise what `drivers.errors` lists.
    """

    def __init__(
        self,
        session: Session,
        dialect: Dialect = METER,
        *,
        wait: Callable[[float], None] = time.sleep,
        mains_hz: float = 50.0,
    ) -> None:
        self.session = session
        self._talk = Conversation(session, dialect, "meter", wait)
        assert dialect.meter is not None  # a meter's dialect cannot be made without
        self._traits = dialect.meter
        self._mains_hz = mains_hz

    def identify(self) -> Identity:
        """Ask who it is."""
        return self.session.identify()

    def read_volts(
        self, channel: int | None, *, expected_volts: float | None = None, power_line_cycles: float = 1.0
    ) -> MeterReading:
        """Close a scanner channel (None: there is no scanner) and read the volts at it.

        `channel` is the input's number, 1 to 99 for the card in the first slot, or the full number from 101. The range
        is the smallest with room for `expected_volts`, the highest if that is not known. An overload is taken once
        more on the highest range; Overloaded is raised if that is too small as well.
        """
        if not power_line_cycles > 0.0:
            raise ValueError(f"the meter was to integrate {power_line_cycles} power-line cycles; write more than 0")
        if channel is not None:
            self._close_channel(self._full_number(channel))
        fitting = fitting_range(self._traits.ranges_volts, expected_volts)
        highest = self._traits.ranges_volts[-1]
        reading = self._read_on(fitting, power_line_cycles)
        if reading is None and fitting < highest:
            reading = self._read_on(highest, power_line_cycles)
        if reading is None:
            raise Overloaded(
                self.session.where(self._talk.dialect.asking(Step.READING, 1)),
                f"overload at channel {channel} on its highest range, {highest:g} V",
                "take the leads off and look what is there",
            )
        return reading

    def _full_number(self, channel: int) -> int:
        if channel < 1:
            raise ValueError(f"the meter was to read channel {channel}; write 1 or more")
        return channel + self._traits.channel_offset if channel <= _MOST_CARD_CHANNELS else channel

    def _close_channel(self, number: int) -> None:
        """Close one channel of the scanner and open all others; returns when its relay has settled."""
        if self._talk.standing(Step.CHANNEL, number) is None:
            self._talk.forget(Step.CHANNEL)  # closing this one opens the one that was closed
            self._talk.put(Step.CHANNEL, True, number)

    def _read_on(self, range_volts: float, power_line_cycles: float) -> MeterReading | None:
        """Return a reading on a range, None for an overload.

        The first reading after a change of range is thrown away, at the shortest integration: amplifier and input
        are still settling in it.
        """
        self._configure_once()
        if self._talk.standing(Step.RANGE) != range_volts:
            self._talk.put(Step.RANGE, range_volts)
            self._integrate(self._traits.power_line_cycles[0])
            self._take(self._traits.power_line_cycles[0])
        actual_range = float(self._talk.put(Step.RANGE, range_volts))
        cycles = self._integrate(power_line_cycles)
        taken = self._take(cycles)
        return None if taken is None else MeterReading(taken, actual_range, cycles, self._seconds(cycles))

    def _configure_once(self) -> None:
        """Choose DC volts; whatever else that resets is set and read back after it."""
        if self._talk.standing(Step.RANGE) is None:
            self._talk.discard_old_errors()
            self._talk.act(Step.CONFIGURE)
            self._talk.forget(Step.RANGE, Step.INTEGRATION)

    def _integrate(self, power_line_cycles: float) -> float:
        """Set the shortest integration that is at least as long as asked, or the longest; return what it took."""
        choices = self._traits.power_line_cycles
        enough = (choice for choice in choices if choice >= power_line_cycles * (1.0 - 1e-9))
        return float(self._talk.put(Step.INTEGRATION, next(enough, choices[-1])))

    def _seconds(self, power_line_cycles: float) -> float:
        return power_line_cycles / self._mains_hz * self._traits.conversions_per_reading

    def _take(self, power_line_cycles: float) -> float | None:
        """Trigger and return one reading in volts, None for an overload of either sign."""
        message = self._talk.dialect.asking(Step.READING, 1)
        # The session's own time-out covers the way there and back, and a change of range.
        timeout_seconds = self.session.timeout_seconds + self._seconds(power_line_cycles)
        reply = self.session.query(message, timeout_seconds=timeout_seconds)
        with understanding(self.session.where(message)):
            value = parse_reading(reply, self._talk.dialect.questions[Step.READING].unit)
        if value is Special.NOT_A_NUMBER:
            raise bad_reply(self.session.where(message), f"'{reply}' means that there is no reading")
        return None if isinstance(value, Special) else value


def fitting_range(ranges_volts: Sequence[float], expected_volts: float | None) -> float:
    """Return the smallest range with room for what is expected; the highest if that is unknown or beyond all."""
    if expected_volts is None:
        return ranges_volts[-1]
    fitting = (span for span in ranges_volts if abs(expected_volts) * _HEADROOM <= span)
    return next(fitting, ranges_volts[-1])
