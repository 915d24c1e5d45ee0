"""Run one program on many simulated boards at once: every lane to its next unsolved ask, then one solution for all.

The program, its envelope and its judge are those of the bench; only who answers is another. Circuits are always at
rest here: charging, decay and whatever else only waiting shows is not seen.
"""

import gc
from collections.abc import Callable, Coroutine, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from simulated.circuit import CircuitError
from simulated.errors import SimulatedError
from simulated.lanes import Lane, LaneBoard, Lanes
from station.asks import (
    Ask,
    Draw,
    Drawn,
    Event,
    Fed,
    Feed,
    Judged,
    Mode,
    Quantity,
    Question,
    Read,
    Reading,
    SafeState,
    StepEnded,
    StepStarted,
    Toward,
    Turn,
    Turned,
    Wait,
)
from station.bench import CHARGING_SECONDS, expected_volts, protection_volts
from station.board import Board
from station.envelope import Envelope
from station.errors import BoardStopped, InputError, NotSolved, Unreadable, halves
from station.lines import Judgement
from station.opening import METER_SHEET, READBACK_ACCURACY, described
from station.readings import Look, amps_look, volts_look

__all__ = ["Condition", "LaneBoard", "LaneEnded", "Runnable", "in_lockstep"]

# What asks take on the simulated bench, there and back on the wire included (seconds).
SET_SECONDS, LOOK_SECONDS, OFF_SECONDS, DRAW_SECONDS = 0.021, 0.003, 0.051, 0.021
READ_SECONDS, CHANNEL_SECONDS, CURRENT_SECONDS, LINE_HERTZ = 0.0018, 0.04, 0.002, 50.0
OVERLOAD = 9e37

Condition = tuple[tuple[tuple[str, float], ...], tuple[tuple[str, float], ...]]  # fed (V), drawn (A), by terminal


class Runnable(Protocol):
    """A program: each run is a coroutine of asks."""

    def run(self) -> Coroutine[Any, Any, object]:
        """Return a run that has not begun."""


@dataclass
class LaneEnded:
    """How one lane's run ended.

    `unsolved` says why the circuit had no solution, if it had none. `visited` has what stood at every terminal
    (volts) and input (amps) under each condition since a trimmer was turned last, when it was seen last; `seconds`
    is bench time by step.
    """

    judgements: list[Judgement] = field(default_factory=list)
    unsolved: str = ""
    visited: dict[Condition, NDArray[np.float64]] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)
    unfed_steps: set[str] = field(default_factory=set)  # steps that read something with every input off


class _Unsolved(Exception):
    """The ask can't be answered before the lane is solved; put it again then."""


@contextmanager
def _uncollected() -> Iterator[None]:
    """Look for no cycles of garbage: there are none, and among thousands of live programs a tenth of the time goes."""
    enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if enabled:
            gc.enable()


@_uncollected()
def in_lockstep(
    program: Runnable,
    board: Board,
    highest_volts: dict[str, float],
    boards: Sequence[LaneBoard],
    stopped: Callable[[], bool] = lambda: False,
) -> list[LaneEnded]:
    """Run a program on all boards and return how each ended, in their order; fewer rounds where it is `stopped`.

    Raises InputError where netlist or fault is wrong.
    """
    try:
        lanes = Lanes(described(board), boards)
    except (CircuitError, SimulatedError) as error:
        raise InputError.about(*halves(error)) from error
    desk, envelope = _Desk(board, highest_volts), Envelope(board)
    runs = [_Run(program, _Performer(desk, lane), envelope) for lane in lanes.lanes]
    waiting = [run for run in runs if run.goes_on()]
    while waiting and not stopped():
        lanes.settle([run.performer.lane for run in waiting])
        for run in waiting:
            run.see()
        waiting = [run for run in waiting if run.goes_on()]
    for run in waiting:
        run.close()
    return [run.ended for run in runs]


class _Desk:
    """What the instruments of all lanes have in common: protections, channels, and how each terminal is looked at."""

    def __init__(self, board: Board, highest_volts: dict[str, float]) -> None:
        self.protections = {name: protection_volts(board, name, volts) for name, volts in highest_volts.items()}
        self.currents = {
            name: amps_look(READBACK_ACCURACY, channel)
            for channel, name in enumerate(board.terminals("input"), start=1)
        }
        self._board = board
        self._volts: dict[tuple[str, float], tuple[_MeterLook, ...]] = {}

    def volts(self, terminal: str, effort: float) -> "tuple[_MeterLook, ...]":
        """Return the looks of the meter at a terminal, the second where the first shows an overload."""
        if (terminal, effort) not in self._volts:
            cycles = next((each for each in METER_SHEET.resolution if each >= effort), max(METER_SHEET.resolution))
            ranges = METER_SHEET.range_volts(expected_volts(self._board, terminal)), METER_SHEET.highest_range_volts
            seconds = READ_SECONDS + 2.0 * cycles / LINE_HERTZ
            self._volts[terminal, effort] = tuple(
                _MeterLook(each, cycles, seconds, volts_look(METER_SHEET, each, cycles)) for each in ranges
            )
        return self._volts[terminal, effort]


@dataclass(frozen=True)
class _MeterLook:
    """A look of the meter on a range (volts), what it takes (seconds), and what becomes of what it shows."""

    range_volts: float
    cycles: float
    seconds: float
    look: Look


class _Performer:
    """Answers one lane's asks; raises _Unsolved where the circuit has to be solved first."""

    def __init__(self, desk: _Desk, lane: Lane) -> None:
        self.lane, self._desk = lane, desk
        self._channel = ""

    def feed(self, ask: Feed) -> Fed:
        """See Performer."""
        lane, volts = self.lane, abs(ask.volts)
        if lane.feed(ask.terminal, volts, ask.amps_limit):
            lane.clock.advance(SET_SECONDS if volts else OFF_SECONDS)
        if not volts:
            return Fed(Mode.CV)
        self._solved()
        lane.clock.advance(LOOK_SECONDS)
        sign = -1.0 if ask.volts < 0.0 else 1.0
        if sign * lane.volts(ask.terminal) > self._desk.protections[ask.terminal]:
            lane.feed(ask.terminal, 0.0, 0.0)
            return Fed(Mode.TRIPPED)
        if lane.limited(ask.terminal):
            lane.clock.advance(CHARGING_SECONDS)
            return Fed(Mode.CC)
        return Fed(Mode.CV)

    def draw(self, ask: Draw) -> Drawn:
        """See Performer."""
        if self.lane.draw(ask.terminal, ask.amps):
            self.lane.clock.advance(DRAW_SECONDS)
        return Drawn()

    def wait(self, ask: Wait) -> None:
        """See Performer."""
        self.lane.clock.advance(ask.seconds)

    def read(self, ask: Read) -> Reading:
        """See Performer."""
        self._solved()
        lane = self.lane
        if ask.quantity is Quantity.VOLTAGE:
            return self._volts(ask)
        look = self._desk.currents.get(ask.terminal)
        if look is None:
            raise Unreadable(f"no instrument reads a current at {ask.terminal}")
        lane.clock.advance(CURRENT_SECONDS)
        return look.reading(lane.shown_amps(ask.terminal), lane.clock.seconds())

    def _volts(self, ask: Read) -> Reading:
        lane, name = self.lane, ask.terminal
        for each in self._desk.volts(name, ask.effort):
            shown = lane.shown_volts(name, range_volts=each.range_volts, cycles=each.cycles)
            if abs(shown) < OVERLOAD:
                break
        else:
            raise Unreadable(f"{name} voltage: overload on the meter's highest range")
        lane.clock.advance(each.seconds + (CHANNEL_SECONDS if self._channel != name else 0.0))
        self._channel = name
        return each.look.reading(shown, lane.clock.seconds())

    def turn(self, ask: Turn) -> Turned:
        """See Performer."""
        clockwise = ask.toward is Toward.CLOCKWISE
        done = self.lane.hands.turn(ask.trimmer, clockwise=clockwise, missing_volts=ask.remaining)
        return Turned.DONE if done else Turned.STUCK

    def question(self, ask: Question) -> str:
        """See Performer."""
        return self.lane.hands.answer(ask.answers)

    def make_safe(self) -> SafeState:
        """See Performer; a lane is never asked, for nothing has to be made safe."""
        raise NotImplementedError("nobody makes a lane safe")

    def _solved(self) -> None:
        if self.lane.stale or self.lane.has_warmed():
            raise _Unsolved
        if not self.lane.solved:
            raise NotSolved("the circuit has no solution under what is applied")


class _Run:
    """One lane's live program, and what has come of it."""

    def __init__(self, program: Runnable, performer: _Performer, envelope: Envelope) -> None:
        self.performer, self.ended = performer, LaneEnded()
        self._program: Coroutine[Any, Any, object] = program.run()
        self._envelope = envelope
        self._answer: object = None
        self._asked: Ask[Any] | None = None  # what waits for a solution
        self._step, self._begun = "", 0.0
        self._fed: dict[str, float] = {}
        self._drawn: dict[str, float] = {}
        self._condition: Condition | None = None  # these two, as solutions are kept; None: changed since

    def goes_on(self) -> bool:
        """Run the program to its next unsolved ask; returns whether there is one."""
        try:
            while True:
                ask = self._asked or self._next()
                if isinstance(ask, Event):
                    self._note(ask)
                    self._answer = None
                    continue
                if self._asked is None:
                    self._envelope.refuse_beyond(ask)
                self._asked = ask
                self._answer = self._put(ask)
                self._asked = None
        except _Unsolved:
            return True
        except StopIteration:
            return False
        except NotSolved as error:
            self.ended.unsolved = f"{self._step}: {error}"
            self.close()
            return False

    def close(self) -> None:
        """Give the program up."""
        self._program.close()

    def see(self) -> None:
        """Note what the lane's new solution shows."""
        if self._condition is None:
            self._condition = tuple(self._fed.items()), tuple(self._drawn.items())
        self.ended.visited[self._condition] = self.performer.lane.seen

    def _next(self) -> Ask[Any]:
        answer, program = self._answer, self._program
        ask: Ask[Any] = program.throw(answer) if isinstance(answer, Exception) else program.send(answer)
        return ask

    def _put(self, ask: Ask[Any]) -> object:
        """Return the answer, or what is to be thrown into the program in its place."""
        if isinstance(ask, Feed):
            self._fed[ask.terminal], self._condition = ask.volts, None
        elif isinstance(ask, Draw):
            self._drawn[ask.terminal], self._condition = ask.amps, None
        elif isinstance(ask, Turn):
            self.ended.visited.clear()  # the board with its trimmer elsewhere: it is never seen so again
        try:
            reply: object = ask.put_to(self.performer)
        except Unreadable as error:
            return error
        if isinstance(ask, Read) and not any(self._fed.values()):
            self.ended.unfed_steps.add(self._step)
        try:
            self._envelope.stop_on(ask, reply)
        except BoardStopped as stop:
            return stop
        return reply

    def _note(self, event: Event) -> None:
        if isinstance(event, Judged):
            self.ended.judgements.append(event.judgement)
        elif isinstance(event, StepStarted):
            self._step, self._begun = event.title, self.performer.lane.clock.seconds()
        elif isinstance(event, StepEnded) and event.title == self._step:  # one that was never begun takes no time
            self.ended.seconds[event.title] = self.performer.lane.clock.seconds() - self._begun
