"""Name what a program promises to judge, and what came of it."""

from enum import Enum

import msgspec

from station.quantities import Limit

__all__ = ["Judgement", "Line", "Outcome", "not_here", "overall"]


class Outcome(Enum):
    """The outcomes of IEEE 1636.1, and Undecided (exported as its UserDefined)."""

    PASSED = "Passed"
    FAILED = "Failed"
    UNDECIDED = "Undecided"
    ABORTED = "Aborted"
    NOT_STARTED = "NotStarted"

    @property
    def settled(self) -> bool:
        """Whether another look at the same line can change nothing."""
        return self is not UNDECIDED


UNDECIDED = Outcome.UNDECIDED  # by name it takes longer


class Line(msgspec.Struct, frozen=True):
    """One thing that a step will judge, known before the run: the row of a certificate."""

    step: str
    name: str
    terminal: str
    limit: Limit | None  # None: answered by a person, not measured

    @property
    def title(self) -> str:
        """The line's name for people, such as 'no load: OUTP voltage'."""
        return f"{self.step}: {f'{self.terminal} ' if self.terminal else ''}{self.name}"


class Judgement(msgspec.Struct, frozen=True):
    """A line with its outcome; `value` and `u` (standard uncertainty) in the limit's base unit."""

    line: Line
    outcome: Outcome
    value: float | None = None
    u: float | None = None
    conformity: float | None = None  # probability of conformity, 0..1 (JCGM 106)
    guard: float | None = None  # guard band that was applied
    effort: float | None = None  # power-line cycles of the reading that settled it
    cause: str = ""
    counts: bool = True  # False: this bench can't start the line, and the run's outcome rests on its other lines


def not_here(line: Line, cause: str) -> Judgement:
    """Return the judgement of a line that this bench can't start, because of what it has or what is in front of it."""
    return Judgement(line, Outcome.NOT_STARTED, cause=cause, counts=False)


def overall(judgements: tuple[Judgement, ...]) -> Outcome:
    """Return the outcome of a whole run: the worst of its lines, with Failed above all.

    Lines that could not be started on this bench are left out.
    """
    outcomes = {judgement.outcome for judgement in judgements if judgement.counts}
    for worst in (Outcome.FAILED, Outcome.ABORTED, Outcome.UNDECIDED, Outcome.NOT_STARTED):
        if worst in outcomes:
            return worst
    return Outcome.PASSED if outcomes else Outcome.NOT_STARTED
