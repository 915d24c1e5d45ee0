"""Steps that read a board at rest."""

from collections.abc import Coroutine, Iterator, Sequence
from typing import Any

from pydantic import ConfigDict, Field

from station.asks import Draw, Quantity, Read, Wait
from station.forms import AmpsValue, CurrentLimit, Form, SecondsValue, VoltageLimit, VoltsValue
from station.lines import Judgement, Line
from station.quantities import Limit, format_value
from station.steps.abreast import abreast, followed
from station.steps.kinds import (
    Finding,
    Setup,
    StepForm,
    Taken,
    feed_and_settle,
    feed_inputs,
    judged_by_looks,
    judged_reading,
    step_kind,
)
from station.steps.settling import APART_SECONDS, SETTLE_WITHIN_SECONDS
from station.uncertainty import measured

__all__ = ["Measure", "WantedForm", "wrong_side"]


# A meter does not see the 20 MHz that ripple and noise are specified in: its bandwidth is part of the line's name.
LINE_NAMES = {Quantity.RIPPLE: "ripple rms, meter's bandwidth"}


class WantedForm(Form):
    """The limits of one terminal."""

    voltage: VoltageLimit | None = None
    current: CurrentLimit | None = None
    ripple: VoltageLimit | None = None

    def wanted(self) -> Iterator[tuple[Quantity, Limit]]:
        """Yield each quantity that has a limit."""
        for quantity in (Quantity.VOLTAGE, Quantity.CURRENT, Quantity.RIPPLE):
            limit: Limit | None = getattr(self, quantity.value)
            if limit is not None:
                yield quantity, limit


def wrong_side(setup: Setup, terminal: str, limit: Limit) -> str:
    """Return what is wrong where a voltage limit lies on the other side of zero than its terminal, else ''."""
    form = setup.terminal(terminal)
    nearest = limit.high if form.sign > 0.0 else limit.low  # an open side reaches as far as the terminal goes
    if form.nominal and nearest is not None and float(nearest) * form.sign < 0.0:
        return f"{terminal} is nominally {form.nominal:g} V, but its limit {limit} lies on the other side of zero"
    return ""


@step_kind("measure")
class Measure(StepForm):
    """Read terminals at nominal input without load, unless told otherwise, and judge each reading."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, WantedForm]
    others = "terminals"
    powers = True

    inputs: VoltsValue | None = None  # magnitude, at every input
    loads: dict[str, AmpsValue] = Field(default_factory=dict)
    settle_within: SecondsValue = Field(SETTLE_WITHIN_SECONDS, ge=0.0)
    current_limit: AmpsValue | None = None

    def highest_volts(self, setup: Setup) -> dict[str, float]:
        """See StepForm."""
        return {name: max(volts, self.inputs or 0.0) for name, volts in super().highest_volts(setup).items()}

    def findings(self, setup: Setup) -> Iterator[Finding]:
        """See StepForm."""
        yield from self._condition_findings(setup)
        for terminal, wanted in self.other().items():
            if not list(wanted.wanted()):
                yield (terminal,), f"nothing is asked of {terminal}", "write for example 'voltage: 15 V ± 1 %'"
            if wanted.current is not None and setup.terminal(terminal).kind != "input":
                what = f"a current is asked at {terminal}, which is no input; no instrument is there to read it"
                yield (terminal, "current"), what, f"ask it at one of {', '.join(setup.board.terminals('input'))}"
            elif wanted.current is not None and wanted.current.high is not None and wanted.current.high < 0:
                what = f"the current at {terminal} is what the board draws, positive, but its limit is {wanted.current}"
                yield (terminal, "current"), what, "write the limit without its sign"
            if wanted.voltage is not None and (what := wrong_side(setup, terminal, wanted.voltage)):
                yield (terminal, "voltage"), what, "write the limit with the terminal's sign"
            if wanted.ripple is not None and (wanted.ripple.high is None or wanted.ripple.high <= 0):
                yield (terminal, "ripple"), f"'{wanted.ripple}' is no most", "write for example 'at most 2 mV'"
        if not self.other():
            yield (), "the step measures nothing", "write a terminal and its limits"

    def _condition_findings(self, setup: Setup) -> Iterator[Finding]:
        outputs = setup.board.terminals("output")
        if self.inputs is not None and self.inputs <= 0.0:
            yield ("inputs",), "the inputs are fed nothing", "write a magnitude above zero, such as '19 V'"
        for name, amps in self.loads.items():
            if name not in outputs:
                yield ("loads", name), f"{name} is no output of the board", f"write one of {', '.join(outputs)}"
            elif not 0.0 < amps <= (outputs[name].rated or amps):
                most = format_value(outputs[name].rated or amps, "A")
                yield (
                    ("loads", name),
                    f"{format_value(amps, 'A')} is no load for {name}",
                    f"write more than 0 A, at most {most}",
                )
        if setup.amps_limit and max(self.loads.values(), default=0.0) >= setup.amps_limit:
            what = f"the inputs' limit of {format_value(setup.amps_limit, 'A')} can't carry the load"
            yield ("loads",), what, "give the step a higher 'current limit' of its own"

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        return tuple(
            setup.line(LINE_NAMES.get(quantity, quantity.value), terminal, limit)
            for terminal, wanted in self.other().items()
            for quantity, limit in wanted.wanted()
        )

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm."""
        nominal = {name: abs(volts) for name, volts in setup.nominal_volts.items()}
        fed = nominal if self.inputs is None else dict.fromkeys(nominal, self.inputs)
        unrest = await feed_and_settle(setup, fed, nominal, self.settle_within)
        for name, amps in self.loads.items():
            await Draw(name, amps)
            await feed_inputs(setup, fed)
        judged = await self._judged(setup, unrest)
        for name in self.loads:
            await Draw(name, 0.0)
        if fed != nominal:
            await feed_and_settle(setup, nominal, fed, self.settle_within)
        return judged

    async def _judged(self, setup: Setup, unrest: str) -> tuple[Judgement, ...]:
        """Look at all terminals, then judge each by a second look that must agree: the first lie well before it."""
        lines, quick = self.lines(setup), setup.rule.efforts[0]
        steady = [line for line in lines if line.name != LINE_NAMES[Quantity.RIPPLE]]
        first = [await Read(line.terminal, Quantity(line.name), quick) for line in steady]
        apart = first[-1].seconds - first[0].seconds if first else APART_SECONDS
        if apart < APART_SECONDS:
            await Wait(APART_SECONDS - apart)
        within, seen = self.settle_within, dict(zip(steady, first, strict=True))

        def judging(line: Line) -> Coroutine[Any, Any, Judgement]:
            return judged_reading(setup, line, Quantity(line.name), earlier=seen[line], within=within, unrest=unrest)

        rails = [line for line in steady if line.name == Quantity.VOLTAGE.value]
        together = await abreast([line.terminal for line in rails])
        judged = {line: await judging(line) for line in steady if not (together and line in rails)}
        if together:
            judged |= zip(rails, await followed(True, [judging(line) for line in rails]), strict=True)
        for line in lines:
            if line not in judged:
                judged[line] = await _judged_ripple(setup, line, unrest)
        return tuple(judged[line] for line in lines)


async def _judged_ripple(setup: Setup, line: Line, unrest: str) -> Judgement:
    """Read and judge a ripple; the meter's own filter has settled when it answers."""

    async def take(effort: float, _: Sequence[Line]) -> list[Taken]:
        return [Taken(measured(await Read(line.terminal, Quantity.RIPPLE, effort)), unrest)]

    return (await judged_by_looks(setup, (line,), take))[0]
