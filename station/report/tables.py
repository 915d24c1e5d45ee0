"""Lay out tables for people: a batch, a list of runs, a run's lines, what a profile would do."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

from rich.box import SIMPLE_HEAD
from rich.console import Console, RenderableType
from rich.table import Table
from rich.text import Text

from station.lines import Line, Outcome
from station.profile import Profile
from station.quantities import format_value
from station.rehearsal import Rehearsal
from station.report.wording import OUTCOME_STYLES, first_bad, reading_text, row_of
from station.store import StoredRun
from station.testing import Tested, Wanted

__all__ = ["batch_table", "check_view", "new_table", "records_table", "run_table", "said", "yield_text"]

PIPE_WIDTH = 160  # columns where there is no terminal: a table must not be folded for nobody


def said(*parts: RenderableType) -> None:
    """Write what a command was asked for to stdout."""
    console = Console(highlight=False, markup=False, emoji=False)
    if not console.is_terminal:
        console.width = PIPE_WIDTH
    for part in parts:
        console.print(part, soft_wrap=isinstance(part, Text))


def new_table(*columns: str) -> Table:
    """Return an empty table in the look of all of them."""
    table = Table(box=SIMPLE_HEAD, pad_edge=False)
    for column in columns:
        table.add_column(column, overflow="fold")
    return table


def _outcome(word: str | None) -> Text:
    return Text(word, style=OUTCOME_STYLES[word]) if word else Text("not ended", style="dim")


def batch_table(done: Sequence[Tested], notes: Mapping[Wanted, str]) -> Table:
    """Return a batch: serial, outcome, first failing line, and what was put in."""
    table = new_table("serial", "outcome", "first failing line", "fault put in")
    for each in done:
        bad = first_bad(each.ended.judgements)
        table.add_row(each.board.serial, _outcome(each.ended.outcome.value), _failing(bad), notes[each.board])
    return table


def _failing(bad: Any) -> str:  # noqa: ANN401  Judgement or None
    if bad is None:
        return ""
    row = row_of(bad)
    return f"{row.title}: {row.cause or f'{row.reading} (limit {row.limit})'}"


def yield_text(done: Sequence[Tested]) -> Text:
    """Return the yield in words and as a strip, a mark a board: ■ Passed, x Failed, ? anything else."""
    marks = {Outcome.PASSED: "■", Outcome.FAILED: "x"}
    strip = "".join(marks.get(each.ended.outcome, "?") for each in done)
    passed = strip.count("■")
    share = 100.0 * passed / len(done)
    return Text(f"yield        {passed} of {len(done)} boards passed ({share:.0f} %)   {strip}\n")


def records_table(heads: Sequence[Mapping[str, Any]]) -> Table:
    """Return a list of runs."""
    table = new_table("started (UTC)", "serial", "profile", "outcome", "simulated", "run")
    for head in heads:
        profile = f"{head['profile']} {head['revision']}"
        simulated = "SIMULATED" if head["simulated"] else ""
        table.add_row(head["started"][:19], head["serial"], profile, _outcome(head["outcome"]), simulated, head["id"])
    return table


def run_table(run: StoredRun) -> tuple[RenderableType, ...]:
    """Return one run: its head and its lines."""
    head = run.head
    mark = "SIMULATED  " if head["simulated"] else ""
    told = f"{mark}{head['serial']}  {head['profile']} revision {head['revision']}  {head['outcome'] or 'not ended'}"
    table = new_table("outcome", "line", "reading", "limit", "cause")
    for row in run.judgements:
        reading = reading_text(row["value"], row["u"], row["unit"]) if row["unit"] else ""
        line = Line(row["step"], row["name"], row["terminal"], None).title
        table.add_row(_outcome(row["outcome"]), line, reading, row["limit"] or "answer yes", row["cause"])
    safe = json.loads(head["safe"]) if head["safe"] else {}
    ending = "bench verified safe" if safe.get("verified") else "bench NOT verified safe"
    return (
        Text(f"{told}\n{head['started']}  run {head['id']}"),
        table,
        Text(f"{ending}; {len(run.answers)} answers kept"),
    )


def check_view(profile: Profile, rehearsal: Rehearsal) -> tuple[RenderableType, ...]:
    """Return what a run of a profile would do: steps, lines, bench time, the widest voltage."""
    table = new_table("step", "bench time", "lines and limits")
    for step in profile.steps:
        lines = [f"{line.terminal} {line.name}: {line.limit}" for line in step.lines if line.limit]
        seconds = rehearsal.step_seconds.get(step.setup.title, 0.0)
        table.add_row(step.setup.title, f"{seconds:.1f} s", "\n".join(lines) or "answered by the operator")
    low, high = rehearsal.widest_between
    widest = format_value(rehearsal.widest_volts, "V", digits=3)
    told = [
        f"{profile.name} revision {profile.revision} for {profile.board.form.title}",
        f"{sum(len(step.lines) for step in profile.steps)} lines in {len(profile.steps)} steps, "
        f"about {rehearsal.seconds:.0f} s of bench time",
        f"rule: {profile.rule}",
    ]
    caution = f"highest voltage between two terminals: {widest}, from {low} to {high}; rails add up"
    stored = rehearsal.hazards.stored_text()
    notes = [*filter(None, [stored]), *(f"note: {note}" for note in profile.notes), *_nominal_notes(rehearsal)]
    return Text("\n".join(told)), table, Text("\n".join([caution, *notes]))


def _nominal_notes(rehearsal: Rehearsal) -> list[str]:
    """Return the lines that even the nominal board does not pass, and what it warns of: sheet or profile is wrong."""
    fine = (Outcome.PASSED, Outcome.NOT_STARTED)  # what was not started for it says nothing more
    bad = [row_of(each) for each in rehearsal.ended.judgements if each.outcome not in fine]
    warnings = [f"WARNING: on the nominal board: {text}" for text in rehearsal.warnings]
    return warnings + [
        f"WARNING: the nominal board is {row.outcome} at '{row.title}' ({row.cause or row.reading}, limit {row.limit})"
        for row in bad
    ]
