"""Name what a program promises to judge, and what came of it."""

from dataclasses import dataclass
from enum import Enum

from station.quantities import Limit

__all__ = ["Judgement", "Line", "Outcome", "overall"]


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
        return self is not Outcome.UNDECIDED


@dataclass(frozen=True, slots=True)
class Line:
    """One thing that a step will judge, known before the run: the row of a certificate."""

    step: str
    name: str
    terminal: str
    limit: Limit | None  # None: answered by a person, not measured

    @property
    def title(self) -> str:
        """The line's name for people, such as 'no load: OUTP voltage'."""
        return f"{self.step}: {f'{self.terminal} ' if self.terminal else ''}{self.name}"


@dataclass(frozen=True, slots=True)
class Judgement:
    """A line with its outcome; `value` and `u` (standard uncertainty) in the limit's base unit."""

    line: Line
    outcome: Outcome
    value: float | None = None
    u: float | None = None
    conformity: float | None = None  # probability of conformity, 0..1 (JCGM 106)
    guard: float | None = None  # guard band that was applied
    effort: float | None = None  # power-line cycles of the reading that settled it
    cause: str = ""


def overall(judgements: tuple[Judgement, ...]) -> Outcome:
    """Return the outcome of a whole run: the worst of its lines, with Failed above all."""
    outcomes = {judgement.outcome for judgement in judgements}
    for worst in (Outcome.FAILED, Outcome.ABORTED, Outcome.UNDECIDED, Outcome.NOT_STARTED):
        if worst in outcomes:
            return worst
    return Outcome.PASSED if judgements else Outcome.NOT_STARTED
