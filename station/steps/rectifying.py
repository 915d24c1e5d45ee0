"""The step that tries a raw supply alone, transformer, rectifier and reservoir, before any board is connected."""

import math
from collections.abc import Iterator
from decimal import Decimal

from pydantic import ConfigDict, Field

from station.asks import Quantity, Question, Read, Reading, Wait
from station.forms import FaradsValue, Form, HertzValue, OhmsValue, RatioValue, SecondsValue, VoltsValue
from station.hazards import DRY_VOLTS, Hazard, decay_seconds, joules
from station.lines import Judgement, Line, Outcome
from station.quantities import Limit, format_value
from station.reservoir import RawSupply, ripple_rms
from station.steps.kinds import Finding, Setup, StepForm, judged_reading, step_kind
from station.steps.measuring import LINE_NAMES
from station.uncertainty import Result, linear, measured

__all__ = ["RawSupplyStep", "asymmetry"]

RIPPLE = LINE_NAMES[Quantity.RIPPLE]
POLL_SECONDS = 1.0
SWITCH_ON = "No board connected, covers on: switch the raw supply on. Is it on?"
SWITCH_OFF = "Switch the raw supply off and pull its plug. Is it off?"
# Electrolytics are up to a fifth larger than marked, and bleeders a twentieth: common practice, no source.
DECAY_ROOM = 1.5
METER_FLOOR_VOLTS = 1e-3  # what a meter's a.c. side may show of nothing, on top of the computed ripple


class RailForm(Form):
    """One rail: what the board that will hang on it must never see."""

    board_never_above: VoltsValue = Field(gt=0.0)


@step_kind("raw supply")
class RawSupplyStep(StepForm):
    """Have a raw supply switched on without a board, and judge its rails: volts, symmetry, ripple, and their decay."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, RailForm]
    others = "terminals"
    brings = (Hazard.MAINS,)
    stops_run = True

    secondary: VoltsValue = Field(gt=0.0)  # rms, rated, of each rail
    mains: RatioValue = 0.10
    regulation: RatioValue = Field(0.10, ge=0.0)  # how far the transformer rises without load
    diodes: int = Field(1, ge=1, le=2)  # in the way of a rail: 1 on a centre tap, 2 on a secondary of its own
    diode_drop: VoltsValue = Field(0.8, ge=0.0)
    capacitance: FaradsValue = Field(gt=0.0)  # of each rail
    bleeder: OhmsValue = Field(gt=0.0)  # across each rail
    mains_frequency: HertzValue = Field(50.0, gt=0.0)
    symmetry: RatioValue = Field(0.03, gt=0.0)  # common practice, no source
    settle: SecondsValue = Field(2.0, ge=0.0)  # a plain wait: mains never comes to rest

    def _rail(self) -> RawSupply:
        """Return one rail, its bleeder drawing what the highest volts drive through it."""
        shape = (self.secondary, self.mains, self.regulation, self.diodes, self.diode_drop, self.capacitance)
        unloaded = RawSupply(*shape, self.mains_frequency)
        return RawSupply(*shape, self.mains_frequency, unloaded.highest_volts / self.bleeder)

    def _empty_seconds(self, setup: Setup) -> float:
        """Return how long the bleeder takes from the highest volts to safe ones."""
        highest, safe = self._rail().highest_volts, setup.board.form.safe_below
        return decay_seconds(self.bleeder, self.capacitance, from_volts=highest, to_volts=safe)

    def caution(self, setup: Setup) -> str:
        """See StepForm."""
        rail, count = self._rail(), len(self.other())
        between = rail.highest_volts * count
        over = f", above the {DRY_VOLTS:g} V d.c. from where it is hazardous" if between > DRY_VOLTS else ""
        energy = format_value(count * joules(self.capacitance, rail.highest_volts), "J", digits=2)
        return (
            f"Mains side: leave it to people licensed for it; covers on, fuse fitted, one hand. Rails add up: up to "
            f"{between:.0f} V from rail to rail{over}. The reservoirs hold {energy} and take about "
            f"{self._empty_seconds(setup):.0f} s to empty after switch-off: measure before you touch."
        )

    def findings(self, setup: Setup) -> Iterator[Finding]:
        """See StepForm."""
        highest = self._rail().highest_volts
        for name, form in self.other().items():
            if highest > form.board_never_above:
                most, shown = (format_value(each, "V", digits=4) for each in (form.board_never_above, highest))
                what = f"without load, at the highest mains, {name} reaches {shown}; the board must never see {most}"
                yield (name, "board never above"), what, "take a transformer with less, or a board that stands more"
            elif highest > (setup.terminal(name).never_above or math.inf):
                yield (name,), f"{name} reaches {highest:.4g} V, above its sheet's 'never above'", "mend the sheet"
        if not self.other():
            yield (), "the step tries no rail", "write the terminals of the rails, each with 'board never above: 56 V'"

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        rail, names = self._rail(), list(self.other())
        low, high = (_decimal(volts) for volts in rail.shown_span)
        ripple = Limit.at_most(_decimal(ripple_rms(rail.ripple_pp) + METER_FLOOR_VOLTS), "V")
        safe = Decimal(str(setup.board.form.safe_below))
        lines = []
        for name in names:
            volts = Limit(low, high, "V") if setup.terminal(name).sign > 0.0 else Limit(-high, -low, "V")
            lines += [setup.line("voltage without load", name, volts), setup.line(RIPPLE, name, ripple)]
        if len(names) == 2:
            symmetry = Decimal(str(self.symmetry))
            lines.append(setup.line("asymmetry", names[1], Limit(-symmetry, symmetry, "1")))
        return (*lines, *(setup.line("voltage left", name, Limit(-safe, safe, "V")) for name in names))

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm."""
        lines = self.lines(setup)
        if await Question(SWITCH_ON, switches=True) != "yes":
            return tuple(Judgement(line, Outcome.ABORTED, cause="the raw supply was not switched on") for line in lines)
        await Wait(self.settle)
        judged, volts = {}, dict[str, Reading]()
        for line in lines:
            if line.name == "voltage without load":
                volts[line.terminal] = await Read(line.terminal, Quantity.VOLTAGE, setup.rule.sweep_effort)
                judged[line] = setup.rule.judge(line, measured(volts[line.terminal]))
            elif line.name == RIPPLE:
                judged[line] = setup.rule.judge(line, measured(await Read(line.terminal, Quantity.RIPPLE)))
            elif line.name == "asymmetry":
                judged[line] = setup.rule.judge(line, asymmetry(*volts.values()))
        if await Question(SWITCH_OFF, switches=False) != "yes":
            cause = "the raw supply was not switched off"
        else:
            cause = ""
            await self._decay(setup)
        for line in lines:
            if line.name == "voltage left":
                left = Judgement(line, Outcome.ABORTED, cause=cause)
                judged[line] = left if cause else await judged_reading(setup, line, Quantity.VOLTAGE)
        return tuple(judged[line] for line in lines)

    async def _decay(self, setup: Setup) -> None:
        """Wait until all rails are empty, or their bleeders should long have emptied them."""
        for _ in range(math.ceil(DECAY_ROOM * self._empty_seconds(setup) / POLL_SECONDS)):
            left = [(await Read(name, Quantity.VOLTAGE, setup.rule.efforts[0])).value for name in self.other()]
            if max(abs(volts) for volts in left) < 0.9 * setup.board.form.safe_below:
                return
            await Wait(POLL_SECONDS)


def asymmetry(one: Reading, other: Reading) -> Result:
    """Return how far two rails' magnitudes differ, as a share of their mean, with its uncertainty to first order.

    Rails without volts differ by all they could.
    """
    a, b = abs(one.value), abs(other.value)
    if a + b < METER_FLOOR_VOLTS:
        return Result(1.0, 0.0, one.effort)
    signs = math.copysign(1.0, one.value), math.copysign(1.0, other.value)
    share = 4.0 / (a + b) ** 2
    return linear([(signs[0] * share * b, one), (-signs[1] * share * a, other)], offset=2.0 * (a - b) / (a + b))


def _decimal(volts: float) -> Decimal:
    return Decimal(f"{volts:.4g}")
