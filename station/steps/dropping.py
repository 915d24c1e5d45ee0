"""The step that lowers the input until an output no longer keeps its voltage, and judges what it needed."""

from collections.abc import Iterator

from pydantic import ConfigDict, Field

from station.asks import Draw, Quantity, Read, Reading, Wait
from station.forms import AmpsValue, Form, SecondsValue, VoltageLimit
from station.lines import Judgement, Line
from station.steps.kinds import SETTLE_SECONDS, Finding, Setup, StepForm, feed_inputs, step_kind
from station.steps.sweeping import only_outputs, rated_load_findings
from station.uncertainty import Result, linear

__all__ = ["Dropout", "inputs_of"]

# Convention: the input less the output where the output has fallen by this share below its value at nominal input.
FALLEN = 0.02
STEP_VOLTS = 0.25
MOST_STEPS = 60


class DropoutForm(Form):
    """What a dropout step judges at one output."""

    dropout: VoltageLimit


@step_kind("dropout")
class Dropout(StepForm):
    """Lower the inputs until an output has fallen by 2 %, and judge the difference from input to output there."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, DropoutForm]
    others = "terminals"
    powers = True

    load: AmpsValue
    settle: SecondsValue = Field(SETTLE_SECONDS, ge=0.0)
    current_limit: AmpsValue | None = None

    def findings(self, setup: Setup) -> Iterator[Finding]:
        """See StepForm."""
        yield from only_outputs(self.other(), setup)
        yield from rated_load_findings(self.load, self.other(), setup)
        for name, form in self.other().items():
            if form.dropout.high is None or form.dropout.high <= 0:
                yield (name, "dropout"), f"'{form.dropout}' is no most", "write for example 'at most 3 V'"
            if not inputs_of(setup, name):
                yield (name,), f"no input has the sign of {name}", "name an output that an input feeds"

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        return tuple(setup.line("dropout", name, form.dropout) for name, form in self.other().items())

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm."""
        judged = []
        for line in self.lines(setup):
            await feed_inputs(setup)
            await Draw(line.terminal, self.load)
            judged.append(setup.rule.judge(line, await self._dropout(setup, line.terminal)))
            await Draw(line.terminal, 0.0)
        await feed_inputs(setup)
        return tuple(judged)

    async def _dropout(self, setup: Setup, name: str) -> Result:
        """Return the input less the output where the output has fallen, between two steps of the input (volts)."""
        feeding, effort = inputs_of(setup, name)[0], setup.rule.sweep_effort
        sign = setup.terminal(name).sign
        nominal = {each: abs(form.nominal or 0.0) for each, form in setup.board.terminals("input").items()}
        await Wait(self.settle)
        reference = await Read(name, Quantity.VOLTAGE, effort)
        wanted = (1.0 - FALLEN) * abs(reference.value)
        before: tuple[Reading, Reading] | None = None
        for step in range(1, MOST_STEPS + 1):
            lowered = {each: max(volts - step * STEP_VOLTS, STEP_VOLTS) for each, volts in nominal.items()}
            await feed_inputs(setup, lowered)
            await Wait(self.settle)
            output = await Read(name, Quantity.VOLTAGE, effort)
            here = await Read(feeding, Quantity.VOLTAGE, effort), output
            if abs(output.value) < wanted:
                return _between(before or here, here, wanted, sign)
            before = here
        assert before is not None
        return linear([(sign, before[0]), (-sign, before[1])])


def inputs_of(setup: Setup, output: str) -> list[str]:
    """Return the inputs that can feed an output: those of its sign."""
    sign = setup.terminal(output).sign
    return [name for name, form in setup.board.terminals("input").items() if form.sign == sign]


def _between(
    above: tuple[Reading, Reading], below: tuple[Reading, Reading], wanted_volts: float, sign: float
) -> Result:
    """Return input less output where the output is at `wanted_volts`, on the straight line between two steps."""
    high, low = abs(above[1].value), abs(below[1].value)
    share = (high - wanted_volts) / (high - low) if high > low else 1.0
    terms = [(sign * (1.0 - share), above[0]), (-sign * (1.0 - share), above[1])]
    return linear([*terms, (sign * share, below[0]), (-sign * share, below[1])])
