"""Show a run while it goes on: the step, the readings, each line judged, how far it is and how long it takes.

On a terminal the view is live; elsewhere the same facts come as plain lines.
"""

from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from station.asks import Ask, Draw, Feed, Judged, Question, Read, Reading, StepStarted, Turn, Warned
from station.errors import Unreadable
from station.lines import Outcome
from station.quantities import format_value
from station.report.wording import OUTCOME_STYLES, Row, row_of

__all__ = ["Head", "open_screen"]

Told = Callable[[Ask[Any], object], None]
SHOWN_LINES = 14


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
        yield view.told


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
    """The live view, drawn anew from a few facts."""

    def __init__(self, head: Head, seconds: Callable[[], float]) -> None:
        self._head, self._seconds = head, seconds
        self._step = self._caution = self._now = ""
        self._warnings: list[str] = []
        self._judged: deque[Row] = deque(maxlen=SHOWN_LINES)
        self._done = self._not_started = 0

    def told(self, ask: Ask[Any], reply: object) -> None:
        if isinstance(ask, StepStarted):
            self._step = f"step {ask.index + 1} of {self._head.steps}: {ask.title}"
            self._caution = ask.caution or self._caution
        elif isinstance(ask, Judged):
            self._done += 1
            if ask.judgement.outcome is Outcome.NOT_STARTED:  # many alike: a count, so that what failed stays in view
                self._not_started += 1
            else:
                self._judged.append(row_of(ask.judgement))
        elif isinstance(ask, Warned):
            self._warnings.append(ask.text)
        else:
            self._now = _asked(ask, reply) or self._now

    def __rich__(self) -> RenderableType:
        left = max(0.0, self._head.expected_seconds - self._seconds())
        progress = Table.grid(padding=(0, 2))
        told = f"{self._done} of {self._head.lines} lines, about {left:.0f} s left"
        progress.add_row(ProgressBar(total=self._head.lines, completed=self._done, width=30), told)
        parts: list[RenderableType] = [Text(self._head.text(), style="bold"), Text(self._step)]
        if self._caution:
            parts.append(Text(f"Caution: {self._caution}", style="yellow"))
        parts += [Text(f"Warning: {text}", style="yellow") for text in self._warnings]
        parts += [Text(self._now, style="cyan"), *(line_text(row) for row in self._judged)]
        if self._not_started:
            parts.append(Text(f"{Outcome.NOT_STARTED.value}: {self._not_started} lines", style="dim"))
        return Group(*parts, progress)
