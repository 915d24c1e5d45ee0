"""Read a test profile: what a good board does, step by step, checked against its board before any power."""

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, field_validator

from station.board import Board, load_board
from station.document import Document, Path_, parse_document, read_text
from station.errors import InputError, Problem, halves
from station.forms import Form, RatioValue, fill, meant, nearest
from station.judge import Rule
from station.quantities import format_value
from station.steps import KINDS, BoundStep, Setup, StepForm

__all__ = ["BoundStep", "DecisionForm", "Profile", "load_profile", "parse_profile"]


# The supply's over-voltage protection has to lie above the highest point and not above the board's ceiling.
PROTECTION_ROOM = 1.02


class DecisionForm(Form):
    """The decision rule: `simple`, or `guarded` by a false-accept risk or by a multiple of U (U = 2u)."""

    rule: Literal["simple", "guarded"] = "guarded"
    false_accept_at_most: RatioValue = 0.02
    guard_band: str | None = None

    @field_validator("guard_band")
    @classmethod
    def _multiple_of_u(cls, text: str | None) -> str | None:
        if text is not None:
            _factor(text)
        return text

    def made(self) -> Rule:
        """Return the rule."""
        if self.guard_band is not None and (self.rule == "simple" or "false_accept_at_most" in self.model_fields_set):
            raise ValueError("a guard band stands beside another rule; keep the guard band or the other")
        factor = None if self.guard_band is None else _factor(self.guard_band)
        return Rule(guarded=self.rule == "guarded", risk=self.false_accept_at_most, guard_factor=factor)


def _factor(text: str) -> float:
    number = text.strip().removesuffix("U").strip() or "1"
    try:
        factor = float(number)
    except ValueError:
        factor = -1.0
    if not text.strip().endswith("U") or not 0.0 <= factor <= 10.0:
        raise ValueError(f"'{text}' is not a guard band; write a multiple of U, such as '1 U' or '0.83 U'")
    return factor


def _revision(text: object) -> object:
    return str(text) if isinstance(text, int) else text


class ProfileForm(Form):
    """The keys at the top of a profile."""

    profile: str = Field(min_length=1)
    revision: Annotated[str, BeforeValidator(_revision)] = "-"
    board: str
    decision: DecisionForm = DecisionForm()
    steps: list[dict[str, Any]] = Field(min_length=1)


@dataclass(frozen=True)
class Profile:
    """A checked profile: its board, rule and steps, with the text itself for the record."""

    name: str
    revision: str
    path: Path
    text: str
    board: Board
    rule: Rule
    steps: tuple[BoundStep, ...]
    notes: tuple[str, ...]  # what `check` tells the author, such as an inherited current limit


def load_profile(path: Path) -> Profile:
    """Return the profile of a file, with its board; InputError holds all that is wrong with it."""
    text = read_text(path)
    return parse_profile(text, path)


def parse_profile(text: str, path: Path, board: Board | None = None) -> Profile:
    """Return the profile in a text; the board is loaded from beside `path` unless it is given."""
    document = parse_document(text, str(path))
    form, problems = fill(ProfileForm, document.data, document, ())
    if board is None:
        board, more = _board(document, path)
        problems += more
    if board is None:
        raise InputError(problems)
    rule, more = _rule(form, document) if form is not None else (Rule(), [])
    reader = _Steps(document, board, rule)
    steps = tuple(reader.bound(document.data.get("steps")))
    problems += [*more, *reader.problems]
    if form is None or problems:
        raise InputError(problems)
    return Profile(form.profile, form.revision, path, text, board, rule, steps, tuple(reader.notes))


def _board(document: Document, path: Path) -> tuple[Board | None, list[Problem]]:
    """Return the board beside the profile, or None where there is none to check the steps against, and why."""
    name, sheet = document.data.get("profile"), document.data.get("board")
    if not isinstance(sheet, str):
        return None, []  # the form has said so
    try:
        board = load_board(path.parent / sheet)
    except InputError as error:
        missing = Problem(str(path.parent / sheet), 0, 0, "there is no such file", "check the name")
        if missing not in error.problems:
            return None, list(error.problems)
        what = f"the board sheet '{sheet}' is not there"
        return None, [document.problem(("board",), what, "write its name as seen from the profile")]
    prefix = name.partition("/")[0] if isinstance(name, str) else board.name
    if prefix == board.name:
        return board, []
    what = f"the profile is for '{prefix}', but {sheet} is the sheet of '{board.name}'"
    instead = f"write 'profile: {board.name}/...', or name the sheet of '{prefix}'"
    return None, [document.problem(("profile",), what, instead)]


def _rule(form: ProfileForm, document: Document) -> tuple[Rule, list[Problem]]:
    try:
        return form.decision.made(), []
    except ValueError as error:
        return Rule(), [document.problem(("decision",), *halves(error))]


class _Steps:
    """Read the steps one by one, carrying what later ones inherit and collecting what is wrong."""

    def __init__(self, document: Document, board: Board, rule: Rule) -> None:
        self.document, self.board, self.rule = document, board, rule
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self._inherited: float | None = None
        self._unread: set[str] = set()  # kinds that are there, but wrong: what rests on them is not known
        self._titles: set[str] = set()
        self._before: tuple[BoundStep, ...] = ()

    def bound(self, entries: object) -> Iterator[BoundStep]:
        """Yield the steps that can be read; entries that are no mappings are the form's to report."""
        for index, entry in enumerate(entries if isinstance(entries, list) else []):
            path: Path_ = ("steps", index)
            form = self._form(entry, path) if isinstance(entry, dict) else None
            if form is None:
                self._unread |= {meant(str(kind), KINDS) or "" for kind in (entry if isinstance(entry, dict) else ())}
                continue
            limit = self._amps_limit(form, (*path, form.kind))
            setup = Setup(self.board, self.rule, self._title(form), limit, self._before)
            self._check(form, setup, (*path, form.kind), entry[form.kind])
            self._before = (*self._before, BoundStep(form, setup))
            yield self._before[-1]

    def _form(self, entry: dict[str, Any], path: Path_) -> StepForm | None:
        if len(entry) != 1:
            found = ", ".join(entry) or "nothing"
            self._wrong(path, f"a step is one kind with its keys, but here is {found}", "write '- measure: {...}'")
            return None
        ((kind, body),) = entry.items()
        if kind not in KINDS:
            self._wrong((*path, kind), f"'{kind}' is not a kind of step", nearest(kind, KINDS))
            return None
        if not isinstance(body, dict):
            self._wrong((*path, kind), f"the step '{kind}' has no keys", f"write '{kind}: {{...}}'")
            return None
        known, misspelt = self._known_only(KINDS[kind], body, (*path, kind))
        form, problems = fill(KINDS[kind], known, self.document, (*path, kind), misspelt=misspelt)
        self.problems += problems
        return form

    def _known_only(
        self, kind: type[StepForm], body: dict[str, Any], path: Path_
    ) -> tuple[dict[str, Any], tuple[str, ...]]:
        """Return the entries whose keys are known, and what the others were probably meant to be; note those."""
        names: dict[str, Iterable[str]] = {
            "terminals": self.board.form.terminals,
            "trimmers": self.board.form.trimmers,
            "nothing": (),
        }
        known = [*kind.keys(), *names[kind.others]]
        unknown = [key for key in body if key not in known]
        words = [meant(key, known) for key in unknown]
        for key in unknown:
            what = f"'{key}' is neither a key of '{kind.kind}' nor one of the board's {kind.others}"
            if kind.others == "nothing":
                what = f"'{key}' is not a key of '{kind.kind}'"
            self._wrong((*path, key), what, nearest(key, known))
        return {key: value for key, value in body.items() if key in known}, tuple(filter(None, words))

    def _title(self, form: StepForm) -> str:
        plain = form.name or form.kind
        numbered = (plain if count == 1 else f"{plain} {count}" for count in itertools.count(1))
        title = next(title for title in numbered if title not in self._titles)
        self._titles.add(title)
        return title

    def _amps_limit(self, form: StepForm, path: Path_) -> float:
        own = form.own_amps_limit(self._before)
        if form.kind == "ramp":
            self._inherited = own
        if own is None and form.powers:
            if self._inherited is None and "ramp" not in self._unread:
                self._wrong(path, "the step feeds power, but no ramp came before it", "write a 'ramp' step first")
            elif self._inherited is not None:
                limit = format_value(self._inherited, "A")
                self.notes.append(f"step '{form.name or form.kind}' keeps the ramp's current limit of {limit}")
        return own if own is not None else self._inherited or 0.0

    def _check(self, form: StepForm, setup: Setup, path: Path_, written: Iterable[str]) -> None:
        if form.rests_on in self._unread:
            return
        # what an unknown key left empty has been told already
        whole = set(written) <= {*form.keys(), *form.other()}
        found = [finding for finding in form.findings(setup) if whole or finding[0]]
        for below, what, instead in found:
            self._wrong((*path, *below), what, instead)
        if found:
            return
        for name, volts in form.highest_volts(setup).items():
            ceiling = self.board.form.terminals[name].never_above or 0.0
            if volts * PROTECTION_ROOM > ceiling:
                what = f"the step feeds {name} {volts:g} V, but the board sheet says never above {ceiling:g} V"
                most = ceiling / PROTECTION_ROOM
                instead = f"write at most {most:.4g} V, so that a protection fits between, or mend the sheet"
                self._wrong(path, what, instead)

    def _wrong(self, path: Path_, what: str, instead: str) -> None:
        self.problems.append(self.document.problem(path, what, instead))
