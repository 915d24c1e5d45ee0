"""Run program messages on a simulated instrument: bytes in, bytes out, no socket and no waiting.

An `Interpreter` is one instrument's command tree, status and lock, shared by everybody who talks to it. A
`Connection` is one talker: it holds the bytes of the message that is still coming in. The header path lives
no longer than a message. Rules: IEEE 488.2 chapters 6 and 7, SCPI-1999 Vol. 1 chapter 6.

After a unit that could not be understood (-1xx) the rest of its message is dropped; after one that could not be
carried out the next unit runs.
"""

import threading
from collections.abc import Callable, Iterable
from typing import Protocol

from simulated.clock import VirtualClock
from simulated.instruments.binding import Implied, bind
from simulated.instruments.errors import ScpiError
from simulated.instruments.grammar import Unit, units_of
from simulated.instruments.hearing import Hearing
from simulated.instruments.mandatory import mandatory_commands
from simulated.instruments.parameters import Parameter
from simulated.instruments.status import Status
from simulated.instruments.tree import Command, CommandTree

__all__ = ["QUERY_SECONDS", "Connection", "Interpreter", "Listener"]

QUERY_SECONDS = 1e-3
"""Bench time that one query takes beside what it measures."""

_LONGEST_MESSAGE = 64 * 1024
_ONLY_CHANNEL = Implied((1,))


class Interpreter:
    """One instrument: what its commands are, and what became of the messages so far."""

    def __init__(
        self,
        identity: str,
        commands: Iterable[Command],
        *,
        clock: VirtualClock,
        status: Status,
        reset: Callable[[], None],
        refresh: Callable[[], None] = lambda: None,
        finish: Callable[[], None] = lambda: None,
        channels: Parameter[tuple[int, ...]] = _ONLY_CHANNEL,
        hearing: Hearing | None = None,
    ) -> None:
        """`refresh` is called before every unit: what happened on the wires since then comes into the status.

        `finish` returns when nothing is pending: for instruments with commands that overlap.
        """
        self.lock = threading.RLock()
        self.status = status
        self._clock = clock
        self._refresh = refresh
        self._hearing = hearing or Hearing(clock)
        self._tree = CommandTree([*mandatory_commands(identity, status, reset, channels, finish), *commands])

    def connection(self) -> "Connection":
        """Return a new talker; the instrument keeps its state when it goes."""
        return Connection(self)

    def run(self, message: str) -> str | None:
        """Run one message without its terminator and return its answer line, None if nothing was asked."""
        with self.lock:
            if not self._hearing.takes(message):
                return None
            self.status.answer_waiting = False
            run = _MessageRun(self._tree)
            try:
                for unit in units_of(message):
                    self._run_unit(unit, run)
            except ScpiError as error:
                self.status.report(error)
            self.status.answer_waiting = False
            self._hearing.done()
            return ";".join(run.answers) if run.answers else None

    def overrun(self) -> None:
        """Take note of a message that was too long to be run."""
        with self.lock:
            self.status.report(ScpiError(-363))

    def _run_unit(self, unit: Unit, run: "_MessageRun") -> None:
        if unit.query:
            self._clock.advance(QUERY_SECONDS)
        self._refresh()
        try:
            run.execute(unit)
        except ScpiError as error:
            if error.is_command_error:
                raise
            self.status.report(error)
        self.status.answer_waiting = bool(run.answers)


class _MessageRun:
    """What lasts from one terminator to the next: the header path and the answers."""

    def __init__(self, tree: CommandTree) -> None:
        self.answers: list[str] = []
        self._tree = tree
        self._path: tuple[str, ...] = ()
        self._closed = False

    def execute(self, unit: Unit) -> None:
        header = self._header(unit)
        found = self._tree.find(header, query=unit.query)
        values = bind(found.parameters, unit.elements, self._tree.suffix_of(header))
        if unit.query and self._closed:
            raise ScpiError(-440)
        answer = found.run(*values)
        if answer is not None:
            self.answers.append(answer)
            self._closed = found.ends_message

    def _header(self, unit: Unit) -> tuple[str, ...]:
        if unit.is_common:
            return unit.mnemonics
        header = unit.mnemonics if unit.from_root else self._path + unit.mnemonics
        self._path = header[:-1]  # as sent: default nodes that were left out do not count
        return header


class Listener(Protocol):
    """What runs a talker's messages."""

    def run(self, message: str) -> str | None:
        """Run one message without its terminator and return its answer line, None if nothing was asked."""

    def overrun(self) -> None:
        """Take note of a message that was too long to be run."""


class Connection:
    """One talker's incoming bytes, which may hold several messages or a part of one."""

    def __init__(self, interpreter: Listener) -> None:
        self._interpreter = interpreter
        self._pending = bytearray()
        self._overrun = False

    def receive(self, data: bytes) -> bytes:
        """Run the messages that `data` completes and return their answer lines, each ended by LF."""
        answers = []
        *complete, rest = data.split(b"\n")
        for piece in complete:
            if self._collect(piece):
                answer = self._interpreter.run(self._pending.decode("latin-1"))
                if answer is not None:
                    answers.append(answer.encode("latin-1") + b"\n")
            self._pending.clear()
            self._overrun = False
        self._collect(rest)
        return b"".join(answers)

    def _collect(self, piece: bytes) -> bool:
        """Keep a piece of a message; False, and -363 once, when the message has grown too long to run."""
        if not self._overrun and len(self._pending) + len(piece) > _LONGEST_MESSAGE:
            self._overrun = True
            self._pending.clear()
            self._interpreter.overrun()
        if not self._overrun:
            self._pending += piece
        return not self._overrun
