"""Read the numbers and the arithmetic of a netlist: `2.2k`, `{1k*(1-trim)+0.5}`.

An expression is a small tree that is evaluated with floats or with one number per board
(arrays); nothing is ever handed to Python's own `eval`.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Binary", "Call", "Expression", "ExpressionError", "Name", "Number", "bind", "evaluate", "names_in"]
__all__ += ["parse_expression", "parse_number"]

Value = float | NDArray[np.float64]

# Powers of ten; "meg" comes before "m": SPICE's m is milli, whatever its case.
_SUFFIXES = {"meg": 6, "t": 12, "g": 9, "k": 3, "m": -3, "u": -6, "µ": -6, "μ": -6, "n": -9, "p": -12, "f": -15}
_MIL = 25.4e-6  # a thousandth of an inch, which SPICE knows as a suffix too
_NUMBER = re.compile(r"(\d+\.?\d*|\.\d+)(?:[eE]([+-]?\d+))?")
_DEEPEST, _LONGEST = 50, 2000
_LETTERS = re.compile(r"[A-Za-zµμΩ°%]*")
_WORD = re.compile(r"[A-Za-z_][A-Za-z0-9_.]*")


class ExpressionError(ValueError):
    """A number or an expression that cannot be read or evaluated; worded without its place."""


@dataclass(frozen=True)
class Number:
    """A plain number."""

    value: float


@dataclass(frozen=True)
class Name:
    """A parameter, by its lower-case name."""

    name: str


@dataclass(frozen=True)
class Binary:
    """Two operands joined by one of + - * / **."""

    operator: str
    left: "Expression"
    right: "Expression"


@dataclass(frozen=True)
class Call:
    """One of the known functions, applied to its arguments."""

    function: str
    arguments: tuple["Expression", ...]


Expression = Number | Name | Binary | Call

_FUNCTIONS: dict[str, tuple[int, Callable[..., Any]]] = {
    "sqrt": (1, np.sqrt),
    "exp": (1, np.exp),
    "log": (1, np.log),
    "ln": (1, np.log),
    "log10": (1, np.log10),
    "abs": (1, np.abs),
    "sin": (1, np.sin),
    "min": (2, np.minimum),
    "max": (2, np.maximum),
    "pow": (2, np.power),
}
_OPERATORS: dict[str, Callable[[Any, Any], Any]] = {
    "+": np.add,
    "-": np.subtract,
    "*": np.multiply,
    "/": np.divide,
    "**": np.power,
}


def parse_number(text: str) -> float:
    """Return a number with its engineering suffix and unit letters: `4.7k`, `100nF`, `2.5Meg`, `-22`."""
    sign, body = (-1.0, text[1:]) if text.startswith("-") else (1.0, text.removeprefix("+"))
    value, end = _number_at(body, 0)
    if end != len(body):
        raise ExpressionError(f"'{text}' is not a number; write for example 4.7k, 100n or 2.5meg")
    return sign * value


def _number_at(text: str, at: int) -> tuple[float, int]:
    match = _NUMBER.match(text, at)
    if not match:
        raise ExpressionError(f"'{text[at:]}' is not a number; write for example 4.7k, 100n or 2.5meg")
    letters = _LETTERS.match(text, match.end())
    assert letters is not None
    end = letters.end()
    if letters.group() and end < len(text) and (text[end].isdigit() or text[end] == "."):
        digits = text[match.start() :]
        raise ExpressionError(
            f"'{digits}' has digits behind its suffix, which SPICE drops in silence; write the point, as in 4.7k"
        )
    word = letters.group().lower()
    if word.startswith("mil"):
        return float(match.group()) * _MIL, end
    power = next((power for suffix, power in _SUFFIXES.items() if word.startswith(suffix)), 0)
    # The power goes into the text: 2200 * 1e-6 would not be 2.2e-3.
    value = float(f"{match.group(1)}e{int(match.group(2) or 0) + power}")
    if value == float("inf"):
        raise ExpressionError(f"'{match.group()}' is too large; write a smaller number")
    return value, end


def parse_expression(text: str) -> Expression:
    """Return the tree of an expression, with or without braces or quotes around it.

    Raises ExpressionError for anything but + - * / ** parentheses, names, numbers and the known functions.
    """
    body = text.strip()
    if body[:1] + body[-1:] in ("{}", "''", '""') and len(body) > 1:
        body = body[1:-1]
    if len(body) > _LONGEST:
        raise ExpressionError(f"an expression of {len(body)} characters is too long; write it in several .param lines")
    parser = _Parser(body)
    tree = parser.sum()
    parser.expect_end()
    return tree


class _Parser:
    """Recursive descent over one expression's text."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._depth = 0

    def _peek(self) -> str:
        while self._at < len(self._text) and self._text[self._at].isspace():
            self._at += 1
        return self._text[self._at : self._at + 1]

    def _take(self, *choices: str) -> str | None:
        self._peek()
        for choice in choices:
            if self._text.startswith(choice, self._at):
                self._at += len(choice)
                return choice
        return None

    def expect_end(self) -> None:
        if self._peek():
            rest = self._text[self._at :]
            raise ExpressionError(f"'{rest}' in '{self._text}' is not understood; write arithmetic with + - * / ** ( )")

    def sum(self) -> Expression:
        self._depth += 1
        if self._depth > _DEEPEST:
            raise ExpressionError(f"parentheses are nested more than {_DEEPEST} deep; write it in several .param lines")
        left = self._product()
        while operator := self._take("+", "-"):
            left = Binary(operator, left, self._product())
        self._depth -= 1
        return left

    def _product(self) -> Expression:
        left = self._signed()
        while self._peek() in ("*", "/") and not self._text.startswith("**", self._at):
            operator = self._take("*", "/")
            assert operator is not None
            left = Binary(operator, left, self._signed())
        return left

    def _signed(self) -> Expression:
        if self._take("-"):
            return Binary("-", Number(0.0), self._signed())
        if self._take("+"):
            return self._signed()
        return self._power()

    def _power(self) -> Expression:
        left = self._atom()
        if self._take("**", "^"):
            return Binary("**", left, self._signed())
        return left

    def _atom(self) -> Expression:
        start = self._peek()
        if self._take("("):
            inner = self.sum()
            self._close()
            return inner
        if start.isdigit() or start == ".":
            value, self._at = _number_at(self._text, self._at)
            return Number(value)
        match = _WORD.match(self._text, self._at)
        if not match:
            raise ExpressionError(f"'{self._text}' stops where a number, a name or '(' should follow; complete it")
        self._at = match.end()
        word = match.group().lower()
        return self._call(word) if self._take("(") else Name(word)

    def _call(self, function: str) -> Expression:
        if function not in _FUNCTIONS:
            raise ExpressionError(f"function '{function}' is not known; write one of {', '.join(_FUNCTIONS)}")
        arguments = [self.sum()]
        while self._take(","):
            arguments.append(self.sum())
        self._close()
        wanted = _FUNCTIONS[function][0]
        if len(arguments) != wanted:
            raise ExpressionError(f"'{function}' takes {wanted} argument(s), not {len(arguments)}; correct the call")
        return Call(function, tuple(arguments))

    def _close(self) -> None:
        if not self._take(")"):
            raise ExpressionError(f"'{self._text}' lacks a closing parenthesis; write ')'")


def bind(tree: Expression, scope: Mapping[str, Expression]) -> Expression:
    """Return the tree with every name of `scope` replaced by its own tree."""
    if isinstance(tree, Name):
        return scope.get(tree.name, tree)
    if isinstance(tree, Binary):
        return Binary(tree.operator, bind(tree.left, scope), bind(tree.right, scope))
    if isinstance(tree, Call):
        return Call(tree.function, tuple(bind(argument, scope) for argument in tree.arguments))
    return tree


def names_in(tree: Expression) -> frozenset[str]:
    """Return the parameter names an expression mentions."""
    if isinstance(tree, Name):
        return frozenset({tree.name})
    if isinstance(tree, Binary):
        return names_in(tree.left) | names_in(tree.right)
    if isinstance(tree, Call):
        return frozenset().union(*(names_in(argument) for argument in tree.arguments))
    return frozenset()


def evaluate(tree: Expression, values: Mapping[str, Value]) -> Value:
    """Return the value of an expression: a float, or an array where a parameter is one (shape (B,)).

    Raises ExpressionError for a name without a value and for a result that is not finite.
    """
    with np.errstate(all="ignore"):
        result = _evaluate(tree, values)
    if not np.all(np.isfinite(result)):
        raise ExpressionError(
            "the expression has no finite value; check for a division by zero or the root of a negative"
        )
    return result if isinstance(result, np.ndarray) and result.ndim else float(result)


def _evaluate(tree: Expression, values: Mapping[str, Value]) -> Value:
    if isinstance(tree, Number):
        return tree.value
    if isinstance(tree, Name):
        if tree.name not in values:
            raise ExpressionError(f"parameter '{tree.name}' is not defined; write '.param {tree.name}=...' or a number")
        return values[tree.name]
    if isinstance(tree, Binary):
        result: Value = _OPERATORS[tree.operator](_evaluate(tree.left, values), _evaluate(tree.right, values))
        return result
    called: Value = _FUNCTIONS[tree.function][1](*(_evaluate(argument, values) for argument in tree.arguments))
    return called
