"""The step that reads ohms on a cold board, with the leads both ways round, before anything is powered."""

import math
from collections.abc import Iterator
from decimal import Decimal

from msgspec.structs import replace
from pydantic import ConfigDict, Field

from station.asks import GND, Quantity, Read, Reading, Wait
from station.errors import Beyond, NotHere
from station.forms import AmpsValue, Form, LeadsValue, OhmsValue, ResistanceLimit, SecondsValue
from station.judge import Rule
from station.lines import Judgement, Line, Outcome, not_here
from station.quantities import Limit, format_value
from station.steps.kinds import Finding, Setup, StepForm, step_kind
from station.uncertainty import Result, less_leads, linear

__all__ = ["Resistance"]

# Above this a board is not discharged; less is what an ohmmeter itself leaves, a junction's drop, and is watched as it
# moves. Common practice, no source.
CHARGED_VOLTS = 0.6
DIODE_VOLTS = 0.2  # the least that a diode drops at a small current, a Schottky's too; common practice, no source
POLL_SECONDS = 0.2
# Settled: so many readings lie together within their noise and a share of the value; a charge still moving shows more.
SETTLED_READINGS, SETTLED_SHARE, SETTLED_NOISES = 3, 5e-4, 4.0
# A charge moves ever more slowly: what passes now and would so after this long at its present pace, passes.
AHEAD_SECONDS = 10.0


class TerminalOhmsForm(Form):
    """What one terminal must read: in its own polarity, and with the leads turned round (default: a diode)."""

    at_least: OhmsValue
    turned: ResistanceLimit | None = None


@step_kind("resistance")
class Resistance(StepForm):
    """Read ohms at cold terminals at a small test current, in their own polarity and turned round, and judge them.

    A reading that moves while a capacitor charges is watched until it passes for good, or has settled.
    """

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, TerminalOhmsForm]
    others = "terminals"
    stops_run = True

    test_current: AmpsValue = Field(1e-3, gt=0.0)
    leads: LeadsValue | None = None
    within: SecondsValue = Field(30.0, gt=0.0)

    def caution(self, setup: Setup) -> str:
        """See StepForm."""
        return (
            "Board unpowered and discharged, supplies and loads off: what stays connected, such as the bleeder of a "
            "supply without an output relay, is read with the board. Capacitors are charged to a volt at most."
        )

    def findings(self, setup: Setup) -> Iterator[Finding]:
        """See StepForm."""
        for name, form in self.other().items():
            if form.at_least <= 0.0:
                yield (name, "at least"), "zero ohms are a short, and every board has more", "write for example '1 kΩ'"
        if not self.other():
            yield (), "the step reads nothing", "write a terminal and its limit, such as 'OUTP: {at least: 100 Ω}'"

    def _turned(self, form: TerminalOhmsForm) -> Limit:
        """Return the limit with the leads turned round: a diode, unless less is asked of the terminal itself."""
        diode = Decimal(str(DIODE_VOLTS)) / Decimal(str(self.test_current))
        return form.turned or Limit.at_least(min(diode, Decimal(str(form.at_least))), "ohm")

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        return tuple(
            setup.line(what, name, limit)
            for name, form in self.other().items()
            for what, limit in (
                ("resistance", Limit.at_least(Decimal(str(form.at_least)), "ohm")),
                ("resistance, leads turned", self._turned(form)),
            )
        )

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm."""
        lines = self.lines(setup)
        charged = await self._charged(setup)
        if charged:
            return tuple(Judgement(line, Outcome.ABORTED, cause=charged) for line in lines)
        judged = {}
        for line in reversed(lines):  # turned round first: that takes less charge, and leaves the right one
            own_way = (line.name == "resistance") == (setup.terminal(line.terminal).sign > 0.0)
            plus, minus = (line.terminal, GND) if own_way else (GND, line.terminal)
            ask = Read(plus, Quantity.RESISTANCE, setup.rule.sweep_effort, minus, self.test_current)
            judged[line] = await self._watched(setup.rule, line, ask)
        return tuple(judged[line] for line in lines)

    async def _charged(self, setup: Setup) -> str:
        """Wait until no terminal holds a charge; return which one still does in the end, or ''."""
        for name in self.other():
            for _ in range(self._looks()):
                left = (await Read(name, Quantity.VOLTAGE, setup.rule.efforts[0])).value
                if abs(left) <= CHARGED_VOLTS:
                    break
                await Wait(POLL_SECONDS)
            else:
                most = format_value(CHARGED_VOLTS, "V", digits=3)
                return f"{name} is charged to more than {most}: find what feeds it, or discharge it"
        return ""

    def _looks(self) -> int:
        return math.ceil(self.within / POLL_SECONDS)

    async def _watched(self, rule: Rule, line: Line, ask: Read) -> Judgement:
        """Read until the line passes for good, or the reading has settled, or time is over."""
        recent: list[Reading] = []
        judgement = Judgement(line, Outcome.UNDECIDED, cause=f"a charge drove the reading for all {self.within:g} s")
        for _ in range(self._looks()):
            try:
                reading = await ask
            except NotHere as missing:
                return not_here(line, str(missing))
            except Beyond as beyond:
                if beyond.ohms > 0.0:
                    return _beyond(rule, line, beyond.ohms)
            else:
                recent = [*recent[1 - SETTLED_READINGS :], reading]
                settled, result = _settled(recent), self._result(reading)
                judgement = rule.judge(line, result, last=settled)
                if settled:
                    return judgement
                if judgement.outcome is Outcome.PASSED and self._passes_on(rule, line, recent):
                    return replace(judgement, cause="passed while it still moved")
            await Wait(POLL_SECONDS)
        cause = judgement.cause or f"still moving after {self.within:g} s"
        return replace(judgement, outcome=Outcome.UNDECIDED, cause=cause)

    def _passes_on(self, rule: Rule, line: Line, recent: list[Reading]) -> bool:
        """Whether a reading that passes would still do so if it went on moving at its present pace."""
        if len(recent) < 2:
            return False
        before, now = recent[-2:]
        pace = (now.value - before.value) / max(now.seconds - before.seconds, POLL_SECONDS)
        ahead = self._result(replace(now, value=now.value + AHEAD_SECONDS * pace))
        return rule.judge(line, ahead, last=False).outcome is Outcome.PASSED

    def _result(self, reading: Reading) -> Result:
        """Return a reading less the leads, whose resistance is known to lie within its tolerance."""
        return linear([(1.0, reading if self.leads is None else less_leads(reading, self.leads))])


def _settled(recent: list[Reading]) -> bool:
    values = [reading.value for reading in recent]
    allowed = SETTLED_NOISES * recent[-1].u_random + SETTLED_SHARE * abs(values[-1])
    return len(values) == SETTLED_READINGS and max(values) - min(values) <= allowed


def _beyond(rule: Rule, line: Line, ohms: float) -> Judgement:
    """Judge a reading of which only is known that it lies above the end of its range."""
    assert line.limit is not None
    more = f"more than {format_value(ohms, 'ohm', digits=3)}, where the range of this test current ends"
    if line.limit.high is None:
        passes = rule.outcome(ohms, 0.0, line.limit) is Outcome.PASSED
        return Judgement(line, Outcome.PASSED if passes else Outcome.UNDECIDED, cause=more)
    fails = float(line.limit.high) <= ohms
    return Judgement(line, Outcome.FAILED if fails else Outcome.UNDECIDED, cause=more)
