"""Steps that a person answers."""

from pydantic import Field

from station.asks import Question
from station.lines import Judgement, Line, Outcome
from station.steps.kinds import Setup, StepForm, step_kind

__all__ = ["Inspect"]


@step_kind("inspect")
class Inspect(StepForm):
    """Ask the operator to look at the board; anything but 'yes' fails it, before it is powered."""

    stops_run = True

    ask: str = Field(min_length=1)

    def caution(self, setup: Setup) -> str:
        """See StepForm."""
        return "Board unpowered, leads off, capacitors discharged: measure before you touch."

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        return (setup.line(self.ask, "", None),)

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm."""
        (line,) = self.lines(setup)
        answer = await Question(self.ask, ("yes", "no"))
        outcome = Outcome.PASSED if answer == "yes" else Outcome.FAILED
        return (Judgement(line, outcome, cause=f"answered {answer}"),)
