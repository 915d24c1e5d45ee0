"""Steps that bring the inputs up and down."""

import math
from collections.abc import Iterator, Sequence
from decimal import Decimal

from pydantic import Field

from station.asks import Draw, Feed, Quantity, Read, Reading, Wait
from station.errors import halves
from station.forms import AmpsValue, SecondsValue, VoltsValue
from station.lines import Judgement, Line
from station.quantities import Limit, LimitError, format_value, parse_value
from station.steps.kinds import Finding, Setup, StepForm, Taken, feed_inputs, judged_by_looks, step_kind
from station.steps.settling import agree
from station.uncertainty import measured

__all__ = ["Discharge", "Ramp"]

RAMP_STEP_VOLTS = 2.0  # 1 V to 2 V steps with a d.c. supply: common practice, no source
POLL_SECONDS = 0.5


@step_kind("ramp")
class Ramp(StepForm):
    """Raise the inputs together from 0 V in steps under a current limit, watching currents, signs and ceilings."""

    powers = True
    stops_run = True

    inputs: list[str] = Field(min_length=1)
    to: str = "nominal"
    over: SecondsValue = Field(5.0, ge=0.0)
    current_limit: AmpsValue

    def _top(self, setup: Setup) -> dict[str, float]:
        """Return where each input ends (volts, magnitude); those not ramped stay off."""
        top = {}
        for name, form in setup.board.terminals("input").items():
            full = abs(form.nominal or 0.0) if self.to == "nominal" else float(parse_value(self.to, "V"))
            top[name] = full if name in self.inputs else 0.0
        return top

    def highest_volts(self, setup: Setup) -> dict[str, float]:
        """See StepForm."""
        return self._top(setup)

    def caution(self, setup: Setup) -> str:
        """See StepForm."""
        return "Reversed electrolytics can burst: eye protection on, hands off until the ramp is complete."

    def findings(self, setup: Setup) -> Iterator[Finding]:
        """See StepForm."""
        inputs = setup.board.terminals("input")
        for index, name in enumerate(self.inputs):
            if name not in inputs:
                yield ("inputs", index), f"'{name}' is no input of the board", f"write one of {', '.join(inputs)}"
            elif name in self.inputs[:index]:
                yield ("inputs", index), f"'{name}' stands here a second time", "keep one of them"
        if self.to != "nominal":
            try:
                if parse_value(self.to, "V") <= 0:
                    yield ("to",), f"'{self.to}' raises nothing", "write a magnitude above zero, such as '22 V'"
            except LimitError as error:
                yield ("to",), *halves(error)
        if self.current_limit <= 0.0:
            yield ("current limit",), "a current limit of zero lets nothing start", "write about twice the idle current"

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        most = Limit.at_most(Decimal(str(self.current_limit)), "A")
        currents = [setup.line("highest current", name, most) for name in self.inputs]
        ceilings = [
            setup.line("highest voltage", name, _ceiling(form.sign, form.never_above or math.inf))
            for name, form in setup.board.terminals("output").items()
        ]
        return (*currents, *ceilings)

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm."""
        top = self._top(setup)
        count = max(1, math.ceil(max(top.values()) / RAMP_STEP_VOLTS))
        lines, pace = self.lines(setup), _Pace(self.over / count)
        looks = {line.title: Read(line.terminal, _quantity(line), setup.rule.efforts[0]) for line in lines}
        highest: dict[str, Reading] = {}
        shown: dict[str, Reading] = {}
        for step in range(1, count + 1):
            await feed_inputs(setup, {name: volts * step / count for name, volts in top.items()})
            await Wait(pace.pause)
            for title, look in looks.items():
                shown[title] = await look
                highest[title] = _larger(highest.get(title, shown[title]), shown[title])
            pace.looked(shown[lines[0].title], shown[lines[-1].title])

        async def take(effort: float, open_lines: Sequence[Line]) -> list[Taken]:
            if effort > setup.rule.efforts[0]:
                for line in open_lines:  # what is as high at the top as it ever was can be looked at longer
                    if agree(highest[line.title], shown[line.title]):
                        shown[line.title] = await Read(line.terminal, _quantity(line), effort)
                        highest[line.title] = shown[line.title]
            return [Taken(measured(highest[line.title])) for line in open_lines]

        return await judged_by_looks(setup, lines, take)


def _quantity(line: Line) -> Quantity:
    return Quantity.CURRENT if line.name == "highest current" else Quantity.VOLTAGE


class _Pace:
    """Keeps a ramp to its time: what feeding and looking take in a step is waited less in those after it."""

    def __init__(self, step_seconds: float) -> None:
        self._step, self.pause = step_seconds, step_seconds  # `pause` is how long to wait in this step
        self._due, self._last = 0.0, 0.0  # when the last look of the next step is due, and of this one was taken
        self._took = 0.0

    def looked(self, first: Reading, last: Reading) -> None:
        """Note when the first and the last look of a step were taken."""
        self._took = max(last.seconds - self._last - self.pause if self._last else last.seconds - first.seconds, 0.0)
        self._due, self._last = (self._due or last.seconds) + self._step, last.seconds
        self.pause = min(max(0.0, self._due - self._last - self._took), self._step)


def _larger(before: Reading, now: Reading) -> Reading:
    return now if abs(now.value) > abs(before.value) else before


def _ceiling(sign: float, magnitude: float) -> Limit:
    edge = Decimal(str(magnitude))
    return Limit.at_most(edge, "V") if sign > 0.0 else Limit.at_least(-edge, "V")


@step_kind("discharge")
class Discharge(StepForm):
    """Switch loads and inputs off and wait until every terminal has fallen below a safe voltage."""

    discharges = True

    below: VoltsValue = Field(2.0, gt=0.0)
    within: SecondsValue = Field(120.0, gt=0.0)

    def caution(self, setup: Setup) -> str:
        """See StepForm."""
        return (
            "Capacitors stay charged after the outputs are off, and heatsinks stay hot: leave the leads alone until "
            f"every terminal reads below {format_value(self.below, 'V')}; discharge through a resistor, never a tool."
        )

    def _terminals(self, setup: Setup) -> list[str]:
        return [*setup.board.terminals("input"), *setup.board.terminals("output")]

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        edge = Decimal(str(self.below))
        return tuple(setup.line("voltage left", name, Limit(-edge, edge, "V")) for name in self._terminals(setup))

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm."""
        for name in setup.board.terminals("output"):
            await Draw(name, 0.0)
        for name in setup.board.terminals("input"):
            await Feed(name, 0.0, setup.amps_limit)
        for _ in range(math.ceil(self.within / POLL_SECONDS)):
            if await self._all_below(setup):
                break
            await Wait(POLL_SECONDS)

        async def take(effort: float, lines: Sequence[Line]) -> list[Taken]:  # what falls as it should never settles
            return [Taken(measured(await Read(line.terminal, Quantity.VOLTAGE, effort))) for line in lines]

        return await judged_by_looks(setup, self.lines(setup), take)

    async def _all_below(self, setup: Setup) -> bool:
        """Tell whether every terminal is clearly below; the first that is not ends the round."""
        for name in self._terminals(setup):
            reading = await Read(name, Quantity.VOLTAGE, setup.rule.efforts[0])
            if abs(reading.value) > 0.9 * self.below:
                return False
        return True
