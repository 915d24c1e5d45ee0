"""The step that measures once more what was measured before, so that damage done in between is seen."""

from collections.abc import Iterator
from typing import Annotated, Any

from msgspec.structs import replace
from pydantic import BeforeValidator, WithJsonSchema

from station.forms import nearest
from station.lines import Judgement, Line
from station.steps.kinds import BoundStep, Finding, Setup, StepForm, step_kind
from station.steps.measuring import Measure

__all__ = ["Final"]


ONE_OR_MORE: dict[str, Any] = {"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]}


def _listed(names: object) -> object:
    return [names] if isinstance(names, str) else names


@step_kind("final")
class Final(StepForm):
    """Measure again what earlier `measure` steps judged, under the same conditions and against the same limits."""

    powers = True
    rests_on = "measure"

    # titles; all of them where left out
    repeats: Annotated[list[str] | None, BeforeValidator(_listed), WithJsonSchema(ONE_OR_MORE)] = None

    def _repeated(self, before: tuple[BoundStep, ...]) -> list[BoundStep]:
        measured = [step for step in before if isinstance(step.form, Measure)]
        return [step for step in measured if self.repeats is None or step.setup.title in self.repeats]

    def own_amps_limit(self, before: tuple[BoundStep, ...]) -> float | None:
        """See StepForm; each step is repeated under its own limit, and the highest stands for them all."""
        return max((step.setup.amps_limit for step in self._repeated(before)), default=None)

    def highest_volts(self, setup: Setup) -> dict[str, float]:
        """See StepForm."""
        each = [step.form.highest_volts(step.setup) for step in self._repeated(setup.before)]
        return {name: max((volts[name] for volts in each), default=0.0) for name in setup.nominal_volts}

    def findings(self, setup: Setup) -> Iterator[Finding]:
        """See StepForm."""
        known = [step.setup.title for step in setup.before if isinstance(step.form, Measure)]
        if not known:
            yield (), "there is no 'measure' step before it to repeat", "write it after one"
        elif self.repeats == []:
            yield ("repeats",), "the step repeats nothing", f"write {', '.join(known)}, or leave 'repeats' out for all"
        for index, name in enumerate(self.repeats or () if known else ()):
            where = ("repeats", index)
            if name not in known:
                yield where, f"no 'measure' step before it is called '{name}'", nearest(name, known)
            elif name in (self.repeats or ())[:index]:
                yield where, f"'{name}' stands here a second time", "keep one of them"

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        return tuple(line for step in self._repeated(setup.before) for line in self._lines(setup, step))

    def _lines(self, setup: Setup, step: BoundStep) -> tuple[Line, ...]:
        """Return a repeated step's lines under names that no other repeated step's lines have."""
        again = step.setup.title
        return tuple(replace(line, step=setup.title, name=f"{line.name}, {again} again") for line in step.lines)

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm."""
        judged: list[Judgement] = []
        for step in self._repeated(setup.before):
            once_more = await step.form.program(step.setup)
            judged += [
                replace(judgement, line=line)
                for judgement, line in zip(once_more, self._lines(setup, step), strict=True)
            ]
        return tuple(judged)
