"""Keep what the devices of all boards of a fleet are given as, in the columns of their frame.

Values and model parameters of every board lie ready, parts spread and faults in them; a solve takes those
of its lanes and puts in what follows from the parameters it gives, for all wirings at once.
A device that a board lacks is an ordinary one that is connected to nothing.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from .conditioned import Given
from .expressions import Expression, evaluate
from .frame import Frame
from .inventory import BIPOLAR_DEFAULTS, DIODE_DEFAULTS, RESISTOR_DEFAULTS
from .netlist import parameter_values
from .parts import Parts
from .solve import Circuit

__all__ = ["Stock"]

Floats = NDArray[np.float64]
Lanes = NDArray[np.intp]
Value = float | Floats
Defaults = Mapping[str, float | str]

_VALUE = {"value": 0.0}
_DEFAULTS: Mapping[str, Defaults] = {
    "resistors": {**RESISTOR_DEFAULTS, "value": 1.0},
    "diodes": DIODE_DEFAULTS,
    "bipolars": BIPOLAR_DEFAULTS,
    "gains": _VALUE,
    "volts": _VALUE,
    "amps": _VALUE,
}
_NO_BREAKDOWN_VOLTS = 1e6  # of diodes that break down on other boards


@dataclass(frozen=True)
class _Row:
    """A parameter: its values (rows, n), and each lane's row; None where one row is for all."""

    values: Floats
    at: Lanes | None


@dataclass(frozen=True)
class _Formula:
    """A value that follows from parameters: where it goes, on which wirings, and each lane's factor on it."""

    kind: str
    name: str
    column: int
    tree: Expression
    space: int  # which of the different sets of parameters it is evaluated in
    on: NDArray[np.bool_]  # (wirings,)
    factor: Floats | None  # (lanes,)


class Stock:
    """What the devices of `parts[i].boards` boards of each circuit are given as."""

    def __init__(self, frame: Frame, circuits: Sequence[Circuit], parts: Sequence[Parts]) -> None:
        self._frame, self._circuits, self._parts = frame, circuits, parts
        edges = np.cumsum([0, *(each.boards for each in parts)]).tolist()
        self._boards = [slice(first, last) for first, last in pairwise(edges)]
        self._wirings = np.repeat(np.arange(len(parts)), [each.boards for each in parts])
        self._spread = {name for each in parts for _, name in each.factors}
        names = circuits[0].workshop.rows
        self._rows = {kind: {name: self._row(kind, name) for name in names[kind]} for kind in _DEFAULTS}
        spaces = [tuple(sorted(each.netlist.body.parameters.items())) for each in circuits]
        self._spaces = {space: circuit.netlist for space, circuit in zip(spaces, circuits, strict=True)}
        numbers = {space: at for at, space in enumerate(self._spaces)}
        self._formulas = self._found([numbers[space] for space in spaces])

    def given(self, lanes: Lanes, parameters: Mapping[str, Value]) -> Given:
        """Return what the devices of some lanes are given as; parameters are one value or an array (lanes,).

        Raises CircuitError for a parameter that a netlist does not have.
        """
        taken = {
            kind: {name: row.values if row.at is None else row.values[row.at[lanes]] for name, row in rows.items()}
            for kind, rows in self._rows.items()
        }
        if parameters:
            values = [parameter_values(netlist, parameters) for netlist in self._spaces.values()]
            for formula in self._formulas:
                self._put(formula, values[formula.space], taken[formula.kind], lanes)
        return taken

    def _put(self, formula: _Formula, values: Mapping[str, Value], rows: dict[str, Floats], lanes: Lanes) -> None:
        """Put a value that follows from parameters in its place."""
        value, row = evaluate(formula.tree, values), rows[formula.name]
        if formula.factor is not None:
            value = value * formula.factor[lanes]
        if row is self._rows[formula.kind][formula.name].values:
            row = rows[formula.name] = np.repeat(row, lanes.size, axis=0)
        if formula.on.all():
            row[:, formula.column] = value
        else:
            at = formula.on[self._wirings[lanes]]
            row[at, formula.column] = np.broadcast_to(value, lanes.shape)[at]

    def _row(self, kind: str, name: str) -> _Row:
        """Return a parameter of all lanes, in as few rows as there are different ones."""
        constants = np.full((len(self._circuits), self._frame.counts[kind]), _usual(_DEFAULTS[kind], name))
        for at, circuit in enumerate(self._circuits):
            constants[at, self._frame.seats[at].kinds[kind]] = circuit.workshop.rows[kind][name].constants
            if name == "bv":
                own = circuit.workshop.sites.zeners
                broken = self._frame.seats[at].kinds[kind][own]
                constants[at, np.setdiff1d(np.arange(constants.shape[1]), broken)] = _NO_BREAKDOWN_VOLTS
        factors = list(self._factors(kind, name)) if name in self._spread else []
        if not factors:
            alike = bool((constants == constants[0]).all() or np.isnan(constants).all())
            return _Row(constants[:1], None) if alike else _Row(constants, self._wirings)
        every = constants[self._wirings]
        for lanes, column, factor in factors:
            every[lanes, column] *= factor
        return _Row(every, np.arange(every.shape[0]))

    def _factors(self, kind: str, name: str) -> Iterator[tuple[slice, int, Floats]]:
        """Yield the factors on a parameter: whose boards', in which column of the frame."""
        for at, (parts, lanes) in enumerate(zip(self._parts, self._boards, strict=True)):
            columns, seat = self._circuits[at].workshop.rows[kind][name].columns, self._frame.seats[at].kinds[kind]
            for key, factor in parts.factors.items():
                if key in columns:
                    yield lanes, int(seat[columns[key]]), factor

    def _found(self, spaces: Sequence[int]) -> list[_Formula]:
        """Return the values that follow from parameters; `spaces` says which parameters each circuit has."""
        on: dict[tuple[str, str, int, Expression, int], NDArray[np.bool_]] = {}
        for at, (circuit, seat) in enumerate(zip(self._circuits, self._frame.seats, strict=True)):
            for kind, rows in circuit.workshop.rows.items():
                for name, row in rows.items():
                    for column, tree in row.trees:
                        key = kind, name, int(seat.kinds[kind][column]), tree, spaces[at]
                        on.setdefault(key, np.zeros(len(spaces), dtype=bool))[at] = True
        return [_Formula(*key, wirings, self._factor(*key[:3])) for key, wirings in on.items()]

    def _factor(self, kind: str, name: str, column: int) -> Floats | None:
        own = [(lanes, factor) for lanes, at, factor in self._factors(kind, name) if at == column]
        if not own:
            return None
        every = np.ones(self._wirings.size)
        for lanes, factor in own:
            every[lanes] = factor
        return every


def _usual(defaults: Defaults, name: str) -> float:
    """Return a parameter's default; a word stands for another parameter's."""
    usual: float | str = name
    while isinstance(usual, str):
        usual = defaults[usual]
    return usual
