"""Answer a program from a stored record, so that old boards are judged again without being touched."""

from collections.abc import Iterable
from typing import Any

from station.abreast import Abreast, ReadTogether
from station.asks import Ask, Draw, Drawn, Fed, Feed, Question, Read, Reading, SafeState, Turn, Turned, Wait
from station.errors import Unreadable
from station.store import StoredRun
from station.transcript import read_ask, read_reply

__all__ = ["Replay", "replayed"]


class Replay:
    """The record as a performer: each ask gets the next recorded answer to the same ask.

    A program that asks for what the record does not hold (another effort, another condition) is told Unreadable, so
    that its line is Aborted and never judged on something else.
    """

    def __init__(self, told: Iterable[tuple[Ask[Any], object]]) -> None:
        self._told = list(told)
        self._next = 0

    def _reply(self, ask: Ask[Any]) -> object:
        for index in range(self._next, len(self._told)):
            if self._told[index][0] == ask:
                self._next = index + 1
                reply = self._told[index][1]
                if isinstance(reply, Unreadable):
                    raise reply
                return reply
        raise Unreadable(f"the record holds no answer to {ask}")

    def feed(self, ask: Feed) -> Fed:
        """See Performer."""
        reply = self._reply(ask)
        assert isinstance(reply, Fed)
        return reply

    def draw(self, ask: Draw) -> Drawn:
        """See Performer."""
        reply = self._reply(ask)
        assert isinstance(reply, Drawn)
        return reply

    def wait(self, ask: Wait) -> None:
        """See Performer."""
        self._reply(ask)

    def read(self, ask: Read) -> Reading:
        """See Performer."""
        reply = self._reply(ask)
        assert isinstance(reply, Reading)
        return reply

    def abreast(self, ask: Abreast) -> bool:
        """See Together; a record from before there was this ask read one terminal after the other."""
        return any(told == ask for told, _ in self._told) and bool(self._reply(ask))

    def read_together(self, ask: ReadTogether) -> tuple[Reading | Unreadable, ...]:
        """See Together."""
        return tuple(self._reading(each) for each in ask.reads)

    def _reading(self, ask: Read) -> Reading | Unreadable:
        try:
            return self.read(ask)
        except Unreadable as error:
            return error

    def turn(self, ask: Turn) -> Turned:
        """See Performer."""
        reply = self._reply(ask)
        assert isinstance(reply, Turned)
        return reply

    def question(self, ask: Question) -> str:
        """See Performer."""
        return str(self._reply(ask))

    def make_safe(self) -> SafeState:
        """See Performer; no board is connected."""
        return SafeState(verified=True)


def replayed(stored: StoredRun) -> Replay:
    """Return the performer that answers from a stored run."""
    return Replay((read_ask(row["ask"]), read_reply(row["reply"])) for row in stored.answers)
