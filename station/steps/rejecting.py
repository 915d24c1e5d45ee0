"""The step that judges how much of the input's ripple an output lets through."""

import math
from collections.abc import Iterator

from pydantic import ConfigDict, Field

from station.asks import Draw, Quantity, Read, Reading
from station.forms import AmpsValue, DecibelLimit, Form, SecondsValue
from station.judge import Rule
from station.lines import Judgement, Line, Outcome, not_here
from station.quantities import format_value
from station.steps.dropping import inputs_of, unfed_findings
from station.steps.kinds import Finding, Setup, StepForm, feed_inputs, step_kind
from station.steps.settling import SETTLE_WITHIN_SECONDS, settled
from station.steps.sweeping import only_outputs, rated_load_findings
from station.uncertainty import Result, linear, measured

__all__ = ["RippleRejection", "ripple_rejection"]

ENOUGH = 50.0  # standard uncertainties that the input has to ripple by, for a ratio to be worth judging
DROWNED = 5.0  # below so many of them an output's ripple may be the meter's own


class RejectionForm(Form):
    """What is judged at one output."""

    rejection: DecibelLimit


@step_kind("ripple rejection")
class RippleRejection(StepForm):
    """Compare what ripples at an input with what is left at an output; NotStarted where nothing ripples in front."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, RejectionForm]
    others = "terminals"
    powers = True

    load: AmpsValue = 0.0
    settle_within: SecondsValue = Field(SETTLE_WITHIN_SECONDS, ge=0.0)
    current_limit: AmpsValue | None = None

    def findings(self, setup: Setup) -> Iterator[Finding]:
        """See StepForm."""
        yield from only_outputs(self.other(), setup)
        yield from rated_load_findings(self.load, self.other(), setup)
        yield from unfed_findings(self.other(), setup)
        for name, form in self.other().items():
            if form.rejection.low is None or form.rejection.low <= 0:
                yield (name, "rejection"), f"'{form.rejection}' is no least", "write for example 'at least 60 dB'"

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        return tuple(
            setup.line("ripple rejection, meter's bandwidth", name, form.rejection)
            for name, form in self.other().items()
        )

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm."""
        await feed_inputs(setup)
        judged = []
        for line in self.lines(setup):
            if self.load:
                await Draw(line.terminal, self.load)
                await feed_inputs(setup)
            rest = await settled(setup, line.terminal, within=self.settle_within)
            feeding = inputs_of(setup, line.terminal)[0]
            before = await Read(feeding, Quantity.RIPPLE)
            if before.value < ENOUGH * measured(before).u:
                judged.append(not_here(line, _nothing_in_front(feeding, before)))
            else:
                after = await Read(line.terminal, Quantity.RIPPLE)
                judged.append(_judged(setup.rule, line, before, after, rest.unrest))
            if self.load:
                await Draw(line.terminal, 0.0)
        return tuple(judged)


def ripple_rejection(before: Reading, after: Reading) -> Result:
    """Return 20·log10(input ripple / output ripple) in dB, with its uncertainty to first order (JCGM 100, 5.1.2).

    Convention: both rms, at the same frequency, in the bandwidth of one meter, whose own error partly cancels.
    """
    slope = 20.0 / math.log(10.0)
    decibels = 20.0 * math.log10(before.value / after.value)
    return linear([(slope / before.value, before), (-slope / after.value, after)], offset=decibels)


def _judged(rule: Rule, line: Line, before: Reading, after: Reading, unrest: str) -> Judgement:
    """Judge a line; where an output's ripple may be the meter's own, only a least rejection is known."""
    doubt = measured(after).u
    if after.value >= DROWNED * doubt:
        return rule.judge(line, ripple_rejection(before, after), unrest=unrest)
    assert line.limit is not None
    least = 20.0 * math.log10((before.value - 2.0 * measured(before).u) / (after.value + 2.0 * doubt))
    outcome = Outcome.PASSED if line.limit.room(least) >= 0.0 and line.limit.high is None else Outcome.UNDECIDED
    cause = "this much or more: what is left at the output may be the meter's own"
    return Judgement(line, outcome, least, cause=cause)


def _nothing_in_front(terminal: str, before: Reading) -> str:
    shown = format_value(before.value, "V", digits=2)
    return f"{terminal} ripples by {shown} rms only: it takes a modulated source or the raw supply in front"
