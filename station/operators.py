"""Ask the person in front of the bench: a question at the prompt, a trimmer to be turned while the rail is watched.

Lines are read on a thread of their own, so that Ctrl-C is noticed while nobody types.
"""

import queue
import sys
import threading
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from typing import Protocol

from rich.console import Console
from rich.text import Text

from station.asks import Question, Turn, Turned
from station.errors import Interrupted
from station.interrupts import Interrupts

__all__ = ["Keyboard", "Operator", "Person"]

TURN_SECONDS = 0.3  # between two looks at the rail while a hand turns
POLL_SECONDS = 0.2  # how long Ctrl-C may go unnoticed at a prompt
STUCK_WORDS = ("end", "stuck")


class Operator(Protocol):
    """The person at the bench, or the simulated one."""

    def turn(self, ask: Turn) -> Turned:
        """Turn a trimmer."""

    def answer(self, ask: Question) -> str:
        """Answer a question with one of its answers."""


class Keyboard:
    """Lines that somebody types, read on a thread of their own once the first is wanted."""

    def __init__(self, read_line: Callable[[], str] = lambda: sys.stdin.readline()) -> None:
        self._read_line = read_line
        self._lines: queue.Queue[str] = queue.Queue()
        self._reader: threading.Thread | None = None
        self.ended = False

    def line(self, seconds: float) -> str | None:
        """Return the next line, None where none is typed in so many seconds; `ended` when there will be none."""
        if self._reader is None:
            self._reader = threading.Thread(target=self._read, name="keyboard", daemon=True)
            self._reader.start()
        try:
            line = self._lines.get(timeout=seconds)
        except queue.Empty:
            return None
        if not line:
            self.ended = True
            self._lines.put(line)  # nor will the next one come
            return None
        return line.strip()

    def forget(self) -> None:
        """Drop what has been typed before anything was asked for."""
        while self.line(0.01) is not None:
            pass

    def _read(self) -> None:
        while True:
            line = self._read_line()
            self._lines.put(line)
            if not line:
                return


class Person:
    """Somebody at a terminal. `paused` keeps the live view still while they are asked."""

    def __init__(self, console: Console, interrupts: Interrupts, keyboard: Keyboard | None = None) -> None:
        self._console, self._interrupts, self._keyboard = console, interrupts, keyboard or Keyboard()
        self._cautioned = self._turning = ""
        self.idle: Callable[[], None] = lambda: None  # what has to be done every now and then while somebody thinks
        self.paused: Callable[[], AbstractContextManager[object]] = nullcontext

    def answer(self, ask: Question) -> str:
        """Ask until the answer is one of the choices; its first letters are enough where they are its alone."""
        with self.paused():
            if ask.caution and ask.caution != self._cautioned:
                self._console.print(Text(f"Caution: {ask.caution}", style="yellow"), soft_wrap=True)
                self._cautioned = ask.caution
            choices = " / ".join(ask.answers)
            while True:
                self._console.print(Text(f"{ask.text}  [{choices}] ", style="bold"), end="", soft_wrap=True)
                if (meant := _meant(self._typed(), ask.answers)) is not None:
                    return meant
                self._console.print(f"please type one of: {choices}", soft_wrap=True)

    def turn(self, ask: Turn) -> Turned:
        """Leave a moment for turning; Enter says that it is near enough, 'end' that the trimmer is at its end."""
        if ask.trimmer != self._turning:  # one Enter too many at the last prompt must not end the trim
            self._turning = ask.trimmer
            self._keyboard.forget()
        said = self._keyboard.line(TURN_SECONDS)
        if said is None:
            return Turned.DONE
        return Turned.STUCK if said.casefold() in STUCK_WORDS else Turned.ENOUGH

    def _typed(self) -> str:
        """Return the next line, looking for Ctrl-C all along; Interrupted where nobody can answer any more."""
        while True:
            self._interrupts.check()
            self.idle()
            said = self._keyboard.line(POLL_SECONDS)
            if said is not None:
                return said
            if self._keyboard.ended:
                raise Interrupted("nobody answers: the keyboard's input has ended")


def _meant(said: str, answers: tuple[str, ...]) -> str | None:
    """Return the one answer that was typed, or begun; Enter alone will do where there is only one."""
    fitting = [each for each in answers if each.casefold().startswith(said.casefold())]
    if said in answers:
        return said
    return fitting[0] if len(fitting) == 1 and (said or len(answers) == 1) else None
