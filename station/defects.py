"""List the faults a board can have, from its netlist and sheet, and say which of its parts a fault overloads."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from simulated.board import built, designed, misbuilt, wired
from simulated.circuit import (
    BoardNotes,
    CircuitError,
    OperatingPoint,
    SupplySetting,
    nominal_parts,
    parse_fault,
    universe,
    with_fault,
)
from simulated.circuit.expressions import evaluate
from simulated.circuit.netlist import Netlist, parameter_values
from simulated.errors import SimulatedError
from station.board import Board
from station.errors import InputError, Problem, halves
from station.forms import meant, nearest
from station.likelihood import fault_classes
from station.opening import described
from station.quantities import LimitError, parse_value

__all__ = ["chosen", "hottest", "universe_of"]

FaultClass = str
HOT_WATTS, HOT_RATIO = 0.25, 1.5  # a small resistor's usual rating; and how far above the good board counts


def universe_of(board: Board) -> tuple[tuple[str, FaultClass], ...]:
    """Return the board's faults, each with its class; InputError where the sheet names what the netlist has not."""
    try:
        netlist = built(described(board), ())
    except CircuitError as error:  # tells the netlist's own file and line
        raise InputError.about(*halves(error)) from error
    except SimulatedError as error:
        raise InputError.about(*halves(error), file=str(board.path)) from error
    try:
        found = universe(netlist, _notes(board))
    except CircuitError as error:
        raise InputError.about(*halves(error), file=str(board.path)) from error
    return tuple((str(defect.fault), defect.fault_class.value) for defect in found)


def _notes(board: Board) -> BoardNotes:
    nodes = {"GND": "0", **{name: form.node for name, form in board.terminals().items()}}
    parts = board.form.parts
    electrolytics = [name for name, part in parts.items() if part.polarised and name.upper().startswith("C")]
    return BoardNotes(
        neighbours=[(nodes.get(one, one), nodes.get(other, other)) for one, other in board.form.neighbours],
        polarised=electrolytics or None,
        confused={name: (_plain(part.confused_with),) for name, part in parts.items() if part.confused_with},
    )


def _plain(value: str) -> str:
    """Return a value as a netlist has it: '47 kΩ' is 47000; a model's name stays as it is."""
    for unit in ("ohm", "F", "H"):
        try:
            return f"{float(parse_value(value, unit)):g}"
        except LimitError:
            continue
    return value


@dataclass(frozen=True)
class _Word:
    """What chooses faults, and the file and line where it stands, if in a file."""

    text: str
    file: str = ""
    line: int = 0

    def refused(self, what: str, instead: str) -> InputError:
        return InputError([Problem(self.file, self.line, 0, what, instead)])


def chosen(
    found: Sequence[tuple[str, FaultClass]], words: Iterable[str], board: Board
) -> tuple[tuple[str, FaultClass], ...]:
    """Return the faults of a universe that words choose: class names, single faults, or files with one a line.

    A single fault that is possible on the board and not in its universe is refused, as is what is neither.
    """
    wanted = [each for word in words for each in _listed(word)]
    if not wanted:
        return tuple(found)
    known = {name for pair in found for name in pair}
    for each in wanted:
        if each.text not in known:
            raise _unknown(each, found, board)
    texts = {each.text for each in wanted}
    return tuple((fault, name) for fault, name in found if fault in texts or name in texts)


def _listed(word: str) -> list[_Word]:
    """Return what stands in a file, or the word itself where it names none."""
    path = Path(word)
    try:
        if not path.is_file():
            return [_Word(word)]
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise InputError.about("it is not UTF-8 text", "give a text file, one fault a line", file=word) from None
    except OSError as error:
        what = f"it can't be read ({error.strerror})"
        raise InputError.about(what, "give a text file, one fault a line", file=word[:80]) from None
    lines = [(at, line.strip()) for at, line in enumerate(text.splitlines(), start=1)]
    found = [_Word(line, word, at) for at, line in lines if line and not line.startswith("#")]
    if not found:
        raise InputError.about("it lists no fault", "write one a line, such as R1:open", file=word)
    return found


def _unknown(word: _Word, found: Sequence[tuple[str, FaultClass]], board: Board) -> InputError:
    """Return what is wrong with a word: a part, pin or kind that is not there, or a fault outside the universe."""
    text, classes, faults = word.text, sorted({name for _, name in found}), [fault for fault, _ in found]
    if text in fault_classes():
        return word.refused(f"no fault of this board is of the class '{text}'", nearest("", classes))
    near = meant(text, fault_classes())
    if ":" in text and near is None:
        try:
            with_fault(built(described(board), ()), parse_fault(text))
        except (CircuitError, SimulatedError) as error:
            return word.refused(*halves(error))
        what = f"'{text}' can be simulated, but is none of the {len(faults)} faults of this board's universe"
        return word.refused(what, f"write one of them, such as '{meant(text, faults) or faults[0]}'")
    if near is None and (text.endswith((".txt", ".lst")) or "/" in text):
        return word.refused(f"there is no file '{text}'", "give a text file, one fault a line")
    return word.refused(f"'{text}' is no class of faults and no fault", nearest(text, classes))


def hottest(board: Board, faults: Sequence[str]) -> dict[str, str]:
    """Return which resistor each fault heats most at nominal input and full load, in words, if one gets hot.

    Raises InputError for a fault that the board can't have.
    """
    if not faults:
        return {}
    description = described(board)
    drawn = designed(description)
    netlists = [misbuilt(drawn, description, each) for each in ((), *((fault,) for fault in faults))]
    before, *after = _watts(board, netlists)
    found = {}
    for fault, heated in zip(faults, after, strict=True):
        risen = [(watts, part) for part, watts in heated.items() if watts > _usual(before.get(part, 0.0))]
        if risen:
            watts, part = max(risen)
            found[fault] = (
                f"{part} dissipates {watts:.2g} W at full load, {before.get(part, 0.0):.2g} W on a good board"
            )
    return found


def _usual(watts: float) -> float:
    """Return what a resistor may dissipate without a word, by what it does on a good board."""
    return max(HOT_WATTS, HOT_RATIO * watts)


def _watts(board: Board, netlists: Sequence[Netlist]) -> list[dict[str, float]]:
    """Return what each resistor dissipates at nominal input with every output at its rated current, a netlist each."""
    from simulated.circuit.fleet import Fleet  # brings scipy's sparse matrices, which are slow to import

    inputs, outputs = board.terminals("input"), board.terminals("output")
    description = described(board)
    fleet = Fleet(
        [wired(netlist, description) for netlist in netlists], [nominal_parts(netlist) for netlist in netlists]
    )
    point = fleet.solve(
        np.arange(fleet.lanes),
        supplies={name: SupplySetting(abs(form.nominal or 0.0), np.inf) for name, form in inputs.items()},
        loads={name: form.rated or 0.0 for name, form in outputs.items()},
    )
    return [_resistor_watts(netlist, point.of(at)) for at, netlist in enumerate(netlists)]


def _resistor_watts(netlist: Netlist, point: OperatingPoint) -> dict[str, float]:
    if not point.solved[0]:
        return {}
    values, watts = parameter_values(netlist, {}), dict[str, float]()
    for element in netlist.elements:
        if element.kind == "R" and element.value is not None and "." not in element.name and not element.added:
            volts = float(point.volts(element.nodes[0])[0] - point.volts(element.nodes[1])[0])
            watts[element.name] = volts * volts / max(abs(float(np.max(evaluate(element.value, values)))), 1e-3)
    return watts
