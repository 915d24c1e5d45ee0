"""Say what a step is, and register the kinds that profiles can write.

A step form's fields are its YAML keys; it declares the lines it will judge and has a program, a coroutine of asks.
It touches no instrument, so the same code runs on the bench, on a simulated bench and on an old record.
"""

from collections.abc import Callable, Coroutine, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, ClassVar, Literal, TypeVar

import msgspec

from station.asks import Feed, Quantity, Reading
from station.board import Board, TerminalForm
from station.document import Path_
from station.forms import Form
from station.hazards import Hazard, Hazards
from station.judge import Rule
from station.lines import Judgement, Line
from station.steps.settling import SETTLE_WITHIN_SECONDS, inputs_settled, settled
from station.uncertainty import Result, measured

__all__ = [
    "KINDS",
    "BoundStep",
    "Finding",
    "Setup",
    "StepForm",
    "Taken",
    "feed_and_settle",
    "feed_inputs",
    "judged_by_looks",
    "judged_reading",
    "step_kind",
]

Finding = tuple[Path_, str, str]  # where below the step, what is wrong, what to write
KINDS: dict[str, type["StepForm"]] = {}


@dataclass(frozen=True)
class Setup:
    """What a step's program works with beside its own keys: the board, the rule, its title and current limit.

    `before` has the steps that come before it in its profile, in order; `hazards` what is known of the run's dangers.
    """

    board: Board
    rule: Rule
    title: str
    amps_limit: float = 0.0
    before: tuple["BoundStep", ...] = field(default=(), repr=False, compare=False)
    hazards: Hazards = field(default=Hazards(), repr=False, compare=False)

    @cached_property
    def nominal_volts(self) -> dict[str, float]:
        """Each input's nominal volts, in the sheet's order."""
        return {name: form.nominal or 0.0 for name, form in self.board.terminals("input").items()}

    @property
    def live(self) -> bool:
        """Whether the inputs are fed when the step begins: a step before it fed them and none since has discharged."""
        last = next((step.form for step in reversed(self.before) if step.form.powers or step.form.discharges), None)
        return last is not None and last.powers

    def line(self, name: str, terminal: str, limit: Any) -> Line:  # noqa: ANN401  Limit or None, as Line has it
        """Return a line of this step."""
        return Line(self.title, name, terminal, limit)

    def terminal(self, name: str) -> TerminalForm:
        """Return a terminal of the board."""
        return self.board.form.terminals[name]


class StepForm(Form):
    """Base of all step kinds."""

    kind: ClassVar[str]
    others: ClassVar[Literal["terminals", "trimmers", "nothing"]] = "nothing"  # what keys beyond the fields name
    powers: ClassVar[bool] = False  # feeds inputs, and needs a current limit for it
    discharges: ClassVar[bool] = False  # leaves every input off
    brings: ClassVar[tuple[Hazard, ...]] = ()  # dangers beyond those of power
    rests_on: ClassVar[str] = "nothing"  # the kind of earlier steps that it means, where it means any
    stops_run: ClassVar[bool] = False  # nothing after it makes sense when one of its lines is not Passed

    name: str | None = None

    def other(self) -> dict[str, Any]:
        """The entries beyond the fields, by terminal or trimmer."""
        return dict(self.__pydantic_extra__ or {})

    def own_amps_limit(self, before: tuple["BoundStep", ...]) -> float | None:
        """Return the current limit that the step itself writes, if any (amps); `before` are the steps before it."""
        limit: float | None = getattr(self, "current_limit", None)
        return limit

    def highest_volts(self, setup: Setup) -> dict[str, float]:
        """Return the highest magnitude that each input is fed in this step (volts).

        At its end a step leaves the inputs at nominal, however low they were before.
        """
        if not self.powers:
            return {}
        return {name: abs(form.nominal or 0.0) for name, form in setup.board.terminals("input").items()}

    def dangers(self, setup: Setup) -> tuple[Hazard, ...]:
        """Return the kinds of danger that the step brings; a run's first step of each kind is acknowledged."""
        if not self.powers:
            return self.brings
        mains = () if setup.board.form.mains_side is None else (Hazard.MAINS,)
        return (Hazard.POWER, *mains, *self.brings)

    def caution(self, setup: Setup) -> str:
        """Return what the operator should mind from this step on; empty where there is nothing new.

        What is computed (volts, charge, heat) is told beside it.
        """
        return ""

    def findings(self, setup: Setup) -> Iterator[Finding]:
        """Yield what does not fit the board, found before any power."""
        yield from ()

    def lines(self, setup: Setup) -> tuple[Line, ...]:
        """Return what the step will judge."""
        raise NotImplementedError

    async def program(self, setup: Setup) -> tuple[Judgement, ...]:
        """Ask, and return one judgement per line."""
        raise NotImplementedError


@dataclass(frozen=True)
class BoundStep:
    """A step with the setup it runs under."""

    form: StepForm
    setup: Setup

    @cached_property
    def lines(self) -> tuple[Line, ...]:
        """What the step will judge."""
        return self.form.lines(self.setup)


Kind = TypeVar("Kind", bound=type[StepForm])


def step_kind(name: str) -> Callable[[Kind], Kind]:
    """Register a step kind under the name that profiles write; refused at import where it is not whole."""

    def register(kind: Kind) -> Kind:
        if name in KINDS:
            raise TypeError(f"the step kind '{name}' is there already, as {KINDS[name].__name__}")
        if not (kind.__doc__ or "").strip():
            raise TypeError(f"the step kind '{name}' has no docstring; say in one sentence what it does")
        kind.kind = name
        KINDS[name] = kind
        return kind

    return register


async def feed_inputs(setup: Setup, magnitudes: dict[str, float] | None = None) -> None:
    """Feed every input (nominal where no magnitude is given, volts), in the sheet's order, under the step's limit.

    Feeding again what is fed already costs one look at the supply's mode, and is how a step learns that a load
    has pushed a supply into its limit.
    """
    for name, nominal in setup.nominal_volts.items():
        magnitude = abs(nominal) if magnitudes is None else magnitudes[name]
        await Feed(name, -magnitude if nominal < 0.0 else magnitude, setup.amps_limit)


async def feed_and_settle(setup: Setup, magnitudes: dict[str, float], before: dict[str, float], within: float) -> str:
    """Feed every input and, where one was lowered, wait until all are there; return what is not, in words, or ''.

    A raised input is there when it holds its voltage; a lowered one only once the board has emptied its reservoir.
    """
    await feed_inputs(setup, magnitudes)
    if any(volts < before[name] for name, volts in magnitudes.items()):
        return await inputs_settled(setup, magnitudes, within)
    return ""


async def judged_reading(
    setup: Setup,
    line: Line,
    quantity: Quantity,
    *,
    earlier: Reading | None = None,
    within: float = SETTLE_WITHIN_SECONDS,
    unrest: str = "",
) -> Judgement:
    """Read and judge a line once it has settled; `earlier` and `within` are those of `settled`.

    `unrest` says why what it is read under has not settled, if it has not.
    """
    seen = earlier

    async def take(effort: float, _: Sequence[Line]) -> list[Taken]:
        nonlocal seen
        found = await settled(setup, line.terminal, quantity, effort=effort, earlier=seen, within=within)
        seen = found.reading
        return [Taken(measured(found.reading), unrest or found.unrest)]

    return (await judged_by_looks(setup, (line,), take))[0]


class Taken(msgspec.Struct, frozen=True):
    """What one look at a line gave, and why it can't be taken as settled ('' where it can)."""

    result: Result
    unrest: str = ""


Take = Callable[[float, Sequence[Line]], Coroutine[Any, Any, Sequence[Taken]]]


async def judged_by_looks(setup: Setup, lines: Sequence[Line], take: Take) -> tuple[Judgement, ...]:
    """Take and judge lines together, quickest look first; doubt buys a longer one, up to the best there is.

    `take` gets an effort and the lines that are still open. It may spend more effort than it is asked for: that is
    then the next longer look. What did not settle is judged at once: longer looks would not make it rest.
    """
    judged: dict[int, Judgement] = {}  # by the line's place
    efforts, reached, still = setup.rule.efforts, 0.0, list(range(len(lines)))
    for effort in efforts:
        if not still or effort <= reached:
            continue
        taken, looked_at, still = await take(effort, [lines[at] for at in still]), still, []
        for at, each in zip(looked_at, taken, strict=True):
            spent = effort if each.result.effort is None else each.result.effort
            last = spent >= efforts[-1] or spent < effort or bool(each.unrest)
            judged[at] = judgement = setup.rule.judge(lines[at], each.result, last=last, unrest=each.unrest)
            reached = max(reached, spent)
            if not (last or judgement.outcome.settled):
                still.append(at)
    return tuple(judged[at] for at in range(len(lines)))
