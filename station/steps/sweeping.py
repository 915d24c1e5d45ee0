"""Steps that move the input or the load and judge how little the outputs care."""

from collections.abc import Coroutine, Iterable, Iterator, Sequence
from typing import Any

from pydantic import ConfigDict, Field

from station.asks import Draw, Reading, Wait
from station.forms import AmpsValue, Form, RatioLimit, RatioPerVoltLimit, SecondsValue, VoltsRange
from station.lines import Judgement, Line
from station.quantities import format_value
from station.steps.abreast import abreast, followed
from station.steps.kinds import (
    Finding,
    Setup,
    StepForm,
    Taken,
    feed_and_settle,
    feed_inputs,
    judged_by_looks,
    step_kind,
)
from station.steps.settling import APART_SECONDS, FIRST_PAUSE_SECONDS, SETTLE_WITHIN_SECONDS
from station.steps.swept import DEAD_VOLTS, Sweep
from station.uncertainty import Result, linear

__all__ = [
    "LineSweep",
    "LoadSweep",
    "line_regulation",
    "load_regulation",
    "only_outputs",
    "rated_load_findings",
    "spaced",
]


def spaced(low: float, high: float, points: int) -> list[float]:
    """Return `points` evenly spaced values from low to high, both exactly included."""
    return [low + (high - low) * index / (points - 1) for index in range(points - 1)] + [high]


def line_regulation(points: list[tuple[float, Reading]], nominal_volts: float) -> Result:
    """Return the line regulation in 1/V: span of the output over the sweep, over the output at the input nearest
    to nominal, over the input's span. Points are (input magnitude in volts, output reading).

    Convention: source-effect span per volt of input change (the span form, not the end-to-end form).
    """
    highest = max((reading for _, reading in points), key=lambda reading: reading.value)
    lowest = min((reading for _, reading in points), key=lambda reading: reading.value)
    reference = min(points, key=lambda point: abs(point[0] - nominal_volts))[1]
    return _relative_change(highest, lowest, reference, max(v for v, _ in points) - min(v for v, _ in points))


def load_regulation(points: list[tuple[float, Reading]]) -> Result:
    """Return the load regulation as a fraction: the largest change from the lightest load, over the voltage there.

    Points are (load in amps, output reading). Convention: data-sheet base, minimum load; not the textbook's
    full-load base.
    """
    reference = min(points, key=lambda point: point[0])[1]
    others = [reading for _, reading in points if reading is not reference]
    farthest = max(others, key=lambda reading: abs(reading.value - reference.value))
    high, low = (reference, farthest) if reference.value >= farthest.value else (farthest, reference)
    return _relative_change(high, low, reference, 1.0)


def _relative_change(high: Reading, low: Reading, reference: Reading, per: float) -> Result:
    """Return (high - low) / |reference| / per with its uncertainty to first order (JCGM 100, 5.1.2).

    High and low share an instrument's error on one range, which cancels between them. A dead output has no
    regulation: its change counts as complete.
    """
    base = abs(reference.value)
    if base < DEAD_VOLTS:
        return Result(1.0 / per, 0.0, reference.effort)
    change = (high.value - low.value) / base / per
    slope = 1.0 / base / per
    sign = 1.0 if reference.value > 0.0 else -1.0
    return linear([(slope, high), (-slope, low), (-sign * change / base, reference)], offset=change)


class LineRegulationForm(Form):
    """What a line sweep judges at one terminal."""

    line_regulation: RatioPerVoltLimit


@step_kind("line sweep")
class LineSweep(StepForm):
    """Read outputs at each input voltage, lowest first, and judge their line regulation over all points."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, LineRegulationForm]
    others = "terminals"
    powers = True

    inputs: VoltsRange
    points: int = Field(5, ge=2, le=200)
    load: AmpsValue = 0.0
    settle_within: SecondsValue = Field(SETTLE_WITHIN_SECONDS, ge=0.0)
    current_limit: AmpsValue | None = None

    def _volts(self) -> list[float]:
        assert self.inputs.low is not None and self.inputs.high is not None
        return spaced(float(self.inputs.low), float(self.inputs.high), self.points)

    def highest_volts(self, setup: Setup) -> dict[str, float]:
        """See StepForm."""
        return {name: max(volts, self._volts()[-1]) for name, volts in super().highest_volts(setup).items()}

    def findings(self, setup: Setup) -> Iterator[Finding]:
        """See StepForm."""
        yield from only_outputs(self.other(), setup)
        yield from rated_load_findings(self.load, self.other(), setup)
        if self._volts()[0] == self._volts()[-1]:
            yield ("inputs",), "the sweep has no span", "write two different voltages, such as '19 V .. 26 V'"

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        return tuple(setup.line("line regulation", name, form.line_regulation) for name, form in self.other().items())

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm."""

        def take(effort: float, lines: Sequence[Line]) -> Coroutine[Any, Any, list[Taken]]:
            return self._swept(setup, effort, lines)

        return await judged_by_looks(setup, self.lines(setup), take)

    async def _swept(
        self, setup: Setup, effort: float, lines: Sequence[Line], late_seconds: float = 0.0
    ) -> list[Taken]:
        """Sweep once, and once more where an output came back late: then every point waits that much longer."""
        nominal = {name: abs(volts) for name, volts in setup.nominal_volts.items()}
        await feed_inputs(setup)
        await self._load(self.load)
        per, within = self._volts()[-1] - self._volts()[0], self.settle_within
        together = await abreast([line.terminal for line in lines])
        sweeps = await followed(together, [Sweep.begun(setup, line, effort, within, per) for line in lines])
        fed, unrest = nominal, ""
        for volts in self._volts():
            now = dict.fromkeys(nominal, volts)
            unrest = await self._feed(setup, now, fed, late_seconds) or unrest
            apart = APART_SECONDS if volts < max(fed.values()) else FIRST_PAUSE_SECONDS
            await followed(together, [sweep.point(volts, within, apart) for sweep in sweeps])
            fed = now
            sweeps.reverse()  # so that the scanner stays where it is
        unrest = await self._feed(setup, nominal, fed, late_seconds) or unrest
        await followed(together, [sweep.end(within) for sweep in sweeps])
        await self._load(0.0)
        if not late_seconds and (late := max(sweep.late_seconds for sweep in sweeps)):
            return await self._swept(setup, effort, lines, late)
        middle = max(nominal.values())
        found = {sweep.line.title: sweep.taken(line_regulation(sweep.points, middle), unrest) for sweep in sweeps}
        return [found[line.title] for line in lines]

    async def _feed(
        self, setup: Setup, magnitudes: dict[str, float], before: dict[str, float], late_seconds: float
    ) -> str:
        unrest = await feed_and_settle(setup, magnitudes, before, self.settle_within)
        if late_seconds:
            await Wait(late_seconds)
        return unrest

    async def _load(self, amps: float) -> None:
        if self.load > 0.0:
            for name in self.other():
                await Draw(name, amps)


class LoadRegulationForm(Form):
    """The loads of one terminal, and what is judged there."""

    from_: AmpsValue = 0.0
    to: AmpsValue
    points: int = Field(5, ge=2, le=200)
    load_regulation: RatioLimit


@step_kind("load sweep")
class LoadSweep(StepForm):
    """Load one output after the other, lightest load first, and judge its load regulation over all points."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, LoadRegulationForm]
    others = "terminals"
    powers = True

    settle_within: SecondsValue = Field(SETTLE_WITHIN_SECONDS, ge=0.0)
    current_limit: AmpsValue | None = None

    def caution(self, setup: Setup) -> str:
        """See StepForm."""
        return "Loads, pass transistors and heatsinks get hot, and stay hot after the test: do not touch."

    def findings(self, setup: Setup) -> Iterator[Finding]:
        """See StepForm."""
        yield from only_outputs(self.other(), setup)
        for name, form in self.other().items():
            rated = setup.terminal(name).rated
            if not 0.0 <= form.from_ < form.to:
                yield (name, "to"), "the sweep does not rise from zero or more", "write 'from: 0 A' and a larger 'to'"
            if rated is not None and form.to > rated:
                what = f"{format_value(form.to, 'A')} is above the {format_value(rated, 'A')} that {name} is rated for"
                yield (name, "to"), what, f"write at most {format_value(rated, 'A')}"
            if form.to >= setup.amps_limit > 0.0:
                limit = format_value(setup.amps_limit, "A")
                what = f"the inputs' limit of {limit} can't carry {format_value(form.to, 'A')}"
                yield (name, "to"), what, "give the step a higher 'current limit' of its own"

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        return tuple(setup.line("load regulation", name, form.load_regulation) for name, form in self.other().items())

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm."""
        await feed_inputs(setup)
        judged: list[Judgement] = []
        for line in self.lines(setup):

            async def take(effort: float, lines: Sequence[Line]) -> list[Taken]:
                return [await self._swept(setup, effort, lines[0])]

            judged += await judged_by_looks(setup, (line,), take)
        return tuple(judged)

    async def _swept(self, setup: Setup, effort: float, line: Line, late_seconds: float = 0.0) -> Taken:
        """Load one output and unload it, and once more where it came back late, waiting that much at every point."""
        form: LoadRegulationForm = self.other()[line.terminal]
        sweep: Sweep | None = None
        for amps in spaced(form.from_, form.to, form.points):
            await self._draw(setup, line.terminal, amps, late_seconds)
            sweep = sweep or await Sweep.begun(setup, line, effort, self.settle_within)
            await sweep.point(amps, self.settle_within)
        assert sweep is not None
        await self._draw(setup, line.terminal, form.from_, late_seconds)
        await sweep.end(self.settle_within)
        await Draw(line.terminal, 0.0)
        if sweep.late_seconds and not late_seconds:
            return await self._swept(setup, effort, line, sweep.late_seconds)
        longer = [each for each in setup.rule.efforts if each > sweep.effort]
        if sweep.frozen() and longer:  # at the best effort every rail moves by more than the last digit
            return await self._swept(setup, longer[0], line, late_seconds)
        return sweep.taken(load_regulation(sweep.points), sweep.frozen())

    async def _draw(self, setup: Setup, terminal: str, amps: float, late_seconds: float) -> None:
        await Draw(terminal, amps)
        await feed_inputs(setup)
        if late_seconds:
            await Wait(late_seconds)


def only_outputs(entries: dict[str, object], setup: Setup) -> Iterator[Finding]:
    """Yield what is wrong with the outputs that a step names."""
    outputs = setup.board.terminals("output")
    for name in entries:
        if name not in outputs:
            yield (name,), f"{name} is no output of the board", f"write one of {', '.join(outputs)}"
    if not entries:
        yield (), "the step judges nothing", "write an output and its limit"


def rated_load_findings(load: float, outputs: Iterable[str], setup: Setup) -> Iterator[Finding]:
    """Yield what is wrong with one `load` for several outputs: below zero, or above the rating of one."""
    if load < 0.0:
        yield ("load",), "a load can't be negative", "write what the load draws, such as '0.5 A'"
    rated = [form.rated for name, form in setup.board.terminals("output").items() if name in outputs]
    lowest = min((amps for amps in rated if amps is not None), default=None)
    if lowest is not None and load > lowest:
        shown = format_value(lowest, "A")
        yield ("load",), f"{format_value(load, 'A')} is above the {shown} of a rating", f"write at most {shown}"
    elif setup.amps_limit and load >= setup.amps_limit:
        limit = format_value(setup.amps_limit, "A")
        what = f"the inputs' limit of {limit} can't carry {format_value(load, 'A')}"
        yield ("load",), what, "give the step a higher 'current limit' of its own"
