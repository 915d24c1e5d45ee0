"""Show a run while it goes on: the step, the readings, each line judged, how far it is and how long it takes.

On a terminal the view is live; elsewhere the same facts come as plain lines.
"""

from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.live import Live
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from station.asks import Ask, Draw, Feed, Judged, Question, Read, Reading, StepStarted, Turn, Warned
from station.errors import Unreadable
from station.lines import Outcome
from station.quantities import format_value
from station.report.wording import OUTCOME_STYLES, Row, row_of
from station.run import Told

__all__ = ["Head", "open_screen"]


@dataclass(frozen=True)
class Head:
    """What a run is of, and what it is measured against: its lines, steps and expected bench seconds."""

    serial: str
    profile: str
    revision: str
    simulated: bool
    lines: int
    steps: int
    expected_seconds: float

    def text(self) -> str:
        """Return the head in one line."""
        mark = "SIMULATED  " if self.simulated else ""
        return f"{mark}{self.serial}  {self.profile} revision {self.revision}"


@contextmanager
def open_screen(
    console: Console, head: Head, seconds: Callable[[], float], *, transient: bool = False
) -> Iterator[Told]:
    """Show a run on the console while the block runs; yields what is to be told each ask with its answer.

    A transient view goes away at the end.
    """
    if not console.is_terminal:
        plain = _Plain(console, head)
        yield plain.told
        return
    view = _View(head, seconds)
    with Live(view, console=console, refresh_per_second=8, transient=transient):
        try:
            yield view.told
        finally:
            view.end()


def _asked(ask: Ask[Any], reply: object) -> str:
    """Return what has just happened, in words; '' for what is not worth a line."""
    if isinstance(reply, Unreadable):
        return f"unreadable: {reply}"
    if isinstance(ask, Read) and isinstance(reply, Reading):
        return f"{ask.terminal} {ask.quantity.value} {format_value(reply.value, ask.quantity.unit, digits=6)}"
    if isinstance(ask, Feed):
        limit = format_value(ask.amps_limit, "A", digits=3)
        return f"{ask.terminal} fed {format_value(ask.volts, 'V', digits=4)}, limit {limit}"
    if isinstance(ask, Draw):
        return f"{ask.terminal} loaded with {format_value(ask.amps, 'A', digits=3)}"
    if isinstance(ask, Turn):
        return f"turn {ask.trimmer} {ask.toward.value}: {format_value(ask.remaining, 'V', digits=3)} to go"
    return f"asked: {ask.text} Answered {reply}." if isinstance(ask, Question) else ""


def line_text(row: Row) -> Text:
    """Return a judged line: outcome in words first, then title, reading and limit."""
    text = Text(f"{row.outcome:<11}", style=OUTCOME_STYLES[row.outcome])
    told = row.cause or f"{row.reading}   ({row.limit})"
    return text.append(f"{row.title}   {told}", style="default")


class _Plain:
    """Plain lines: a step's begin with its caution, each judged line, each warning."""

    def __init__(self, console: Console, head: Head) -> None:
        self._console, self._head = console, head
        self._say(f"{head.text()}: {head.lines} lines, about {head.expected_seconds:.0f} s of bench time")

    def told(self, ask: Ask[Any], reply: object) -> None:
        if isinstance(ask, StepStarted):
            self._say(f"step {ask.index + 1}/{self._head.steps}: {ask.title}")
            if ask.caution:
                self._say(f"  Caution: {ask.caution}")
        elif isinstance(ask, Judged):
            self._console.print(Text("  ").append(line_text(row_of(ask.judgement))), soft_wrap=True)
        elif isinstance(ask, Warned):
            self._say(f"  Warning: {ask.text}")

    def _say(self, text: str) -> None:
        self._console.print(text, soft_wrap=True, highlight=False, markup=False)


class _View:
    """The live view, drawn anew from a few facts; the oldest lines give way where the terminal is not high enough."""

    def __init__(self, head: Head, seconds: Callable[[], float]) -> None:
        self._head, self._seconds = head, seconds
        self._step = self._caution = self._now = ""
        self._warnings: list[str] = []
        self._judged: list[Row] = []
        self._not_started = 0
        self._ended = False

    def told(self, ask: Ask[Any], reply: object) -> None:
        if isinstance(ask, StepStarted):
            self._step = f"step {ask.index + 1} of {self._head.steps}: {ask.title}"
            self._caution = ask.caution or self._caution
        elif isinstance(ask, Judged):
            if ask.judgement.outcome is Outcome.NOT_STARTED:  # many alike: a count, so that what failed stays in view
                self._not_started += 1
            else:
                self._judged.append(row_of(ask.judgement))
        elif isinstance(ask, Warned):
            self._warnings.append(ask.text)
        else:
            self._now = _asked(ask, reply) or self._now

    def end(self) -> None:
        """Show all lines, and nothing that was true only while the run went on."""
        self._ended = True

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        above, below = self._above(), self._below()
        room = console.height - sum(_height(each, console, options) for each in (*above, *below))
        shown: deque[Text] = deque()
        for line in map(line_text, reversed(self._judged)):
            room -= _height(line, console, options)
            if room < 0 and not self._ended:
                break
            shown.appendleft(line)
        yield from (*above, *shown, *below)

    def _above(self) -> list[RenderableType]:
        parts: list[RenderableType] = [Text(self._head.text(), style="bold")]
        if not self._ended:
            parts.append(Text(self._step))
        if self._caution and not self._ended:
            parts.append(Text(f"Caution: {self._caution}", style="yellow"))
        parts += [Text(f"Warning: {text}", style="yellow") for text in self._warnings]
        return parts if self._ended else [*parts, Text(self._now, style="cyan")]

    def _below(self) -> list[RenderableType]:
        done = len(self._judged) + self._not_started
        told = f"{done} of {self._head.lines} lines"
        if not self._ended:
            told += f", about {max(0.0, self._head.expected_seconds - self._seconds()):.0f} s left"
        progress = Table.grid(padding=(0, 2))
        progress.add_row(ProgressBar(total=self._head.lines, completed=done, width=30), told)
        if not self._not_started:
            return [progress]
        return [Text(f"{Outcome.NOT_STARTED.value}: {self._not_started} lines", style="dim"), progress]


def _height(part: RenderableType, console: Console, options: ConsoleOptions) -> int:
    return len(console.render_lines(part, options.update(height=None)))
