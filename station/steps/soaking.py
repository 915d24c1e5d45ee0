"""The step that leaves a board under power and watches whether its outputs stay where they are."""

from collections.abc import Iterator
from decimal import Decimal
from itertools import pairwise
from statistics import median

from pydantic import ConfigDict, Field

from station.asks import Draw, Quantity, Read, Reading, Wait
from station.forms import AmpsValue, Form, SecondsValue, VoltageLimit
from station.lines import Judgement, Line
from station.quantities import Limit
from station.steps.kinds import Finding, Setup, StepForm, feed_inputs, step_kind
from station.steps.sweeping import only_outputs, rated_load_findings
from station.uncertainty import Result, linear

__all__ = ["Soak", "drift", "largest_jump"]

NO_JUMP = Limit.at_most(Decimal(0), "V")
# A jump is more than so many standard uncertainties of a difference, on top of so many usual changes.
JUMP_NOISES, JUMP_CHANGES = 8.0, 4.0


class SoakForm(Form):
    """What a soak judges at one terminal."""

    drift: VoltageLimit


@step_kind("soak")
class Soak(StepForm):
    """Keep a board under power and load, read its outputs again and again, and judge their drift and any jump."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, SoakForm]
    others = "terminals"
    powers = True

    for_: SecondsValue
    every: SecondsValue = Field(10.0, gt=0.0)
    warm_up: SecondsValue = Field(0.0, ge=0.0)
    load: AmpsValue = 0.0
    current_limit: AmpsValue | None = None

    def _count(self) -> int:
        return int(self.for_ / self.every + 1e-9)

    def caution(self, setup: Setup) -> str:
        """See StepForm."""
        return (
            "The board stays under power and gets hot: heatsinks and power resistors burn skin, and stay hot after "
            "the test. Do not leave it alone with anything that can catch fire."
        )

    def findings(self, setup: Setup) -> Iterator[Finding]:
        """See StepForm."""
        yield from only_outputs(self.other(), setup)
        yield from rated_load_findings(self.load, self.other(), setup)
        if self._count() < 2:
            what = f"a soak of {self.for_:g} s has no two readings {self.every:g} s apart"
            yield ("for",), what, "write a longer one, such as 'for: 10 min', or a shorter 'every'"
        elif self.warm_up > self.for_ - 2.0 * self.every:
            yield ("warm up",), "the soak is over before the board is warm", "write a warm-up well below 'for'"

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        return tuple(
            setup.line(name, terminal, limit)
            for terminal, form in self.other().items()
            for name, limit in (("drift", form.drift), ("largest jump", NO_JUMP))
        )

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm."""
        await feed_inputs(setup)
        await self._load(self.load)
        await feed_inputs(setup)
        taken: dict[str, list[Reading]] = {name: [] for name in self.other()}
        for at in range(self._count() + 1):
            if at:
                await Wait(self.every)
            for name, readings in taken.items():
                readings.append(await Read(name, Quantity.VOLTAGE, setup.rule.sweep_effort))
        await self._load(0.0)
        warm = int(self.warm_up / self.every + 1e-9)
        results = {name: (drift(readings[warm:]), largest_jump(readings)) for name, readings in taken.items()}
        return tuple(
            setup.rule.judge(line, results[line.terminal][0 if line.name == "drift" else 1])
            for line in self.lines(setup)
        )

    async def _load(self, amps: float) -> None:
        if self.load > 0.0:
            for name in self.other():
                await Draw(name, amps)


def drift(readings: list[Reading]) -> Result:
    """Return the span of readings, highest less lowest (volts); an instrument's own error on one range cancels."""
    highest = max(readings, key=lambda reading: reading.value)
    lowest = min(readings, key=lambda reading: reading.value)
    return linear([(1.0, highest), (-1.0, lowest)])


def largest_jump(readings: list[Reading]) -> Result:
    """Return the largest change from one reading to the next that nothing explains (volts): an intermittent contact.

    Noise explains some, and the median of all changes where a board drifts faster; 0 V where all is explained.
    """
    differences = [linear([(1.0, after), (-1.0, before)]) for before, after in pairwise(readings)]
    usual = median(abs(each.value) for each in differences)
    jumps = [abs(each.value) for each in differences if abs(each.value) > JUMP_NOISES * each.u + JUMP_CHANGES * usual]
    return Result(max(jumps, default=0.0), 0.0, readings[0].effort)
