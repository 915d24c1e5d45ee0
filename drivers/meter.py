"""Read DC volts, ripple and ohms with a multimeter, on a fixed range, with as much integration as is asked for."""

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from drivers.conversation import Conversation
from drivers.dialects.dialect import Dialect, OhmsRange, Step
from drivers.dialects.meters import METER
from drivers.errors import Overloaded, bad_reply
from drivers.scanner import close_only
from drivers.scpi import Identity, Special, parse_reading
from drivers.session import Session, understanding

__all__ = ["Meter", "MeterReading", "OhmsReading", "RippleReading", "fitting_range", "range_of_current"]

# A rail a little above its nominal value must not overload the range that ends there; common practice, no source.
_HEADROOM = 1.05


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


@dataclass(frozen=True)
class OhmsReading:
    """One two-wire reading, leads included, and how it was taken; see MeterReading."""

    ohms: float
    range_ohms: float
    power_line_cycles_actual: float
    seconds: float


@dataclass(frozen=True)
class RippleReading:
    """The rms volts that alternate, in the meter's own bandwidth; `seconds` is how long its filter may take."""

    volts_rms: float
    seconds: float


@dataclass(frozen=True)
class _Function:
    """What a meter can be set to measure: how it is chosen, and what is set for it."""

    configure: Step
    range: Step
    integration: Step
    unit: str


@dataclass(frozen=True)
class _Taken:
    """A reading in its function's unit; the value is what stood in place of one for an overload."""

    value: float | Special
    range: float
    cycles: float
    seconds: float


@dataclass(frozen=True)
class _Begun:
    """A reading of volts that the meter is at work on."""

    channel: int | None
    range_volts: float
    cycles: float


_VOLTS = _Function(Step.CONFIGURE, Step.RANGE, Step.INTEGRATION, "V")
_OHMS = _Function(Step.OHMS_CONFIGURE, Step.OHMS_RANGE, Step.OHMS_INTEGRATION, "OHM")


class Meter:
    """A multimeter on DC volts or ohms, with a scanner card in front of its input or without.

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
        self.traits = dialect.meter
        self._mains_hz = mains_hz
        self._chosen: tuple[_Function, int] | None = None  # and the session's upsets when it was
        self._begun: _Begun | None = None

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
        self._refuse_senseless(channel, power_line_cycles)
        self.stop_testing()  # no test current may flow into another channel
        self._reach(channel)
        fitting = fitting_range(self.traits.ranges_volts, expected_volts)
        highest = self.traits.ranges_volts[-1]
        taken = self._read_on(_VOLTS, fitting, power_line_cycles)
        if isinstance(taken.value, Special) and fitting < highest:
            taken = self._read_on(_VOLTS, highest, power_line_cycles)
        if isinstance(taken.value, Special):
            raise self._overloaded(channel, taken.value, f"its highest range, {highest:g} V")
        return MeterReading(taken.value, taken.range, taken.cycles, taken.seconds)

    @property
    def triggers(self) -> bool:
        """Whether it can begin a reading, and be asked for it later."""
        return self._talk.dialect.triggers

    def begin_volts(
        self, channel: int | None, *, expected_volts: float | None = None, power_line_cycles: float = 1.0
    ) -> None:
        """Begin what read_volts does, and return while the meter integrates: `end_volts` has the reading.

        A reading that is never fetched does no harm: the next one begins anew.
        """
        self._refuse_senseless(channel, power_line_cycles)
        self.stop_testing()
        self._reach(channel)
        fitting = fitting_range(self.traits.ranges_volts, expected_volts)
        actual_range, cycles = self._prepared(_VOLTS, fitting, power_line_cycles)
        self._talk.act(Step.TRIGGER)
        self._begun = _Begun(channel, actual_range, cycles)

    def end_volts(self) -> MeterReading:
        """Return what begin_volts began; an overload is taken once more on the highest range, as read_volts does."""
        begun, self._begun = self._begun, None
        assert begun is not None, "nothing was begun"
        seconds = self._seconds(begun.cycles)
        value = self._number(self._talk.dialect.asking(Step.FETCH, 1), _VOLTS.unit, seconds)
        if isinstance(value, Special):
            return self.read_volts(begun.channel, power_line_cycles=begun.cycles)
        return MeterReading(value, begun.range_volts, begun.cycles, seconds)

    def read_ohms(self, channel: int | None, *, test_amps: float, power_line_cycles: float = 1.0) -> OhmsReading:
        """Close a scanner channel and read the ohms at it, two-wire, on the highest range of this test current.

        The current flows out of the meter's plus until volts are read again or `stop_testing` is called. Another
        range has another current, so Overloaded is raised at once, with the sign of what stood at the input.
        Raises LookupError where no range has this current.
        """
        self._refuse_senseless(channel, power_line_cycles)
        chosen = range_of_current(self.traits.ranges_ohms, test_amps)
        self._reach(channel)
        taken = self._read_on(_OHMS, chosen.ohms, power_line_cycles)
        if isinstance(taken.value, Special):
            raise self._overloaded(channel, taken.value, f"its range of {chosen.ohms:g} ohm")
        return OhmsReading(taken.value, taken.range, taken.cycles, taken.seconds)

    def read_ripple(self, channel: int | None) -> RippleReading:
        """Close a scanner channel and read the rms volts that alternate there; all other settings are lost by it."""
        self._refuse_senseless(channel, 1.0)
        self.stop_testing()
        self._reach(channel)
        self._chosen = None
        message = self._talk.dialect.asking(Step.RIPPLE, 1)
        value = self._number(message, "V", self.traits.ripple_seconds)
        if isinstance(value, Special):
            raise self._overloaded(channel, value, "its highest range")
        return RippleReading(value, self.traits.ripple_seconds)

    def stop_testing(self) -> None:
        """Let no test current flow any more: whatever is fed next must not meet an ohmmeter."""
        if self._chosen is not None and self._chosen[0] is _OHMS:
            self._choose(_VOLTS)

    def _overloaded(self, channel: int | None, special: Special, where: str) -> Overloaded:
        return Overloaded(
            self.session.where(self._talk.dialect.asking(Step.READING, 1)),
            f"overload at channel {channel} on {where}",
            "take the leads off and look what is there",
            sign=-1.0 if special is Special.NEGATIVE_OVERLOAD else 1.0,
        )

    @staticmethod
    def _refuse_senseless(channel: int | None, power_line_cycles: float) -> None:
        if not power_line_cycles > 0.0:
            raise ValueError(f"the meter was to integrate {power_line_cycles} power-line cycles; write more than 0")
        if channel is not None and channel < 1:
            raise ValueError(f"the meter was to read channel {channel}; write 1 or more")

    def _reach(self, channel: int | None) -> None:
        """Close one channel of the scanner and open all others; returns when its relay has settled."""
        if channel is not None:
            close_only(self._talk, channel, self.traits.channel_offset)

    def _read_on(self, function: _Function, span: float, power_line_cycles: float) -> _Taken:
        """Return a reading on a range, which may be an overload."""
        actual_range, cycles = self._prepared(function, span, power_line_cycles)
        return _Taken(self._take(function, cycles), actual_range, cycles, self._seconds(cycles))

    def _prepared(self, function: _Function, span: float, power_line_cycles: float) -> tuple[float, float]:
        """Set range and integration, and return what the meter took.

        The first reading after a change of range is thrown away, at the shortest integration: amplifier and input
        are still settling in it.
        """
        self._choose(function)
        if self._talk.standing(function.range) != span:
            self._talk.put(function.range, span)
            self._take(function, self._integrate(function, self.traits.power_line_cycles[0]))
        actual_range = float(self._talk.put(function.range, span))
        return actual_range, self._integrate(function, power_line_cycles)

    def _choose(self, function: _Function) -> None:
        """Choose what is measured; whatever else that resets is set and read back after it."""
        if self._chosen != (function, self.session.upsets):
            self._talk.discard_old_errors()
            self._talk.act(function.configure)
            self._talk.forget(*(step for each in (_VOLTS, _OHMS) for step in (each.range, each.integration)))
            self._chosen = function, self.session.upsets

    def _integrate(self, function: _Function, power_line_cycles: float) -> float:
        """Set the shortest integration that is at least as long as asked, or the longest; return what it took.

        Raises BadReply where the meter says it integrates for no time, or for ten times its longest.
        """
        choices = self.traits.power_line_cycles
        enough = (choice for choice in choices if choice >= power_line_cycles * (1.0 - 1e-9))
        taken = float(self._talk.put(function.integration, next(enough, choices[-1])))
        if not 0.0 < taken <= 10.0 * choices[-1]:
            self.session.doubt()
            where = self.session.where(self._talk.dialect.asking(function.integration, 1))
            raise bad_reply(where, f"it integrates over {taken:g} power-line cycles")
        return taken

    def _seconds(self, power_line_cycles: float) -> float:
        return power_line_cycles / self._mains_hz * self.traits.conversions_per_reading

    def _take(self, function: _Function, power_line_cycles: float) -> float | Special:
        """Trigger and return one reading in the function's unit, or an overload of either sign."""
        message = self._talk.dialect.asking(Step.READING, 1)
        return self._number(message, function.unit, self._seconds(power_line_cycles))

    def _number(self, message: str, unit: str, seconds: float) -> float | Special:
        # The session's own time-out covers the way there and back, and a change of range.
        reply = self.session.query(message, timeout_seconds=self.session.timeout_seconds + seconds)
        with understanding(self.session.where(message)):
            value = parse_reading(reply, unit)
        if value is Special.NOT_A_NUMBER:
            raise bad_reply(self.session.where(message), f"'{reply}' means that there is no reading")
        return value


def fitting_range(ranges_volts: Sequence[float], expected_volts: float | None) -> float:
    """Return the smallest range with room for what is expected; the highest if that is unknown or beyond all."""
    if expected_volts is None:
        return ranges_volts[-1]
    fitting = (span for span in ranges_volts if abs(expected_volts) * _HEADROOM <= span)
    return next(fitting, ranges_volts[-1])


def range_of_current(ranges: Sequence[OhmsRange], test_amps: float) -> OhmsRange:
    """Return the highest range with a test current; LookupError, naming the currents there are, for any other."""
    fitting = [each for each in ranges if math.isclose(each.test_amps, test_amps, rel_tol=1e-6)]
    if not fitting:
        known = ", ".join(dict.fromkeys(f"{each.test_amps:g} A" for each in ranges)) or "none at all"
        raise LookupError(f"no range of the meter has a test current of {test_amps:g} A; it has {known}")
    return max(fitting, key=lambda each: each.ohms)
