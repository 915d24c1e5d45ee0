"""The live view of a run: what is happening now, drawn large where hands are at work, and every line as it is judged.

Drawn anew from a few facts eight times a second; what does not fit gives way from the oldest line on.
"""

from collections import deque
from collections.abc import Callable

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from station.asks import Ask, Judged, StepStarted, Warned
from station.lines import Judgement, Outcome
from station.report.gauge import WIDTH, gauge
from station.report.head import Head
from station.report.now import Now
from station.report.wording import COVERAGE_FACTOR, OUTCOME_STYLES, row_of, seconds_text

__all__ = ["View"]

MOST_TO_COME = 4  # lines of the open step that are shown before they are judged


class View:
    """What has happened, and how it is drawn; the oldest lines give way where the terminal is not high enough."""

    def __init__(self, head: Head, seconds: Callable[[], float]) -> None:
        self._head, self._seconds = head, seconds
        self._step = self._caution = ""
        self._now = Now(head.lines, attended=head.attended)
        self._warnings: list[str] = []
        self._judged: list[Judgement] = []
        self._not_started = 0
        self._ended = False

    def told(self, ask: Ask[object], reply: object) -> None:
        """Take note of an ask with its answer, or of an event."""
        self._now.told(ask, reply)
        if isinstance(ask, StepStarted):
            self._step = f"step {ask.index + 1} of {self._head.steps}: {ask.title}"
            self._caution = ask.caution or self._caution
        elif isinstance(ask, Judged):
            if ask.judgement.outcome is Outcome.NOT_STARTED:  # many alike: a count, so that what failed stays in view
                self._not_started += 1
            else:
                self._judged.append(ask.judgement)
        elif isinstance(ask, Warned):
            self._warnings.append(ask.text)

    def end(self) -> None:
        """Show all lines, and nothing that was true only while the run went on."""
        self._ended = True

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        above, below = self._above(), self._below(options.max_width)
        room = console.height - sum(_height(each, console, options) for each in (*above, *below))
        shown: deque[Text] = deque()
        for judgement in reversed(self._judged):
            line = judged_text(judgement, options.max_width)
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
        return parts if self._ended else [*parts, *self._now.drawn()]

    def _below(self, width: int) -> list[RenderableType]:
        done, lines = len(self._judged) + self._not_started, len(self._head.lines)
        told = f"{done} of {lines} lines"
        if not self._ended:
            told += f", about {seconds_text(round(max(0.0, self._head.expected_seconds - self._seconds())))} left"
        progress = Table.grid(padding=(0, 2))
        progress.add_row(ProgressBar(total=lines, completed=done, width=30), told)
        parts: list[RenderableType] = [] if self._ended else self._to_come(width)
        if self._not_started:
            parts.append(Text(f"{Outcome.NOT_STARTED.value}: {self._not_started} lines", style="dim"))
        return [*parts, progress]

    def _to_come(self, width: int) -> list[RenderableType]:
        """Return the next lines of the open step, with how many follow."""
        open_lines = self._now.open_lines
        shown = [f"{'to come':<11}{line.title}   ({line.limit})" for line in open_lines[:MOST_TO_COME]]
        if len(open_lines) > MOST_TO_COME:
            shown[-1] = f"{'to come':<11}and {len(open_lines) - MOST_TO_COME + 1} more lines of this step"
        return [Text(_fitted(text, width), style="dim") for text in shown]


def judged_text(judgement: Judgement, width: int) -> Text:
    """Return a judged line in one row if that can be: outcome, gauge, title and reading; the limit where it fits."""
    row, limit = row_of(judgement), judgement.line.limit
    bar = " " * WIDTH
    if limit is not None and judgement.value is not None:
        bar = gauge(limit, judgement.value, COVERAGE_FACTOR * (judgement.u or 0.0))
    text = Text(f"{row.outcome:<11}", style=OUTCOME_STYLES[row.outcome]).append(f"{bar}  ", style="default")
    told = row.cause or row.reading
    full = f"{row.title}   {told}" if row.cause else f"{row.title}   {told}   ({row.limit})"
    short = f"{row.title}   {told}"
    room = width - text.cell_len
    return text.append(full if len(full) <= room or row.cause else short, style="default")


def _fitted(text: str, width: int) -> str:
    return text if len(text) <= width else f"{text[: width - 1]}…"


def _height(part: RenderableType, console: Console, options: ConsoleOptions) -> int:
    return len(console.render_lines(part, options.update(height=None)))
