"""Show a run while it goes on: the step, the readings, each line judged, how far it is and how long it takes.

On a terminal the view is live; elsewhere the same facts come as plain lines.
"""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass

from rich.console import Console
from rich.live import Live
from rich.text import Text

from station.asks import Ask, Judged, StepStarted, Warned
from station.report.head import Head
from station.report.live import View
from station.report.wording import OUTCOME_STYLES, Row, row_of
from station.run import Told

__all__ = ["Screen", "open_screen"]


@dataclass(frozen=True)
class Screen:
    """An open view: what it is to be told, and how to keep it still while somebody is asked."""

    told: Told
    paused: Callable[[], AbstractContextManager[object]] = nullcontext


@contextmanager
def open_screen(
    console: Console, head: Head, seconds: Callable[[], float], *, transient: bool = False
) -> Iterator[Screen]:
    """Show a run on the console while the block runs; yields what is to be told each ask with its answer.

    A transient view goes away at the end.
    """
    if not console.is_terminal:
        plain = _Plain(console, head)
        yield Screen(plain.told)
        return
    view = View(head, seconds)
    with Live(view, console=console, refresh_per_second=8, transient=transient) as live:
        try:
            yield Screen(view.told, lambda: _paused(live))
        finally:
            view.end()


@contextmanager
def _paused(live: Live) -> Iterator[None]:
    live.stop()
    try:
        yield
    finally:
        live.start()


def line_text(row: Row) -> Text:
    """Return a judged line: outcome in words first, then title, reading and limit."""
    text = Text(f"{row.outcome:<11}", style=OUTCOME_STYLES[row.outcome])
    told = row.cause or f"{row.reading}   ({row.limit})"
    return text.append(f"{row.title}   {told}", style="default")


class _Plain:
    """Plain lines: a step's begin with its caution, each judged line, each warning."""

    def __init__(self, console: Console, head: Head) -> None:
        self._console, self._head = console, head
        self._say(f"{head.text()}: {len(head.lines)} lines, about {head.expected_seconds:.0f} s of bench time")

    def told(self, ask: Ask[object], reply: object) -> None:
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
