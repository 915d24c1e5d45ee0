"""Run one program on many simulated boards at once: every lane to its next unsolved ask, then one solution for all.

The program, its envelope and its judge are those of the bench; only who answers is another. Circuits are always at
rest here: charging, decay and whatever else only waiting shows is not seen.
"""

import gc
from collections import defaultdict
from collections.abc import Callable, Coroutine, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from simulated.circuit import CircuitError
from simulated.errors import SimulatedError
from simulated.lanes import LaneBoard, Lanes
from station.asks import (
    Ask,
    Draw,
    Drawn,
    Fed,
    Feed,
    Judged,
    Quantity,
    Read,
    Reading,
    StepEnded,
    StepStarted,
    Turn,
    Turned,
)
from station.board import Board
from station.envelope import Envelope
from station.errors import BoardStopped, InputError, NotSolved, Unreadable, halves
from station.lane import Desk, LanePerformer, Unsolved
from station.lines import Judgement
from station.opening import described

__all__ = ["Condition", "LaneBoard", "LaneEnded", "Runnable", "in_lockstep"]

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
    desk, envelope, conditions = Desk(board, highest_volts), Envelope(board), dict[Condition, Condition]()
    runs = [_Run(program, LanePerformer(desk, lane), envelope, conditions) for lane in lanes.lanes]
    try:
        waiting = [run for run in runs if run.goes_on()]
        while waiting and not stopped():
            lanes.settle([run.performer.lane for run in waiting])
            waiting = [run for run in waiting if run.goes_on()]
    finally:
        for run in runs:
            run.close()
    return [run.ended for run in runs]


class _Run:
    """One lane's live program, and what has come of it; `conditions` are those that any lane has met.

    Lanes share what is equal: of thousands of live programs, all that has to be fetched from memory takes time.
    """

    def __init__(
        self, program: Runnable, performer: LanePerformer, envelope: Envelope, conditions: dict[Condition, Condition]
    ) -> None:
        self.performer, self.ended = performer, LaneEnded()
        self._program: Coroutine[Any, Any, object] = program.run()
        self._envelope, self._conditions = envelope, conditions
        self._asked: Ask[Any] | None = None  # what waits for a solution
        self._step, self._begun = "", 0.0
        self._fed, self._live = dict[str, float](), False  # `live`: something is fed
        self._drawn: dict[str, float] = {}
        self._condition: Condition | None = None  # these two, as solutions are kept; None: changed since

    def goes_on(self) -> bool:
        """Run the program, whose last ask is solved by now, to its next unsolved one; returns whether there is one."""
        program, ask = self._program, self._asked
        if ask is not None:
            self._see()
        try:
            ask = ask or program.send(None)
            while True:
                try:
                    answer = _WAYS[type(ask)](self, ask)
                except (Unreadable, BoardStopped) as what:
                    ask = program.throw(what)
                else:
                    ask = program.send(answer)
        except Unsolved:
            self._asked = ask
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

    def _feed(self, ask: Feed) -> Fed:
        self._envelope.refuse_feed(ask)
        if self._fed.get(ask.terminal) != ask.volts:
            self._fed[ask.terminal], self._condition = ask.volts, None
            self._live = any(self._fed.values())
        fed = ask.put_to(self.performer)
        self._envelope.stop_on_fed(ask, fed)
        return fed

    def _draw(self, ask: Draw) -> Drawn:
        self._envelope.refuse_draw(ask)
        self._drawn[ask.terminal], self._condition = ask.amps, None
        return ask.put_to(self.performer)

    def _read(self, ask: Read) -> Reading:
        self._envelope.refuse_read(ask, self._fed)
        if not self._live:
            self._note_unfed(ask.quantity)
        reading = ask.put_to(self.performer)
        self._envelope.stop_on_reading(ask, reading)
        return reading

    def _turn(self, ask: Turn) -> Turned:
        self.ended.visited.clear()  # the board with its trimmer elsewhere: it is never seen so again
        return ask.put_to(self.performer)

    def _put(self, ask: Ask[Any]) -> object:
        """Answer an ask that neither feeds, loads nor changes the board, nor may show it misbehaving."""
        reply: object = ask.put_to(self.performer)
        return reply

    def _see(self) -> None:
        """Note what the lane's new solution shows."""
        if self._condition is None:
            condition = tuple(self._fed.items()), tuple(self._drawn.items())
            self._condition = self._conditions.setdefault(condition, condition)
        self.ended.visited[self._condition] = self.performer.lane.seen

    def _note_unfed(self, quantity: Quantity) -> None:
        """Keep what is seen of a step without power: of one that reads ohms all but how they settle."""
        if quantity is Quantity.RESISTANCE:
            self.ended.unfed_steps.discard(self._step)
        else:
            self.ended.unfed_steps.add(self._step)

    def _begin(self, event: StepStarted) -> None:
        self._step, self._begun = event.title, self.performer.lane.clock.seconds()

    def _judged(self, event: Judged) -> None:
        self.ended.judgements.append(event.judgement)

    def _end(self, event: StepEnded) -> None:
        if event.title == self._step:  # one that was never begun takes no time
            self.ended.seconds[event.title] = self.performer.lane.clock.seconds() - self._begun


_Way = Callable[[_Run, Any], object]
_WAYS: defaultdict[type[Ask[Any]], _Way] = defaultdict(lambda: _Run._put)
_WAYS |= {
    Feed: _Run._feed,
    Draw: _Run._draw,
    Read: _Run._read,
    Turn: _Run._turn,
    StepStarted: _Run._begin,
    Judged: _Run._judged,
    StepEnded: _Run._end,
}
