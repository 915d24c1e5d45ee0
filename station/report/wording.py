"""Word a judged line for people: value with its expanded uncertainty, outcome in words, cause."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from station.lines import Judgement, Outcome
from station.quantities import format_value

__all__ = [
    "COVERAGE_FACTOR",
    "OUTCOME_STYLES",
    "Row",
    "conformity_text",
    "first_bad",
    "reading_text",
    "row_of",
    "seconds_text",
    "sentence",
]

OUTCOME_STYLES = {  # colours only underline the words
    Outcome.PASSED.value: "green",
    Outcome.FAILED.value: "bold red",
    Outcome.UNDECIDED.value: "yellow",
    Outcome.ABORTED.value: "magenta",
    Outcome.NOT_STARTED.value: "dim",
}
COVERAGE_FACTOR = 2.0


@dataclass(frozen=True)
class Row:
    """A judged line in words."""

    title: str
    outcome: str
    reading: str
    limit: str
    conformity: str
    cause: str


def reading_text(value: float | None, u: float | None, unit: str) -> str:
    """Return '15.0012 V ± 1.5 mV': the expanded uncertainty (k = 2) in two digits, the value to match."""
    if value is None:
        return "–"
    if not u:
        return format_value(value, unit)
    expanded = COVERAGE_FACTOR * u
    smallest_digit = Decimal(expanded).adjusted() - 1  # the decimal place of the uncertainty's second digit
    shown = format_value(Decimal(repr(value)), unit, last_place=smallest_digit)
    return f"{shown} ± {format_value(Decimal(repr(expanded)), unit, last_place=smallest_digit)}"


def conformity_text(conformity: float | None) -> str:
    """Return a probability of conformity in percent; never a certainty, which no measurement gives."""
    if conformity is None:
        return "–"
    if conformity > 0.9999:
        return "> 99.99 %"
    return "< 0.01 %" if conformity < 0.0001 else f"{conformity * 100:.4g} %"


def row_of(judgement: Judgement) -> Row:
    """Return a judgement in words."""
    line = judgement.line
    unit = line.limit.unit if line.limit else ""
    return Row(
        line.title,
        judgement.outcome.value,
        reading_text(judgement.value, judgement.u, unit) if line.limit else judgement.cause,
        str(line.limit) if line.limit else "answer yes",
        conformity_text(judgement.conformity),
        judgement.cause if line.limit else "",
    )


def first_bad(judgements: Iterable[Judgement]) -> Judgement | None:
    """Return the first line that failed, else the first that is otherwise not Passed, else None.

    Lines that could not be started on this bench are neither.
    """
    bad = [judgement for judgement in judgements if judgement.outcome is not Outcome.PASSED and judgement.counts]
    failed = [judgement for judgement in bad if judgement.outcome is Outcome.FAILED]
    return next(iter(failed or bad), None)


def sentence(outcome: Outcome, judgements: tuple[Judgement, ...], cause: str = "") -> str:
    """Return the outcome of a run in one line of words."""
    passed = sum(judgement.outcome is Outcome.PASSED for judgement in judgements)
    if outcome is Outcome.PASSED:
        missing = next((judgement for judgement in judgements if not judgement.counts), None)
        if missing is None:
            return f"Passed: all {passed} lines"
        return f"Passed: {passed} of {len(judgements)} lines; not started: {missing.line.title}: {missing.cause}"
    bad = first_bad(judgements)
    if bad is None or (cause and outcome is Outcome.ABORTED):
        return f"{outcome.value}: {cause}"
    row = row_of(bad)
    told = row.cause or f"{row.reading}, limit {row.limit}"
    return f"{outcome.value}: {row.title}: {told} ({passed} of {len(judgements)} lines passed)"


def seconds_text(seconds: float) -> str:
    """Return a time for people, in seconds below two minutes, with hours from two on."""
    if seconds < 120.0:
        return f"{seconds:.0f} s" if seconds >= 10.0 or seconds == round(seconds) else f"{seconds:.1f} s"
    minutes, rest = divmod(round(seconds), 60)
    if minutes >= 120:
        return f"{minutes // 60} h {minutes % 60} min"
    return f"{minutes} min {rest} s" if rest else f"{minutes} min"
