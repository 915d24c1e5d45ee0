"""Answer one simulated board's asks without a wire, for lockstep: what its bench would show, and what it would take."""

import math
from dataclasses import dataclass

from drivers import OhmsRange, dialect
from simulated.instruments.converter import range_for
from simulated.lanes import Lane
from simulated.ohms_lanes import OhmsTest
from station.asks import (
    Draw,
    Drawn,
    Fed,
    Feed,
    Mode,
    Quantity,
    Question,
    Read,
    Reading,
    SafeState,
    Toward,
    Turn,
    Turned,
    Wait,
)
from station.bench import CHARGING_SECONDS, protection_volts
from station.board import Board
from station.errors import Beyond, InputError, NotSolved, Unreadable
from station.metering import expected_volts
from station.opening import LOAD_ACCURACY, METER_SHEET, READBACK_ACCURACY
from station.readings import Look, amps_look, drawn, leads, ohms_look, ripple_look, tested_range, volts_look

__all__ = ["Desk", "LanePerformer", "Unsolved"]


# What asks take on the simulated bench, there and back on the wire included (seconds).
SET_SECONDS, LOOK_SECONDS, OFF_SECONDS, DRAW_SECONDS = 0.021, 0.003, 0.051, 0.021
READ_SECONDS, CHANNEL_SECONDS, CURRENT_SECONDS, RIPPLE_SECONDS, LINE_HERTZ = 0.0018, 0.04, 0.002, 1.001, 50.0
OVERLOAD = 9e37
VOLTAGE, RESISTANCE, RIPPLE = Quantity.VOLTAGE, Quantity.RESISTANCE, Quantity.RIPPLE  # by name they take longer
HOLDS = Fed(Mode.CV)


class Unsolved(Exception):
    """The ask can't be answered before the lane is solved; put it again then."""


class Desk:
    """What the instruments of all lanes have in common: protections, channels, and how each terminal is looked at."""

    def __init__(self, board: Board, highest_volts: dict[str, float]) -> None:
        self.protections = {name: protection_volts(board, name, volts) for name, volts in highest_volts.items()}
        self.currents = {
            name: amps_look(READBACK_ACCURACY, "supply", channel)
            for channel, name in enumerate(board.terminals("input"), start=1)
        }
        self.ripple = ripple_look(METER_SHEET)
        self._board = board
        self._volts: dict[tuple[str, float], tuple[_MeterLook, ...]] = {}
        self._ohms: dict[tuple[float, float], _OhmsLook] = {}
        self._draws: dict[float, Drawn] = {}

    def volts(self, terminal: str, effort: float) -> "tuple[_MeterLook, ...]":
        """Return the looks of the meter at a terminal, the second where the first shows an overload."""
        key = terminal, effort
        if key not in self._volts:
            cycles = _cycles(effort)
            ranges = METER_SHEET.range_volts(expected_volts(self._board, terminal)), METER_SHEET.highest_range_volts
            seconds = READ_SECONDS + 2.0 * cycles / LINE_HERTZ
            self._volts[key] = tuple(
                _MeterLook(range_for(each), cycles, seconds, volts_look(METER_SHEET, each, cycles)) for each in ranges
            )
        return self._volts[key]

    def drawn(self, amps: float) -> Drawn:
        """Return the answer of a load that was set to a current."""
        if amps not in self._draws:
            self._draws[amps] = drawn(LOAD_ACCURACY, amps)
        return self._draws[amps]

    def ohms(self, test_amps: float, effort: float) -> "_OhmsLook":
        """Return the look of the meter at ohms, at a test current."""
        if (test_amps, effort) not in self._ohms:
            traits, cycles = dialect("meter").meter, _cycles(effort)
            assert traits is not None
            chosen = tested_range(traits.ranges_ohms, test_amps)
            seconds, end = READ_SECONDS + 2.0 * cycles / LINE_HERTZ, traits.over_range * chosen.ohms
            look = _OhmsLook(chosen, end, cycles, seconds, ohms_look(METER_SHEET, chosen, cycles))
            self._ohms[test_amps, effort] = look
        return self._ohms[test_amps, effort]


def _cycles(effort: float) -> float:
    return next((each for each in METER_SHEET.resolution if each >= effort), max(METER_SHEET.resolution))


@dataclass(frozen=True)
class _MeterLook:
    """A look of the meter on a range, what it takes (seconds), and what becomes of what it shows."""

    range_number: int
    cycles: float
    seconds: float
    look: Look


@dataclass(frozen=True)
class _OhmsLook:
    """A look of the meter at ohms: the range, the ohms it ends at, and the rest as of volts."""

    chosen: OhmsRange
    end_ohms: float
    cycles: float
    seconds: float
    look: Look


class LanePerformer:
    """Answers one lane's asks; raises Unsolved where the circuit has to be solved first."""

    def __init__(self, desk: Desk, lane: Lane) -> None:
        self.lane, self._desk, self._clock = lane, desk, lane.clock
        self._channel = ""

    def feed(self, ask: Feed) -> Fed:
        """See Performer."""
        lane, volts, terminal = self.lane, abs(ask.volts), ask.terminal
        if lane.test is not None:
            lane.let(None)
        if lane.feed(terminal, volts, ask.amps_limit):
            self._clock.advance(SET_SECONDS if volts else OFF_SECONDS)
        if not volts:
            return HOLDS
        self._solved()
        self._clock.advance(LOOK_SECONDS)
        stands = lane.volts(terminal)
        if (-stands if ask.volts < 0.0 else stands) > self._desk.protections[terminal]:
            lane.feed(terminal, 0.0, 0.0)
            return Fed(Mode.TRIPPED, ("over-voltage",))
        if lane.limited(terminal):
            self._clock.advance(CHARGING_SECONDS)
            return Fed(Mode.CC)
        return HOLDS

    def draw(self, ask: Draw) -> Drawn:
        """See Performer."""
        if self.lane.draw(ask.terminal, ask.amps):
            self._clock.advance(DRAW_SECONDS)
        return self._desk.drawn(ask.amps)

    def wait(self, ask: Wait) -> None:
        """See Performer."""
        self._clock.advance(ask.seconds)

    def read(self, ask: Read) -> Reading:
        """See Performer."""
        lane, quantity = self.lane, ask.quantity
        if quantity is RESISTANCE:
            return self._ohms(ask)
        if lane.test is not None:
            lane.let(None)
        self._solved()
        if quantity is VOLTAGE:
            return self._volts(ask)
        if quantity is RIPPLE:
            return self._ripple(ask)
        look = self._desk.currents.get(ask.terminal)
        if look is None:
            raise Unreadable(f"no instrument reads a current at {ask.terminal}")
        self._clock.advance(CURRENT_SECONDS)
        return look.reading(lane.shown_amps(ask.terminal), self._clock.now)

    def _volts(self, ask: Read) -> Reading:
        lane, name = self.lane, ask.terminal
        for each in self._desk.volts(name, ask.effort):
            shown = lane.shown_volts(name, each.range_number, each.cycles)
            if abs(shown) < OVERLOAD:
                break
        else:
            raise Unreadable(f"{name} voltage: overload on the meter's highest range")
        self._clock.advance(each.seconds + (CHANNEL_SECONDS if self._channel != name else 0.0))
        self._channel = name
        return each.look.reading(shown, self._clock.now)

    def _ripple(self, ask: Read) -> Reading:
        """Nothing alternates on a lane: a meter shows its own floor."""
        lane, name = self.lane, ask.terminal
        self._clock.advance(RIPPLE_SECONDS + (CHANNEL_SECONDS if self._channel != name else 0.0))
        self._channel = name
        return self._desk.ripple.reading(lane.shown_ripple(), self._clock.now)

    def _ohms(self, ask: Read) -> Reading:
        lane, (terminal, turned) = self.lane, leads(ask)
        each = self._desk.ohms(ask.test_amps, ask.effort)
        lane.let(OhmsTest(terminal, turned, ask.test_amps))
        self._solved()
        shown = lane.shown_ohms(range_ohms=each.chosen.ohms, cycles=each.cycles)
        channel = f"{terminal} turned" if turned else terminal
        self._clock.advance(each.seconds + (CHANNEL_SECONDS if self._channel != channel else 0.0))
        self._channel = channel
        if abs(shown) >= OVERLOAD:
            raise Beyond(f"{terminal} resistance: beyond the meter's range", math.copysign(each.end_ohms, shown))
        return each.look.reading(shown, self._clock.now)

    def turn(self, ask: Turn) -> Turned:
        """See Performer."""
        clockwise, turns = ask.toward is Toward.CLOCKWISE, ask.turns_left
        done = self.lane.hands.turn(ask.trimmer, clockwise=clockwise, missing_volts=ask.remaining, about_turns=turns)
        return Turned.DONE if done else Turned.STUCK

    def question(self, ask: Question) -> str:
        """See Performer; InputError for mains: what they feed is never at rest."""
        if ask.switches is not None:
            what = "mains are to be switched, and boards in lockstep are always at rest"
            raise InputError.about(what, "try its faults one by one, with 'railbench run --simulated --fault'")
        return self.lane.hands.answer(ask.answers)

    def make_safe(self) -> SafeState:
        """See Performer; a lane is never asked, for nothing has to be made safe."""
        raise NotImplementedError("nobody makes a lane safe")

    def _solved(self) -> None:
        lane = self.lane
        if lane.stale:
            raise Unsolved
        if not lane.solved:
            raise NotSolved("the circuit has no solution under what is applied")
