"""Read the board sheet: what the board is, terminal by terminal, and what it must never see."""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pydantic import Field, model_validator

from station.document import parse_document, read_text
from station.errors import InputError
from station.forms import (
    AmpsValue,
    Form,
    KelvinPerWattValue,
    RatioValue,
    SecondsValue,
    VoltsRange,
    VoltsValue,
    fill,
    nearest,
)

__all__ = ["Board", "PartForm", "TerminalForm", "TrimmerForm", "WarmthForm", "load_board", "parse_board"]

_INCLUDE = re.compile(r"""^[ \t]*\.inc(?:lude)?[ \t]+["']?([^"'\s]+)""", re.IGNORECASE | re.MULTILINE)


class TerminalForm(Form):
    """A place where the bench reaches the board."""

    node: str
    kind: Literal["input", "output", "probe"]
    nominal: VoltsValue | None = None
    rated: AmpsValue | None = Field(None, gt=0.0)
    never_above: VoltsValue | None = None

    @model_validator(mode="after")
    def _complete(self) -> "TerminalForm":
        if self.kind == "probe":
            return self
        if not self.nominal:
            raise ValueError(f"an {self.kind} has no nominal voltage; write 'nominal: 15 V', or -15 V")
        if self.never_above is None:
            raise ValueError(f"an {self.kind} has no ceiling; write 'never above: 28 V', a magnitude")
        if self.never_above < abs(self.nominal):
            raise ValueError(
                f"never above {self.never_above:g} V is below the nominal {abs(self.nominal):g} V; write the magnitude"
                " that the terminal must never see"
            )
        return self

    @property
    def sign(self) -> float:
        """+1.0 or -1.0: which way from ground the terminal goes."""
        return -1.0 if (self.nominal or 0.0) < 0.0 else 1.0


class TrimmerForm(Form):
    """A trimmer: the netlist parameter that is its wiper (0..1), and the terminal it sets.

    `reaches` is where the terminal stands (magnitude) with the trimmer at its one end and at its other.
    """

    parameter: str
    sets: str
    clockwise: Literal["raises", "lowers"] = "raises"  # the magnitude at the terminal
    turns: float = Field(25.0, gt=0.0, le=100.0)
    reaches: VoltsRange | None = None
    starts: Literal["mid-travel"] = "mid-travel"


class PartForm(Form):
    """What is known about a part beyond the netlist; `offset` is an input pin's, such as XU101.inp (half-width)."""

    polarised: bool = False
    confused_with: str | None = None
    tolerance: RatioValue | None = Field(None, ge=0.0, lt=1.0)
    offset: VoltsValue | None = Field(None, ge=0.0)


class WarmthForm(Form):
    """How the board warms: by so many kelvin per watt it dissipates, with a time constant."""

    rises: KelvinPerWattValue = Field(ge=0.0, le=1000.0)
    within: SecondsValue = Field(gt=0.0)


class BoardForm(Form):
    """The keys of a board sheet."""

    board: str = Field(min_length=1)
    title: str
    circuit: str
    terminals: dict[str, TerminalForm] = Field(min_length=1)
    safe_below: VoltsValue = 2.0
    trimmers: dict[str, TrimmerForm] = Field(default_factory=dict)
    parts: dict[str, PartForm] = Field(default_factory=dict)
    neighbours: list[tuple[str, str]] = Field(default_factory=list)
    matched: list[list[str]] = Field(default_factory=list)  # groups of parts from one lot
    warmth: WarmthForm | None = None
    mains_switch: str | None = None  # the netlist parameter (0, 1) that is the switch in the mains lead
    mains_side: VoltsValue | None = None  # rms volts of the mains, where they reach the board or its transformer


@dataclass(frozen=True)
class Board:
    """A board as its sheet and netlist tell it, with the texts themselves for the record."""

    form: BoardForm
    path: Path
    text: str
    netlist: str
    included: tuple[tuple[str, str], ...] = ()  # texts that the netlist includes, by the names it gives them

    @property
    def name(self) -> str:
        """The board's short name."""
        return self.form.board

    @property
    def netlist_path(self) -> Path:
        """Where the netlist lies."""
        return self.path.parent / self.form.circuit

    def terminals(self, kind: str | None = None) -> dict[str, TerminalForm]:
        """Return the terminals of a kind ('input', 'output', 'probe'), or all, in the sheet's order."""
        return {name: form for name, form in self.form.terminals.items() if kind in (None, form.kind)}


def load_board(path: Path) -> Board:
    """Return the board of a sheet; InputError holds all that is wrong with it."""
    text = read_text(path)
    form = parse_board(text, str(path))
    netlist_path = path.parent / form.circuit
    if "\0" in form.circuit or not netlist_path.resolve().is_relative_to(path.parent.resolve()):
        raise InputError.about(
            f"circuit '{form.circuit}' lies outside the board's folder", "keep it beside the sheet", file=str(path)
        )
    netlist = read_text(netlist_path)
    return Board(form, path, text, netlist, tuple(_included(netlist, netlist_path.parent, {}).items()))


def _included(netlist: str, folder: Path, found: dict[str, str]) -> dict[str, str]:
    """Return the texts below `folder` that a netlist includes, for the record; its reader says what is wrong."""
    for name in _INCLUDE.findall(netlist):
        path = folder / name
        if name not in found and path.resolve().is_relative_to(folder.resolve()) and path.is_file():
            found[name] = read_text(path)
            _included(found[name], folder, found)
    return found


def parse_board(text: str, file: str) -> BoardForm:
    """Return the form in a board sheet's text; InputError holds all that is wrong with it."""
    document = parse_document(text, file)
    form, problems = fill(BoardForm, document.data, document, ())
    if form is not None:
        problems = [document.problem(*found) for found in _inconsistencies(form)]
    if form is None or problems:
        raise InputError(problems)
    return form


def _inconsistencies(form: BoardForm) -> list[tuple[tuple[str | int, ...], str, str]]:
    found: list[tuple[tuple[str | int, ...], str, str]] = []
    outputs = [name for name, terminal in form.terminals.items() if terminal.kind == "output"]
    if "GND" in form.terminals:
        found.append((("terminals", "GND"), "GND is always there", "take it out of the terminals"))
    for name, trimmer in form.trimmers.items():
        if trimmer.sets not in outputs:
            what = f"trimmer {name} sets '{trimmer.sets}', which is no output"
            found.append((("trimmers", name, "sets"), what, nearest(trimmer.sets, outputs)))
        elif trimmer.reaches is not None and trimmer.reaches.room(abs(form.terminals[trimmer.sets].nominal or 0.0)) < 0:
            what = f"trimmer {name} reaches {trimmer.reaches}, which leaves out what {trimmer.sets} is nominally"
            found.append((("trimmers", name, "reaches"), what, "write the magnitudes at its two ends"))
    if form.safe_below <= 0.0:
        found.append((("safe below",), "the safe voltage is not above zero", "write for example '2 V'"))
    return found
