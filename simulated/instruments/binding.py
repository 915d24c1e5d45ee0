"""Match what was sent with what a command takes; some of it is never sent, but known, selected or in the header."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from simulated.instruments.errors import ScpiError
from simulated.instruments.grammar import Element, Kind
from simulated.instruments.parameters import Parameter, WhenGiven

__all__ = ["HeaderSuffix", "Implied", "Selected", "bind"]

Value = TypeVar("Value")

_NOT_ALLOWED = {
    Kind.NUMBER: -128,
    Kind.CHARACTER: -148,
    Kind.STRING: -158,
    Kind.BLOCK: -168,
    Kind.EXPRESSION: -178,
}


def bind(parameters: Sequence[Parameter[object]], elements: Sequence[Element], suffix: int = 1) -> list[object]:
    """Match what was sent with what a command takes; ScpiError -109, -108 or the parameter's own.

    `suffix` is the number in the header.
    """
    values: list[object] = []
    left = list(elements)
    for position, parameter in enumerate(parameters):
        if isinstance(parameter, Implied):
            values.append(parameter.value)
        elif isinstance(parameter, Selected):
            values.append((parameter.channel,))
        elif isinstance(parameter, HeaderSuffix):
            values.append((suffix,))
        elif isinstance(parameter, WhenGiven) and (not left or _is_for_a_later(parameters, position, left[0])):
            values.append(None)
        elif not left:
            raise ScpiError(-109)
        else:
            values.append(_read_checked(parameter, left.pop(0)))
    if left:
        raise ScpiError(-108, left[0].text[:40])
    return values


def _is_for_a_later(parameters: Sequence[Parameter[object]], position: int, element: Element) -> bool:
    if element.kind in parameters[position].kinds:
        return False
    return any(element.kind in later.kinds for later in parameters[position + 1 :])


def _read_checked(parameter: Parameter[Value], element: Element) -> Value:
    if element.kind not in parameter.kinds:
        raise ScpiError(_NOT_ALLOWED[element.kind], element.text[:40])
    return parameter.read(element)


@dataclass(frozen=True)
class Implied(Generic[Value]):
    """Nothing is sent for this parameter: the value is known, such as the only channel there is."""

    value: Value
    kinds = frozenset[Kind]()

    def read(self, element: Element) -> Value:
        """Refuse: an implied parameter cannot be written."""
        raise ScpiError(-108, element.text[:40])


@dataclass
class Selected:
    """Nothing is sent for this parameter: it is the channel that was selected last, by whomever."""

    channel: int = 1
    kinds = frozenset[Kind]()

    def read(self, element: Element) -> tuple[int, ...]:
        """Refuse: the selection cannot be written here."""
        raise ScpiError(-108, element.text[:40])


@dataclass(frozen=True)
class HeaderSuffix:
    """Nothing is sent for this parameter: it is the number in the header."""

    kinds = frozenset[Kind]()

    def read(self, element: Element) -> tuple[int, ...]:
        """Refuse: the number belongs into the header."""
        raise ScpiError(-108, element.text[:40])
