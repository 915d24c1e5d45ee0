"""The step that loads an output past its rating, for less than a second, and sees where it gives way."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from pydantic import ConfigDict, Field

from station.asks import Draw, Quantity, Read, Reading
from station.forms import AmpsValue, CurrentLimit, Form, SecondsValue
from station.hazards import Hazard
from station.lines import Judgement, Line
from station.quantities import Limit, format_value
from station.steps.kinds import Finding, Setup, StepForm, Taken, feed_inputs, judged_by_looks, step_kind
from station.steps.settling import SETTLE_WITHIN_SECONDS, settled
from station.steps.sweeping import load_regulation, only_outputs, spaced
from station.uncertainty import Result, rectangular

__all__ = ["Overload"]

# The limit is the load at which an output has fallen to this share of its voltage without load; common practice.
FALLEN_SHARE = 0.95
POINTS = 10  # of the load, from below the window to above it: together less than a second
BELOW, ABOVE = 0.85, 1.15  # of the window's ends
RECOVERED = Limit.at_most(Decimal("0.01"), "1")  # how far an output may be off afterwards; common practice, no source


class OverloadForm(Form):
    """Where one output is to give way, and whether it comes back by itself."""

    limits_at: CurrentLimit
    recovers: bool = True


@step_kind("overload")
class Overload(StepForm):
    """Load one output after the other past its rating, judge at what current it gives way, and that it recovers."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, OverloadForm]
    others = "terminals"
    powers = True
    brings = (Hazard.OVERLOAD,)

    settle_within: SecondsValue = Field(SETTLE_WITHIN_SECONDS, ge=0.0)
    current_limit: AmpsValue | None = None

    def caution(self, setup: Setup) -> str:
        """See StepForm."""
        return (
            "Outputs are overloaded on purpose, each for less than a second: heatsinks fitted, hands and flammable "
            "things off the pass transistors, and ready to cut the supply by hand."
        )

    def findings(self, setup: Setup) -> Iterator[Finding]:
        """See StepForm."""
        yield from only_outputs(self.other(), setup)
        for name, form in self.other().items():
            limit, rated = form.limits_at, setup.terminal(name).rated
            if limit.low is None or limit.high is None or not 0 < limit.low < limit.high:
                what = f"'{limit}' is no window"
                yield (name, "limits at"), what, "write where the output gives way, such as '1.1 A .. 1.6 A'"
                continue
            top = ABOVE * float(limit.high)
            if rated is not None and top > 2.0 * rated:
                most = format_value(2.0 * rated / ABOVE, "A", digits=3)
                what = f"the overload of {name} goes to {format_value(top, 'A')}, above twice its rating"
                yield (name, "limits at"), what, f"write at most {most}"
            if setup.amps_limit and top >= setup.amps_limit:
                what = f"the inputs' limit of {format_value(setup.amps_limit, 'A')} gives way before {name} does"
                yield (name, "limits at"), what, f"give the step a 'current limit' above {format_value(top, 'A')}"

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        return tuple(
            setup.line(what, name, limit)
            for name, form in self.other().items()
            for what, limit in (("limits at", form.limits_at), ("off after overload", RECOVERED))
            if what == "limits at" or form.recovers
        )

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm."""
        await feed_inputs(setup)
        judged: list[Judgement] = []
        for name, form in self.other().items():
            bracket: _Bracket | None = None

            async def take(
                effort: float, lines: Sequence[Line], name: str = name, form: OverloadForm = form
            ) -> list[Taken]:
                nonlocal bracket
                before = await settled(setup, name, effort=effort, within=self.settle_within)
                if bracket is None:
                    bracket = await self._giving_way(setup, name, form.limits_at, before.reading)
                elif lines[0].name == "limits at":
                    bracket = await self._narrowed(setup, name, bracket, before.reading)
                await Draw(name, 0.0)  # a load of constant current would hold a folded-back output down
                await feed_inputs(setup)
                after = await settled(setup, name, effort=effort, within=self.settle_within)
                off = load_regulation([(0.0, before.reading), (1.0, after.reading)])
                found = {"limits at": Taken(bracket.result(), before.unrest)}
                found["off after overload"] = Taken(off, before.unrest or after.unrest)
                return [found[line.name] for line in lines]

            own = [line for line in self.lines(setup) if line.terminal == name]
            judged += await judged_by_looks(setup, own, take)
        return tuple(judged)

    async def _giving_way(self, setup: Setup, name: str, window: Limit, before: Reading) -> "_Bracket":
        """Raise the load until the output has given way; one that holds to the end gives way a step further."""
        assert window.low is not None and window.high is not None
        loads = spaced(BELOW * float(window.low), ABOVE * float(window.high), POINTS)
        held = 0.0
        for amps in loads:
            if await self._gives_way(setup, name, amps, before):
                return _Bracket(held, amps)
            held = amps
        return _Bracket(held, held + loads[1] - loads[0])

    async def _narrowed(self, setup: Setup, name: str, bracket: "_Bracket", before: Reading) -> "_Bracket":
        """Look once more, half-way between the load that was held and the one that was not."""
        middle = (bracket.held + bracket.gave_way) / 2.0
        if await self._gives_way(setup, name, middle, before):
            return _Bracket(bracket.held, middle)
        return _Bracket(middle, bracket.gave_way)

    async def _gives_way(self, setup: Setup, name: str, amps: float, before: Reading) -> bool:
        await Draw(name, amps)
        reading = await Read(name, Quantity.VOLTAGE, setup.rule.efforts[0])
        return abs(reading.value) < FALLEN_SHARE * abs(before.value)


@dataclass(frozen=True)
class _Bracket:
    """The highest load that was held and the lowest that was not (amps)."""

    held: float
    gave_way: float

    def result(self) -> Result:
        """Return the current at which the output gives way, known to half a step."""
        half = (self.gave_way - self.held) / 2.0
        return Result(self.held + half, rectangular(half))
