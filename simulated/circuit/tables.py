"""Element values and model parameters as arrays: one row a board, one column an element.

Most columns are plain numbers and are computed once. Those that depend on a `.param` are evaluated
when a solve gives that parameter, those with a tolerance are multiplied by the board's factors.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from .errors import NetlistError
from .expressions import Expression, ExpressionError, Number, evaluate
from .netlist import Element, Netlist, parameter_values
from .parts import Parts

__all__ = ["ModelTable", "ValueRow"]

Floats = NDArray[np.float64]
Value = float | Floats


class ValueRow:
    """One parameter of several elements, as an array (L, elements)."""

    def __init__(
        self, elements: Sequence[Element], parameter: str, trees: Sequence[Expression], defaults: Mapping[str, Value]
    ) -> None:
        self._elements = elements
        self._keys = [(element.name, parameter) for element in elements]
        self.columns = {key: column for column, key in enumerate(self._keys)}
        numbers = [self._evaluate(column, tree, defaults) for column, tree in enumerate(trees)]
        self.constants = np.array(numbers, dtype=np.float64).reshape(1, -1)
        self.trees = [(column, tree) for column, tree in enumerate(trees) if not isinstance(tree, Number)]

    def _evaluate(self, column: int, tree: Expression, values: Mapping[str, Value]) -> Value:
        if isinstance(tree, Number):
            return tree.value
        try:
            return evaluate(tree, values)
        except ExpressionError as error:
            element = self._elements[column]
            raise NetlistError(element.place, f"{element.name}: {error}") from None

    def at(self, parts: Parts, values: Mapping[str, Value] | None) -> Floats:
        """Return the row for these boards; shape (1, n) when it is the same on all, else (boards, n).

        `values` is None when no parameter differs from its default.
        """
        factors = [(column, parts.factors[key]) for key, column in self.columns.items() if key in parts.factors]
        changed = [(column, self._evaluate(column, tree, values)) for column, tree in self.trees] if values else []
        if not factors and not changed:
            return self.constants
        lanes = max([parts.boards if factors else 1, *(np.size(value) for _, value in changed)])
        row = np.repeat(self.constants, lanes, axis=0)
        for column, value in changed:
            row[:, column] = value
        for column, factor in factors:
            row[:, column] *= factor
        return row


class ModelTable:
    """All parameters of the elements of one kind, defaults filled in."""

    def __init__(self, netlist: Netlist, elements: Sequence[Element], defaults: Mapping[str, float | str]) -> None:
        values = parameter_values(netlist, {})
        own = [_given(netlist, element) for element in elements]
        self.given = {name: np.array([name in each for each in own], dtype=bool) for name in defaults}
        self.rows: Mapping[str, ValueRow] = {
            name: ValueRow(elements, name, [_tree(each, name, defaults) for each in own], values) for name in defaults
        }

    def at(self, parts: Parts, values: Mapping[str, Value] | None) -> dict[str, Floats]:
        """Return every parameter as an array (L, elements), L being one or the number of boards."""
        return {parameter: row.at(parts, values) for parameter, row in self.rows.items()}


def _given(netlist: Netlist, element: Element) -> dict[str, Expression]:
    model = {} if element.model is None else dict(netlist.models[element.model].parameters)
    return model | dict(element.options)


def _tree(given: Mapping[str, Expression], parameter: str, defaults: Mapping[str, float | str]) -> Expression:
    """Find a parameter's expression; a default that is a word stands for another parameter's value."""
    wanted: float | str = parameter
    while isinstance(wanted, str):
        if wanted in given:
            return given[wanted]
        wanted = defaults[wanted]
    return Number(wanted)
