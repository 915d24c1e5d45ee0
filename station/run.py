"""The one loop that runs a program: performer, record, events, signals, and a safe ending whatever happens."""

from collections.abc import Callable, Coroutine
from dataclasses import dataclass
from typing import Any, Protocol

from msgspec.structs import replace

from station.abreast import ReadTogether
from station.asks import Ask, Conditions, Draw, Event, Feed, Judged, Performer, Reading, SafeState, StepStarted
from station.envelope import Envelope
from station.errors import BoardStopped, StationError, Unreadable
from station.interrupts import Interrupts
from station.lines import Judgement, Line, Outcome, overall
from station.program import Program

__all__ = ["Ended", "NoRecord", "RecordKeeper", "Told", "run"]

Told = Callable[[Ask[Any], object], None]  # an ask or event with its answer, as it happens


class RecordKeeper(Protocol):
    """Where a run is written; each method returns once its fact is safe on disk."""

    def answered(self, ask: Ask[Any], reply: object) -> None:
        """Keep an answer, or the Unreadable that stood in for one."""

    def noted(self, event: Event) -> None:
        """Keep an event."""

    def ended(self, outcome: Outcome, cause: str, safe: SafeState) -> None:
        """Close the run."""


class NoRecord:
    """Keeps nothing: for dry runs, whose readings are of no board."""

    def answered(self, ask: Ask[Any], reply: object) -> None:
        """See RecordKeeper."""

    def noted(self, event: Event) -> None:
        """See RecordKeeper."""

    def ended(self, outcome: Outcome, cause: str, safe: SafeState) -> None:
        """See RecordKeeper."""


@dataclass(frozen=True)
class Ended:
    """How a run ended; `trouble` is what cut it short, if anything did."""

    outcome: Outcome
    judgements: tuple[Judgement, ...]
    safe: SafeState
    trouble: StationError | None = None


def run(
    program: Program,
    performer: Performer,
    record: RecordKeeper,
    *,
    envelope: Envelope,
    interrupts: Interrupts | None = None,
    told: Told = lambda ask, reply: None,
) -> Ended:
    """Run a program to its end and leave the bench safe.

    Expected trouble (a lost link, a full disk, Ctrl-C) ends the run Aborted and is returned; anything else is raised
    again once the bench is safe and the record closed.
    """
    conversation = _Conversation(performer, record, envelope, interrupts or Interrupts(), told)
    trouble: StationError | None = None
    bug: BaseException | None = None
    try:
        conversation.hold(program.run())
    except StationError as error:
        trouble = error
    except BaseException as error:  # noqa: BLE001  whatever it is, the bench comes first; raised again below
        bug = error
    safe = performer.make_safe()
    cause = str(trouble or bug or "")
    judgements = (*conversation.judgements, *_left_over(program, conversation, cause))
    outcome = overall(judgements) if trouble is None and bug is None else _cut_short(judgements)
    try:
        for judgement in judgements[len(conversation.judgements) :]:
            record.noted(Judged(judgement))
        record.ended(outcome, cause, safe)
    except StationError as error:
        trouble = trouble or error
    if bug is not None:
        raise bug
    return Ended(outcome, judgements, safe, trouble)


def _cut_short(judgements: tuple[Judgement, ...]) -> Outcome:
    """Return Failed where a line had failed before the run was cut short, else Aborted."""
    return Outcome.FAILED if overall(judgements) is Outcome.FAILED else Outcome.ABORTED


def _left_over(program: Program, conversation: "_Conversation", cause: str) -> tuple[Judgement, ...]:
    """Return judgements for the lines that a cut-short run left: Aborted in the open step, NotStarted after it."""
    judged = {judgement.line for judgement in conversation.judgements}

    def left(line: Line) -> Judgement:
        outcome = Outcome.ABORTED if line.step == conversation.step else Outcome.NOT_STARTED
        return Judgement(line, outcome, cause=cause)

    return tuple(left(line) for line in program.lines() if line not in judged)


class _Conversation:
    """Puts asks to the performer and answers to record, screen and program, in that order."""

    def __init__(
        self, performer: Performer, record: RecordKeeper, envelope: Envelope, interrupts: Interrupts, told: Told
    ) -> None:
        self._performer, self._record, self._envelope = performer, record, envelope
        self._interrupts, self._told = interrupts, told
        self._fed: dict[str, float] = {}
        self._drawn: dict[str, float] = {}
        self.step = ""
        self.judgements: list[Judgement] = []

    def hold(self, program: Coroutine[Any, Any, object]) -> None:
        """Drive a program by hand to its end."""
        answer: object = None
        try:
            while True:
                ask = program.throw(answer) if isinstance(answer, Exception) else program.send(answer)
                if not isinstance(ask, Ask):
                    raise TypeError(f"a program awaited {ask!r}, which is no ask; await only what station.asks has")
                if isinstance(ask, Event):
                    self._note(ask)
                    answer = None
                else:
                    self._interrupts.check()
                    answer = self._answer(ask)
        except StopIteration:
            return
        finally:
            program.close()

    def _note(self, event: Event) -> None:
        if isinstance(event, StepStarted):
            self.step = event.title
        if isinstance(event, Judged):
            self.judgements.append(event.judgement)
        self._record.noted(event)
        self._told(event, None)

    def _answer(self, ask: Ask[Any]) -> object:
        """Return the answer, or what is to be thrown into the program in its place; on disk before it is returned."""
        self._envelope.refuse_beyond(ask, self._fed)
        try:
            reply: object = ask.put_to(self._performer)
        except Unreadable as error:
            reply = error
        if isinstance(ask, ReadTogether) and isinstance(reply, tuple):
            return self._kept_singly(ask, reply)
        return self._kept(ask, reply)

    def _kept_singly(self, ask: ReadTogether, replies: tuple[object, ...]) -> object:
        """Keep readings that were taken at once, each as one of its own; what one of them throws, all throw."""
        kept = tuple(self._kept(each, reply) for each, reply in zip(ask.reads, replies, strict=True))
        return next((each for each in kept if isinstance(each, Exception)), kept)

    def _kept(self, ask: Ask[Any], reply: object) -> object:
        reply = self._stamped(ask, reply)
        self._record.answered(ask, reply)
        self._told(ask, reply)
        try:
            self._envelope.stop_on(ask, reply)
        except BoardStopped as stop:
            return stop
        return reply

    def _stamped(self, ask: Ask[Any], reply: object) -> object:
        """Keep what is fed and drawn, and put it on every reading."""
        if isinstance(ask, Feed):
            self._fed[ask.terminal] = ask.volts
        elif isinstance(ask, Draw):
            self._drawn[ask.terminal] = ask.amps
        elif isinstance(reply, Reading):
            return replace(reply, conditions=Conditions(tuple(self._fed.items()), tuple(self._drawn.items())))
        return reply
