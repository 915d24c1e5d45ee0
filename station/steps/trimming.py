"""The step that has trimmers turned until their rails are inside the window."""

from collections.abc import Iterator
from decimal import Decimal

from pydantic import ConfigDict

from station.asks import Quantity, Read, Toward, Turn, Turned, Warned
from station.forms import AmpsValue, Form, RatioValue, VoltageLimit
from station.lines import Judgement, Line, Outcome
from station.quantities import Limit
from station.steps.kinds import Finding, Setup, StepForm, feed_inputs, judged_reading, step_kind
from station.steps.measuring import wrong_side

__all__ = ["Trim"]

MOST_TURNS = 60  # a hand that is not there by then is not getting there
ACCEPTED_SHARE = 0.25  # stop inside this share of the window: leaves room for drift; common practice, no source


class TargetForm(Form):
    """The terminal that a trimmer sets, and its window."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, VoltageLimit]

    def targets(self) -> dict[str, Limit]:
        """Windows by terminal."""
        return dict(self.__pydantic_extra__ or {})


@step_kind("trim")
class Trim(StepForm):
    """Check each rail against a coarse window, then have its trimmer turned until it is inside the fine one.

    A board outside the coarse window is not trimmed: a faulty board must not be turned into the window.
    """

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, TargetForm]
    others = "trimmers"
    powers = True
    stops_run = True

    coarse: RatioValue = 0.10
    current_limit: AmpsValue | None = None

    def _targets(self) -> list[tuple[str, str, Limit]]:
        """Trimmer, terminal and window, in the profile's order."""
        return [
            (trimmer, terminal, limit)
            for trimmer, form in self.other().items()
            for terminal, limit in form.targets().items()
        ]

    def caution(self, setup: Setup) -> str:
        """See StepForm."""
        return "The board is live while you trim: use an insulated tool, one hand, and keep clear of heatsinks."

    def findings(self, setup: Setup) -> Iterator[Finding]:
        """See StepForm."""
        if not 0.0 < self.coarse < 1.0:
            yield ("coarse",), "the coarse window is not between 0 % and 100 %", "write for example '± 10 %'"
        for trimmer, form in self.other().items():
            sets = setup.board.form.trimmers[trimmer].sets
            if list(form.targets()) != [sets]:
                found = ", ".join(form.targets()) or "nothing"
                yield (trimmer,), f"{trimmer} sets {sets}, but the step gives {found}", f"write '{sets}: 15 V ± 0.2 %'"
            elif form.targets()[sets].nominal is None:
                yield (trimmer, sets), "the window has no centre to aim at", "write it as '15 V ± 0.2 %'"
            elif what := wrong_side(setup, sets, form.targets()[sets]):
                yield (trimmer, sets), what, "write the window with the terminal's sign"
        if not self.other():
            yield (), "the step trims nothing", "write a trimmer and its window"

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """See StepForm."""
        before = [setup.line("before trim", terminal, self._coarse(limit)) for _, terminal, limit in self._targets()]
        after = [setup.line("trimmed", terminal, limit) for _, terminal, limit in self._targets()]
        return (*before, *after)

    def _coarse(self, window: Limit) -> Limit:
        assert window.nominal is not None
        spread = abs(window.nominal) * Decimal(str(self.coarse))
        return Limit(window.nominal - spread, window.nominal + spread, "V", window.nominal, relative=True)

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """See StepForm."""
        await feed_inputs(setup)
        lines = self.lines(setup)
        before, after = lines[: len(lines) // 2], lines[len(lines) // 2 :]
        judged = []
        for line in before:
            judged.append(await judged_reading(setup, line, Quantity.VOLTAGE))
        if any(judgement.outcome is Outcome.FAILED for judgement in judged):
            cause = "not trimmed: a rail is outside the coarse window, diagnose the board first"
            return (*judged, *(Judgement(line, Outcome.NOT_STARTED, cause=cause) for line in after))
        for trimmer, terminal, limit in self._targets():
            if stuck := await self._turn_into(setup, trimmer, terminal, limit):
                await Warned(f"{trimmer}: {stuck}")
        for line in after:  # all rails once more, together: a later trimmer may have moved an earlier rail
            judged.append(await judged_reading(setup, line, Quantity.VOLTAGE))
        return tuple(judged)

    async def _turn_into(self, setup: Setup, trimmer: str, terminal: str, window: Limit) -> str:
        """Have one trimmer turned until its rail is well inside; return why it ended early, or ''."""
        assert window.nominal is not None and window.low is not None and window.high is not None
        clockwise_raises = setup.board.form.trimmers[trimmer].clockwise == "raises"
        centre = float(window.high + window.low) / 2.0  # of an uneven window this is not the nominal
        enough = ACCEPTED_SHARE * float(window.high - window.low) / 2.0
        for _ in range(MOST_TURNS):
            reading = await Read(terminal, Quantity.VOLTAGE, setup.rule.sweep_effort)
            missing = abs(centre) - setup.terminal(terminal).sign * reading.value
            if abs(missing) <= enough:
                return ""
            clockwise = (missing > 0.0) == clockwise_raises
            toward = Toward.CLOCKWISE if clockwise else Toward.ANTICLOCKWISE
            if await Turn(trimmer, toward, abs(missing)) is Turned.STUCK:
                return "the trimmer is at its end or stuck"
        return f"not inside after {MOST_TURNS} turns"
