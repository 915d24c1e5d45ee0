"""Steps that a person answers."""

from collections.abc import Iterator

from pydantic import Field

from station.asks import Question
from station.lines import Judgement, Line, Outcome
from station.steps.kinds import Finding, Setup, StepForm, step_kind

__all__ = ["Inspect"]


@step_kind("inspect")
class Inspect(StepForm):
    """Ask the operator to look at the board; a line for each point, and anything but 'yes' fails it."""

    stops_run = True

    ask: str | None = Field(None, min_length=1)
    points: list[str] | None = None

    def caution(self, setup: Setup) -> str:
        """See StepForm."""
        if setup.live:
            return "The board is live: look, don't touch; no tool or magnifier's lead near it."
        return "Board unpowered, leads off, capacitors discharged: measure before you touch."

    def findings(self, setup: Setup) -> Iterator[Finding]:
        """See StepForm."""
        if self.points is None and self.ask is None:
            yield (), "nothing is asked", "write 'ask: ...', or 'points: [...]' with one yes or no each"
        elif self.ask is not None and self.points is not None:
            yield ("points",), "points stand beside a single question", "make that question one of the points"
        elif self.points == []:
            yield ("points",), "the list of points is empty", "write at least one, such as 'both LEDs lit'"
        for index, point in enumerate(self.points or ()):
            if not point.strip():
                yield ("points", index), "the point is empty", "write what is to be seen, such as 'both LEDs lit'"
            elif point in (self.points or ())[:index]:
                yield ("points", index), f"'{point}' stands here a second time", "keep one of them"

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        asked = self.points if self.ask is None else [self.ask]
        return tuple(setup.line(point, "", None) for point in asked or ())

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm; all points are asked, also after a 'no', so that a board is mended once."""
        judged = []
        for line in self.lines(setup):
            answer = await Question(line.name, ("yes", "no"))
            outcome = Outcome.PASSED if answer == "yes" else Outcome.FAILED
            judged.append(Judgement(line, outcome, cause=f"answered {answer}"))
        return tuple(judged)
