"""The step that has trimmers turned until their rails are inside the window."""

from collections.abc import Iterator
from decimal import Decimal

from pydantic import ConfigDict

from station.asks import Quantity, Warned
from station.forms import AmpsValue, Form, RatioValue, VoltageLimit
from station.lines import Judgement, Line, Outcome
from station.quantities import Limit
from station.steps.guiding import Guide
from station.steps.kinds import Finding, Setup, StepForm, feed_inputs, judged_reading, step_kind
from station.steps.measuring import wrong_side

__all__ = ["Trim"]

MOST_ROUNDS = 3  # trimmers that move each other's rails; common practice, no source
LEFT_SLACK = 2.0  # a rail that has left the middle by less than its own width is not turned again


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

    A board outside the coarse window is not trimmed: a faulty board must not be turned into the window. The order is
    that of the board sheet, for a reference is set before what hangs on it.
    """

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, TargetForm]
    others = "trimmers"
    powers = True
    stops_run = True

    coarse: RatioValue = 0.10
    current_limit: AmpsValue | None = None

    def _targets(self, setup: Setup) -> list[tuple[str, str, Limit]]:
        """Trimmer, terminal and window, in the sheet's order."""
        return [
            (trimmer, terminal, limit)
            for trimmer in setup.board.form.trimmers
            if trimmer in self.other()
            for terminal, limit in self.other()[trimmer].targets().items()
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
        before = [
            setup.line("before trim", terminal, self._coarse(limit)) for _, terminal, limit in self._targets(setup)
        ]
        after = [setup.line("trimmed", terminal, limit) for _, terminal, limit in self._targets(setup)]
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
        guides = [Guide(setup, *target) for target in self._targets(setup)]
        for trouble in await self._rounds(guides):
            await Warned(trouble)
        for line, guide in zip(after, guides, strict=True):  # once more, together
            judgement = await judged_reading(setup, line, Quantity.VOLTAGE)
            judged.append(judgement)
            if judgement.value is not None and (warning := guide.end_warning(judgement.value)):
                await Warned(warning)
        return tuple(judged)

    async def _rounds(self, guides: list[Guide]) -> list[str]:
        """Bring every rail into its middle, and again where another trimmer has moved it; return what went wrong."""
        troubles: dict[str, str] = {}
        strays = guides
        for _ in range(MOST_ROUNDS):
            for guide in guides:
                if guide in strays or await self._strays(guide):
                    troubles[guide.terminal] = await guide.bring()
            strays = [guide for guide in guides if not troubles[guide.terminal] and await self._strays(guide)]
            if not strays:
                break
        left = (f"{each.terminal} does not stay in its middle: another trimmer moves it" for each in strays)
        return [*filter(None, troubles.values()), *left]

    async def _strays(self, guide: Guide) -> bool:
        return not guide.left and not guide.is_in_middle(await guide.read(), slack=LEFT_SLACK)
