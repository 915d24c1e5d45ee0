"""Chain a profile's steps into one program: a coroutine that asks, is told, and returns every line's judgement."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from station.asks import Judged, Question, StepEnded, StepStarted
from station.errors import BoardStopped, Unreadable
from station.hazards import ACKNOWLEDGED, LOCAL_RULES, Hazard, Hazards, joined
from station.lines import Judgement, Line, Outcome
from station.profile import BoundStep, Profile

__all__ = ["Program", "compiled"]


@dataclass(frozen=True)
class Program:
    """A profile ready to be run on any performer; with `asks_care` the operator acknowledges its dangers."""

    steps: tuple[BoundStep, ...]
    asks_care: bool = False

    def lines(self) -> tuple[Line, ...]:
        """Return all that a run will judge, in order."""
        return tuple(line for step in self.steps for line in step.lines)

    @cached_property
    def _cautions(self) -> tuple[tuple[tuple[Hazard, ...], str], ...]:
        """Of each step the dangers that no step before it brings, and what to mind from it on."""
        met, told = set[Hazard](), list[tuple[tuple[Hazard, ...], str]]()
        for step in self.steps:
            new = tuple(danger for danger in step.form.dangers(step.setup) if danger not in met)
            met.update(new)
            told.append((new, _caution(step, new)))
        return tuple(told)

    async def run(self) -> tuple[Judgement, ...]:
        """Run the steps in order; once one has stopped the run, the lines of later ones are NotStarted."""
        judgements: list[Judgement] = []
        stopped = ""
        for index, (step, (new, caution)) in enumerate(zip(self.steps, self._cautions, strict=True)):
            if stopped:
                judged = _all(step, Outcome.NOT_STARTED, stopped)
            else:
                await StepStarted(index, step.setup.title, caution)
                if self.asks_care and new and not await _acknowledged(step, new, caution):
                    stopped = f"the cautions of '{step.setup.title}' were not acknowledged"
                    judged = _all(step, Outcome.ABORTED, stopped)
                else:
                    judged, stopped = await _attempt(step)
            for judgement in judged:
                await Judged(judgement)
            judgements += judged
            await StepEnded(index, step.setup.title)
        return tuple(judgements)


def compiled(profile: Profile, hazards: Hazards | None = None) -> Program:
    """Return the program of a checked profile; with `hazards` its cautions tell them, and are acknowledged."""
    if hazards is None:
        return Program(profile.steps)
    told = tuple(replace(step, setup=replace(step.setup, hazards=hazards)) for step in profile.steps)
    return Program(told, asks_care=True)


def _caution(step: BoundStep, new: Sequence[Hazard]) -> str:
    """Return what the operator should mind from a step on: what is computed, and what its kind always says."""
    hazards = step.setup.hazards
    left = hazards.stored_text() if step.form.discharges else ""
    computed = joined(*(hazards.text(danger) for danger in new), left)
    told = joined(computed, step.form.caution(step.setup), hazards.heat_text(step.setup.title))
    return joined(told, LOCAL_RULES) if told else ""


async def _acknowledged(step: BoundStep, new: Sequence[Hazard], caution: str) -> bool:
    kinds = " and ".join(danger.value for danger in new)
    answer = await Question(f"{step.setup.title}: {kinds}. Cautions read and kept?", (ACKNOWLEDGED, "stop"), caution)
    return answer == ACKNOWLEDGED


async def _attempt(step: BoundStep) -> tuple[tuple[Judgement, ...], str]:
    """Run one step; return its judgements, and why nothing may follow it ('' where the run goes on)."""
    title = step.setup.title
    try:
        judged = await step.form.program(step.setup)
    except Unreadable as error:
        return _all(step, Outcome.ABORTED, str(error)), f"'{title}' could not be read" if step.form.powers else ""
    except BoardStopped as stop:
        return _stopped(step, stop), f"the board stopped '{title}': {stop}"
    promised = step.lines
    if tuple(judgement.line for judgement in judged) != promised:
        raise AssertionError(f"the step '{title}' promised {len(promised)} lines and judged others")
    outcomes = {judgement.outcome for judgement in judged}
    for bad, words in ((Outcome.FAILED, "failed"), (Outcome.ABORTED, "was aborted")):
        if step.form.stops_run and bad in outcomes:
            return judged, f"'{title}' {words}"
    return judged, ""


def _all(step: BoundStep, outcome: Outcome, cause: str) -> tuple[Judgement, ...]:
    return tuple(Judgement(line, outcome, cause=cause) for line in step.lines)


def _stopped(step: BoundStep, stop: BoardStopped) -> tuple[Judgement, ...]:
    """Fail the line nearest to what the board did: the first at that terminal, else the first; others NotStarted."""
    lines = step.lines
    failed = next((line for line in lines if line.terminal == stop.terminal), lines[0])
    return tuple(
        Judgement(line, Outcome.FAILED, cause=stop.cause)
        if line is failed
        else Judgement(line, Outcome.NOT_STARTED, cause=f"the board stopped the step at {stop.terminal}")
        for line in lines
    )
