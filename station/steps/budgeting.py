"""The step that sets the power a board gives against the power it takes."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from msgspec.structs import replace
from pydantic import Field

from station.asks import Draw, Quantity, Reading
from station.forms import AmpsValue, PowerLimit, RatioLimit, SecondsValue, VoltsValue
from station.lines import Judgement, Line
from station.quantities import Limit, format_value
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
from station.steps.settling import SETTLE_WITHIN_SECONDS, settled
from station.steps.sweeping import rated_load_findings
from station.uncertainty import Result, linear

__all__ = ["Efficiency", "Power", "dissipation", "efficiency"]

LEAST_WATTS = 1e-6  # an input below it takes nothing that an instrument could tell from zero

Power = tuple[Reading, Reading]  # volts and amps of one terminal, both as magnitudes


def efficiency(taken: list[Power], given: list[Power]) -> Result:
    """Return what all outputs give over what all inputs take, as a fraction, with its uncertainty to first order.

    Convention: Σ Vout·Iout / Σ Vin·Iin over both rails together, the board's own no-load current counted in. Not the
    ratio Vout/Vin of one rail, which leaves that current out. A board that takes nothing gives nothing: 0.
    """
    watts_in, watts_out = _watts(taken), _watts(given)
    if watts_in < LEAST_WATTS:
        return Result(0.0, 0.0, taken[0][0].effort)
    share = watts_out / watts_in
    # of degree 0 in all readings, so that the first-order terms add up to nothing (Euler) and the offset is the value
    terms = [*_slopes(given, 1.0 / watts_in), *_slopes(taken, -share / watts_in)]
    return linear(terms, offset=share)


def dissipation(taken: list[Power], given: list[Power]) -> Result:
    """Return what stays on the board as heat (watts): what all inputs take less what all outputs give."""
    watts = _watts(taken) - _watts(given)
    return linear([*_slopes(taken, 1.0), *_slopes(given, -1.0)], offset=-watts)  # of degree 2: its terms add up to 2 P


def _watts(powers: list[Power]) -> float:
    return sum(volts.value * amps.value for volts, amps in powers)


def _slopes(powers: list[Power], factor: float) -> Iterator[tuple[float, Reading]]:
    """Yield factor · ∂(V·I) for each volts and amps reading."""
    for volts, amps in powers:
        yield factor * amps.value, volts
        yield factor * volts.value, amps


@step_kind("efficiency")
class Efficiency(StepForm):
    """Load all outputs at once, and judge what share of its input power the board passes on, and what it burns."""

    powers = True

    load: AmpsValue | None = None  # at every output; each one's rating where left out
    inputs: VoltsValue | None = None  # magnitude, at every input; nominal where left out
    efficiency: RatioLimit | None = None
    dissipation: PowerLimit | None = None
    settle_within: SecondsValue = Field(SETTLE_WITHIN_SECONDS, ge=0.0)
    current_limit: AmpsValue | None = None

    def _loads(self, setup: Setup) -> dict[str, float]:
        outputs = setup.board.terminals("output").items()
        return {name: (form.rated or 0.0) if self.load is None else self.load for name, form in outputs}

    def _magnitudes(self, setup: Setup) -> dict[str, float] | None:
        return None if self.inputs is None else dict.fromkeys(setup.nominal_volts, self.inputs)

    def highest_volts(self, setup: Setup) -> dict[str, float]:
        """See StepForm."""
        return {name: max(volts, self.inputs or 0.0) for name, volts in super().highest_volts(setup).items()}

    def findings(self, setup: Setup) -> Iterator[Finding]:
        """See StepForm."""
        yield from self._load_findings(setup)
        if self.inputs is not None and self.inputs <= 0.0:
            yield ("inputs",), "the inputs are fed nothing", "write a magnitude above zero, such as '19 V'"
        if self.efficiency is None and self.dissipation is None:
            yield (), "the step judges nothing", "write 'efficiency: at least 60 %' or 'dissipation: at most 12 W'"
        if self.efficiency is not None and self.efficiency.low is not None and self.efficiency.low >= 1:
            yield ("efficiency",), "no board gives as much as it takes", "write less than 100 %"

    def _load_findings(self, setup: Setup) -> Iterator[Finding]:
        loads = self._loads(setup)
        if self.load is not None:
            yield from rated_load_findings(self.load, loads, setup)
            if self.load == 0.0:
                yield ("load",), "without load there is no efficiency", "write what each output carries"
        elif unrated := [name for name, amps in loads.items() if not amps]:
            yield (), f"the board sheet says no rating of {unrated[0]}", "write the load, such as 'load: 0.5 A'"
        elif 0.0 < setup.amps_limit <= (most := max(loads.values())):
            what = f"the inputs' limit of {format_value(setup.amps_limit, 'A')} can't carry {format_value(most, 'A')}"
            yield (), what, "give the step a higher 'current limit' of its own"

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        wanted: tuple[tuple[str, Limit | None], ...] = (
            ("efficiency", self.efficiency),
            ("dissipation", self.dissipation),
        )
        return tuple(setup.line(name, "", limit) for name, limit in wanted if limit is not None)

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm."""
        nominal = {name: abs(volts) for name, volts in setup.nominal_volts.items()}
        fed = self._magnitudes(setup) or nominal
        unrest = await feed_and_settle(setup, fed, nominal, self.settle_within)
        drawn = {name: await self._drawn(name, amps) for name, amps in self._loads(setup).items()}
        await feed_inputs(setup, fed)

        async def take(effort: float, lines: Sequence[Line]) -> list[Taken]:
            looks = _Looks(setup, effort, self.settle_within)
            taken = [(await looks.volts(name), await looks.amps(name)) for name in setup.nominal_volts]
            given = [(await looks.volts(name), amps) for name, amps in drawn.items()]
            results = {"efficiency": efficiency(taken, given), "dissipation": dissipation(taken, given)}
            return [Taken(results[line.name], unrest or looks.unrest) for line in lines]

        judged = await judged_by_looks(setup, self.lines(setup), take)
        for name in drawn:
            await Draw(name, 0.0)
        if fed != nominal:
            await feed_inputs(setup)
        return judged

    async def _drawn(self, name: str, amps: float) -> Reading:
        """Load an output; return its current as a reading, known as well as the load sets it: no noise, one source."""
        told = await Draw(name, amps)
        return Reading(amps, 0.0, told.u, f"load at {name}", 1.0, 0.0)


@dataclass
class _Looks:
    """Settled readings of one effort, and what of them has not settled."""

    setup: Setup
    effort: float
    within: float
    unrest: str = ""

    async def volts(self, name: str) -> Reading:
        """Read a terminal's volts along its own sign, so that the meter's gain error adds up over rails of any sign."""
        reading = await self._settled(name, Quantity.VOLTAGE)
        return replace(reading, value=self.setup.terminal(name).sign * reading.value)

    async def amps(self, name: str) -> Reading:
        """Read what the board draws at an input."""
        return await self._settled(name, Quantity.CURRENT)

    async def _settled(self, name: str, quantity: Quantity) -> Reading:
        found = await settled(self.setup, name, quantity, effort=self.effort, within=self.within)
        self.unrest = self.unrest or found.unrest
        return found.reading
