"""What commands take: numbers with limits and units, switches, choices, strings, channel lists.

A parameter turns one data element into a value, or refuses it with the SCPI error that fits best.
"""

import math
import re
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

from simulated.instruments.errors import ScpiError
from simulated.instruments.grammar import Element, Kind

__all__ = [
    "Boolean",
    "ChannelList",
    "Choice",
    "Integer",
    "Limit",
    "Numeric",
    "OrDefault",
    "Parameter",
    "Text",
    "WhenGiven",
    "is_word",
]

Value = TypeVar("Value")
Value_co = TypeVar("Value_co", covariant=True)

# IEEE 488.2 7.7.3
_MULTIPLIERS = {
    "EX": 1e18, "PE": 1e15, "T": 1e12, "G": 1e9, "MA": 1e6, "K": 1e3, "": 1.0,
    "M": 1e-3, "U": 1e-6, "N": 1e-9, "P": 1e-12, "F": 1e-15, "A": 1e-18,
}  # fmt: skip
_CHANNELS = re.compile(r"[0-9]{1,6}(?::[0-9]{1,6})?")


class Parameter(Protocol[Value_co]):
    """One thing a command takes."""

    @property
    def kinds(self) -> frozenset[Kind]:
        """The forms of data it can be written in."""

    def read(self, element: Element) -> Value_co:
        """Return the value, or raise ScpiError."""


def is_word(sent: str, pattern: str) -> bool:
    """Tell whether upper-case `sent` is exactly the short or the long form of a pattern such as 'IMMediate'."""
    return sent in (_short(pattern), pattern.upper())


def _short(pattern: str) -> str:
    return "".join(c for c in pattern if not c.islower())


def _plain_number(element: Element) -> float:
    if element.suffix:
        raise ScpiError(-138, element.text)
    return element.number


def _round_half_up(value: float) -> float:
    return math.floor(value + 0.5) if abs(value) < 2**52 else value


@dataclass(frozen=True)
class Numeric:
    """A `<numeric_value>` in SI units: range, rounding step, and what DEFault stands for (None: not known)."""

    minimum: float
    maximum: float
    default: float | None
    resolution: float
    unit: str = ""
    kinds = frozenset({Kind.NUMBER, Kind.CHARACTER})

    def read(self, element: Element) -> float:
        """Return the value rounded to the resolution; the range is checked after rounding (S2 21.8.10)."""
        if element.kind is Kind.CHARACTER:
            return self.limit(element.text)
        value = self.rounded(element.number * self._factor(element))
        if not self.minimum <= value <= self.maximum:
            raise ScpiError(-222, f"{element.text}, allowed {self.minimum:g} to {self.maximum:g} {self.unit}".strip())
        return value

    def limit(self, word: str) -> float:
        """Return what MINimum, MAXimum or DEFault stands for; ScpiError -141 for another word."""
        if is_word(word, "MINimum"):
            return self.minimum
        if is_word(word, "MAXimum"):
            return self.maximum
        if self.default is not None and is_word(word, "DEFault"):
            return self.default
        raise ScpiError(-141, word)

    def rounded(self, value: float) -> float:
        """Return a value on the instrument's own steps."""
        # The second rounding takes away the dust of the multiplication: 5.0 and not 5.000000000000001.
        steps = _round_half_up(value / self.resolution) if math.isfinite(value) else value
        return round(steps * self.resolution, 12)

    def _factor(self, element: Element) -> float:
        if not element.suffix:
            return 1.0
        if not self.unit:
            raise ScpiError(-138, element.text)
        # The unit goes first: MA is milliampere for a current, although MA alone is mega.
        multiplier = element.suffix.removesuffix(self.unit)
        if multiplier == element.suffix or multiplier not in _MULTIPLIERS:
            raise ScpiError(-131, element.text)
        if multiplier == "M" and self.unit in ("OHM", "HZ"):
            return 1e6  # 7.7.3: MOHM and MHZ are mega
        return _MULTIPLIERS[multiplier]


@dataclass(frozen=True)
class Limit:
    """The word in `VOLT? MAX`: yields the limit of the numeric parameter it belongs to."""

    of: Numeric
    kinds = frozenset({Kind.CHARACTER})

    def read(self, element: Element) -> float:
        """Return the limit, or raise ScpiError -141."""
        return self.of.limit(element.text)


@dataclass(frozen=True)
class Integer:
    """A plain number without unit, rounded to an integer within both limits."""

    minimum: int
    maximum: int
    kinds = frozenset({Kind.NUMBER})

    def read(self, element: Element) -> int:
        """Return the integer, or raise ScpiError -222 or -138."""
        value = _round_half_up(_plain_number(element))
        if not self.minimum <= value <= self.maximum:
            raise ScpiError(-222, f"{element.text}, allowed {self.minimum} to {self.maximum}")
        return int(value)


@dataclass(frozen=True)
class Boolean:
    """ON, OFF or a number, which is rounded: not zero is true (S1 7.3)."""

    kinds = frozenset({Kind.NUMBER, Kind.CHARACTER})

    def read(self, element: Element) -> bool:
        """Return the switch position, or raise ScpiError -141."""
        if element.kind is Kind.NUMBER:
            return _round_half_up(_plain_number(element)) != 0
        if element.text not in ("ON", "OFF"):
            raise ScpiError(-141, element.text)
        return element.text == "ON"


@dataclass(frozen=True)
class Choice:
    """Character data from a closed set, given as patterns; yields the upper-case short form."""

    words: tuple[str, ...]
    kinds = frozenset({Kind.CHARACTER})

    def read(self, element: Element) -> str:
        """Return the short form, or raise ScpiError -141."""
        for word in self.words:
            if is_word(element.text, word):
                return _short(word)
        raise ScpiError(-141, f"{element.text}, allowed {'|'.join(self.words)}")


@dataclass(frozen=True)
class Text:
    """A quoted string."""

    kinds = frozenset({Kind.STRING})

    def read(self, element: Element) -> str:
        """Return the text without its quotes."""
        return element.text


@dataclass(frozen=True)
class ChannelList:
    """A list such as `(@1,3:5)` of channels from `first` to `last`, in the order written."""

    first: int
    last: int
    kinds = frozenset({Kind.EXPRESSION})

    def read(self, element: Element) -> tuple[int, ...]:
        """Return the channels; ScpiError -171 for a malformed list, -222 for a channel that is not there."""
        inner = re.sub(r"[\x00-\x20]", "", element.text[1:-1])
        if not inner.startswith("@"):
            raise ScpiError(-171, element.text[:40])
        channels: list[int] = []
        for item in inner[1:].split(","):
            if _CHANNELS.fullmatch(item) is None:
                raise ScpiError(-171, element.text[:40])
            start, _, stop = item.partition(":")
            channels += self._span(int(start), int(stop or start), element.text)
        return tuple(channels)

    def _span(self, start: int, stop: int, written: str) -> range:
        if not (self.first <= min(start, stop) and max(start, stop) <= self.last):
            raise ScpiError(-222, f"{written[:40]}, channels are {self.first} to {self.last}")
        step = 1 if stop >= start else -1
        return range(start, stop + step, step)


@dataclass(frozen=True)
class WhenGiven(Generic[Value]):
    """A parameter that may be left out; None then."""

    inner: Parameter[Value]

    @property
    def kinds(self) -> frozenset[Kind]:
        """The forms of the parameter inside."""
        return self.inner.kinds

    def read(self, element: Element) -> Value | None:
        """Return the value of the parameter inside."""
        return self.inner.read(element)


@dataclass(frozen=True)
class OrDefault(Generic[Value]):
    """A parameter for which DEFault leaves the choice to the instrument; None then."""

    inner: Parameter[Value]

    @property
    def kinds(self) -> frozenset[Kind]:
        """The forms of the parameter inside."""
        return self.inner.kinds

    def read(self, element: Element) -> Value | None:
        """Return the value of the parameter inside, None for DEFault."""
        if element.kind is Kind.CHARACTER and is_word(element.text, "DEFault"):
            return None
        return self.inner.read(element)
