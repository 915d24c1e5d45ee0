"""The step that lowers the input until an output no longer keeps its voltage, and judges what it needed."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from pydantic import ConfigDict, Field

from station.asks import Draw
from station.forms import AmpsValue, Form, SecondsValue, VoltageLimit
from station.lines import Judgement, Line
from station.steps.kinds import Finding, Setup, StepForm, Taken, feed_inputs, judged_by_looks, step_kind
from station.steps.settling import SETTLE_WITHIN_SECONDS, Settled, settled
from station.steps.sweeping import only_outputs, rated_load_findings
from station.uncertainty import Result, linear

__all__ = ["Dropout", "inputs_of", "unfed_findings"]

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
    settle_within: SecondsValue = Field(SETTLE_WITHIN_SECONDS, ge=0.0)
    current_limit: AmpsValue | None = None

    def findings(self, setup: Setup) -> Iterator[Finding]:
        """See StepForm."""
        yield from only_outputs(self.other(), setup)
        yield from rated_load_findings(self.load, self.other(), setup)
        yield from unfed_findings(self.other(), setup)
        for name, form in self.other().items():
            if form.dropout.high is None or form.dropout.high <= 0:
                yield (name, "dropout"), f"'{form.dropout}' is no most", "write for example 'at most 3 V'"

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        return tuple(setup.line("dropout", name, form.dropout) for name, form in self.other().items())

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm."""
        judged: list[Judgement] = []
        for line in self.lines(setup):
            search = _Search(setup, line.terminal, self.settle_within)
            await feed_inputs(setup)
            await Draw(line.terminal, self.load)

            async def take(effort: float, _: Sequence[Line], search: _Search = search) -> list[Taken]:
                return [await (search.again(effort) if search.found else search.first(effort))]

            judged += await judged_by_looks(setup, (line,), take)
            await Draw(line.terminal, 0.0)
        await feed_inputs(setup)
        return tuple(judged)


@dataclass(frozen=True)
class _At:
    """What a step of the search showed: the input's magnitude there (volts, how far lowered), input and output."""

    lowered: float
    input: Settled
    output: Settled

    @property
    def unrest(self) -> str:
        """Why either has not settled."""
        return self.input.unrest or self.output.unrest


class _Search:
    """Lowers the inputs step by step until one output has fallen; then looks longer at the two steps around it."""

    def __init__(self, setup: Setup, output: str, within: float) -> None:
        self._setup, self._output, self._within = setup, output, within
        self._feeding, self._sign = inputs_of(setup, output)[0], setup.terminal(output).sign
        self._nominal = {name: abs(volts) for name, volts in setup.nominal_volts.items()}
        self.found: tuple[_At, _At] | None = None
        self._wanted = 0.0

    async def first(self, effort: float) -> Taken:
        """Search from nominal input downwards; an output that never falls gives what was left at the end."""
        reference = await settled(self._setup, self._output, effort=effort, within=self._within)
        self._wanted = (1.0 - FALLEN) * abs(reference.reading.value)
        before: _At | None = None
        for step in range(1, MOST_STEPS + 1):
            here = await self._at(step * STEP_VOLTS, effort, before)
            if abs(here.output.reading.value) < self._wanted or here.input.unrest:
                return self._taken(before or here, here)
            before = here
        assert before is not None
        return self._taken(before, before)

    async def again(self, effort: float) -> Taken:
        """Look longer at the last step that held and the first that did not."""
        assert self.found is not None
        above = await self._at(self.found[0].lowered, effort)
        return self._taken(above, await self._at(self.found[1].lowered, effort))

    async def _at(self, lowered: float, effort: float, before: _At | None = None) -> _At:
        """Look at input and output with the inputs lowered so far; `before` is the step above, if this is a new one."""
        volts = {each: max(nominal - lowered, STEP_VOLTS) for each, nominal in self._nominal.items()}
        await feed_inputs(self._setup, volts)
        moves = before is not None and self._nominal[self._feeding] - lowered >= STEP_VOLTS
        was = before.input.reading if before is not None and moves else None
        fed = await settled(self._setup, self._feeding, effort=effort, before=was, within=self._within)
        return _At(lowered, fed, await settled(self._setup, self._output, effort=effort, within=self._within))

    def _taken(self, above: _At, below: _At) -> Taken:
        self.found = above, below
        return Taken(_between(above, below, self._wanted, self._sign), above.unrest or below.unrest)


def unfed_findings(outputs: Iterable[str], setup: Setup) -> Iterator[Finding]:
    """Yield the outputs that no input feeds: there is nothing to hold them against."""
    for name in outputs:
        if not inputs_of(setup, name):
            yield (name,), f"no input has the sign of {name}", "name an output that an input feeds"


def inputs_of(setup: Setup, output: str) -> list[str]:
    """Return the inputs that can feed an output: those of its sign."""
    sign = setup.terminal(output).sign
    return [name for name, form in setup.board.terminals("input").items() if form.sign == sign]


def _between(above: _At, below: _At, wanted_volts: float, sign: float) -> Result:
    """Return input less output where the output is at `wanted_volts`, on the straight line between two steps."""
    high, low = abs(above.output.reading.value), abs(below.output.reading.value)
    share = (high - wanted_volts) / (high - low) if high > low else 1.0
    parts = ((1.0 - share, above), (share, below))
    terms = [
        (factor * part, reading)
        for part, at in parts
        for factor, reading in ((sign, at.input.reading), (-sign, at.output.reading))
    ]
    return linear(terms)
