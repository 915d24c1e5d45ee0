"""Lay out what a proof found for a terminal: coverage, healthy boards, advice, and the ten worst escapes.

On a terminal of 80 columns it takes at most 23 of 24 lines, so that the prompt still fits below. A wider one shows the
harm of each escape, a higher one more of each text and more advice. What is cut is whole on the page and in the JSON.
"""

import textwrap
from dataclasses import dataclass

from rich.box import SIMPLE_HEAD
from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.table import Table
from rich.text import Text

from station.proof import Proof
from station.report.proof_words import (
    advice_text,
    causes_text,
    counted,
    estimate_text,
    headline,
    healthy_text,
    scope_text,
    share_text,
    stopped_text,
    unsolved_text,
)
from station.report.wording import seconds_text

__all__ = ["proof_view"]

WORST = 10  # escapes
WIDE = 120  # columns from which there is room for the harm of an escape
HIGH = 36  # lines from which there is room for longer texts and more advice
ADVICE_WHERE_HIGH = 4
LABEL = 15  # columns
NAME, FIGURES = 24, 23  # columns of a fault, and of the share, the boards, and all gaps


def proof_view(proof: Proof) -> tuple[RenderableType, ...]:
    """Return the summary of a proof, to be written to stdout."""
    early = [Text(stopped_text(proof), style="yellow")] if proof.stopped else []
    return (Text(headline(proof)), *early, _coverage(proof), _Facts(proof), Text(""), _Escapes(proof), _ending(proof))


def _coverage(proof: Proof) -> Table:
    """Return both figures side by side: of all that can happen, and of what anybody could see at a terminal."""
    grid = Table.grid(padding=(0, 2))
    grid.add_column(width=LABEL)
    visible = sum(fault.visible for fault in proof.faults)
    whole = len(proof.faults) >= proof.universe
    scope = f"whole universe: {counted(len(proof.faults), 'fault')}" if whole else scope_text(proof)
    grid.add_row("95 % intervals", scope, f"terminals show: {counted(visible, 'fault')}")
    if proof.faults:
        grid.add_row("coverage", estimate_text(proof.coverage), estimate_text(proof.coverage_of_visible))
    return grid


@dataclass(frozen=True)
class _Facts:
    """Labelled lines, each cut to the room it has on a terminal, and whole elsewhere."""

    proof: Proof

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        high = not console.is_terminal or console.height >= HIGH
        grid = Table.grid(padding=(0, 2))
        grid.add_column(width=LABEL)
        for label, text, lines in self._rows(high=high):
            room = options.max_width - LABEL - 2
            grid.add_row(label, _cut(text, room, lines) if console.is_terminal else Text(text))
        yield grid

    def _rows(self, *, high: bool) -> list[tuple[str, str, int]]:
        """Return label, text, and the most lines that it may take."""
        healthy = self.proof.healthy
        rows = [("healthy boards", healthy_text(healthy), 1)]
        if causes := causes_text(healthy):
            rows.append(("  failed at", causes, 1))
        if unsolved := unsolved_text(self.proof):
            rows.append(("no solution", unsolved, 1))
        advice = self.proof.advice[: ADVICE_WHERE_HIGH if high else 1]
        rows += [("advice" if not at else "", advice_text(each), 2) for at, each in enumerate(advice)]
        return rows


def _cut(text: str, room: int, lines: int) -> Text:
    wrapped = textwrap.wrap(text, max(room, 20), max_lines=lines, placeholder=" …", break_on_hyphens=False)
    return Text("\n".join(wrapped))


@dataclass(frozen=True)
class _Escapes:
    """The worst escapes: on a terminal a line each, or two where it is high."""

    proof: Proof

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        if not self.proof.escapes:
            yield Text("no escapes: none of the boards with a fault passed")
            return
        table = Table(box=SIMPLE_HEAD, padding=(0, 1, 0, 0), show_edge=False)
        table.add_column("worst escapes", no_wrap=True, overflow="ellipsis", max_width=NAME)
        table.add_column("share", justify="right", no_wrap=True)
        table.add_column("Passed", justify="right", no_wrap=True)
        rooms = _rooms(options.max_width)
        for title in ("why they pass", "harm")[: len(rooms)]:
            table.add_column(title)
        lines = 2 if console.height >= HIGH else 1
        for fault in self.proof.escapes[:WORST]:
            passed = f"{fault.passed} of {fault.boards}"
            texts = (fault.reason, "; ".join(fault.harm))
            cut = [_cut(text, room, lines) for text, room in zip(texts, rooms, strict=False)]
            told = cut if console.is_terminal else [Text(text) for text in texts[: len(rooms)]]
            table.add_row(Text(fault.fault), share_text(fault.weight, 2), passed, *told)
        yield table


def _rooms(width: int) -> tuple[int, ...]:
    """Return the columns for the reason of an escape, and for its harm where there is room for it."""
    room = width - NAME - FIGURES
    return (room * 3 // 5, room * 2 // 5) if width >= WIDE else (room,)


def _ending(proof: Proof) -> Text:
    more = len(proof.escapes) - WORST
    told = f"{counted(proof.boards, 'board')} in {seconds_text(proof.seconds)}, seed {proof.seed}"
    return Text(f"{told}; {counted(more, 'more escape')} with --html or --json" if more > 0 else told)
