"""Read and write physical values and limits the way a practitioner writes them.

Inside the station every value is in SI base units; prefixes and percent exist only in text. Limits are kept
as decimals, so that 15 V ± 2.5 % ends at 15.375 V exactly and a reading on the limit is on the limit.
"""

import difflib
import math
import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import cached_property

__all__ = ["Limit", "LimitError", "format_value", "parse_value", "percent", "same_within_dust", "unit_name"]

_PREFIXES = {"p": -12, "n": -9, "u": -6, "m": -3, "": 0, "k": 3, "M": 6, "G": 9}
_BASES = {"V": "V", "A": "A", "ohm": "ohm", "W": "W", "Hz": "Hz", "F": "F"}
_SECONDS = {"s": "1", "ms": "0.001", "us": "0.000001", "min": "60", "h": "3600"}
_RATIOS = {"%": "0.01", "ppm": "0.000001"}

_UNITS: dict[str, tuple[str, Decimal]] = {
    **{p + b: (unit, Decimal(1).scaleb(power)) for p, power in _PREFIXES.items() for b, unit in _BASES.items()},
    **{text: ("s", Decimal(factor)) for text, factor in _SECONDS.items()},
    **{text: ("1", Decimal(factor)) for text, factor in _RATIOS.items()},
    "%/V": ("1/V", Decimal("0.01")),
    "K/W": ("K/W", Decimal(1)),
    "dB": ("dB", Decimal(1)),
}
_SHOWN = {"ohm": "Ω", "1": "%", "1/V": "%/V"}  # how a base unit is written for people
_SPELLINGS = str.maketrans({"µ": "u", "μ": "u", "−": "-", "–": "-", "\u00a0": " ", "\u202f": " "})
_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_VALUE = re.compile(rf"\s*({_NUMBER})\s*(\S.*?)?\s*")
_COMMA = re.compile(r"[+-]?\d*,\d")
_ASYMMETRIC = re.compile(rf"(.+?)\s*\+\s*({_NUMBER}[^+-]*?)\s*-\s*({_NUMBER}.*)")


class LimitError(ValueError):
    """A value or limit is written in a way that can't be read; the text says what to write."""


def _plain(text: str) -> str:
    """Return the ASCII spelling: Ω and ohm, µ and u, − and -, ± and +- are equal."""
    spelt = re.sub(r"[Ω\u2126]|(?<=[pnumkMG\s\d])[Oo]hms?\b", "ohm", text.translate(_SPELLINGS))
    return spelt.replace("±", "+-").replace("+/-", "+-").strip()


def unit_name(unit: str) -> str:
    """Return how people write a base unit: 'ohm' is Ω, '1' is %."""
    return _SHOWN.get(unit, unit)


def parse_value(text: object, unit: str) -> Decimal:
    """Return a value such as '16.5 mA' in the base unit `unit`; LimitError says what to write instead."""
    return _parse(_plain(_text_of(text, unit)), unit)


def _text_of(text: object, unit: str) -> str:
    if isinstance(text, bool) or not isinstance(text, str):
        raise LimitError(f"'{text}' has no unit; write it as text with one, such as '{text} {unit_name(unit)}'")
    return text


def _parse(text: str, unit: str) -> Decimal:
    text = text.strip()
    match = _VALUE.fullmatch(text)
    if match is None or _COMMA.match(text):
        hint = "a decimal point, no comma" if "," in text else f"a number and a unit, such as '10 {unit_name(unit)}'"
        raise LimitError(f"'{text}' is not a value; write {hint}")
    number, written = match.groups()
    if written is None:
        raise LimitError(f"'{text}' has no unit; write for example '{text} {unit_name(unit)}'")
    kind, factor = _unit_of(written, unit)
    if kind != unit:
        raise LimitError(f"'{text}' is in {unit_name(kind)}; write a value in {unit_name(unit)}")
    return _decimal(number) * factor


def _unit_of(written: str, unit: str) -> tuple[str, Decimal]:
    if written in _UNITS:
        return _UNITS[written]
    wanted = [text for text, (kind, _) in _UNITS.items() if kind == unit]
    same_letters = [text for text in wanted if text.casefold() == written.casefold()]
    near = same_letters or difflib.get_close_matches(written, wanted, n=1, cutoff=0.5) or [unit_name(unit)]
    raise LimitError(f"'{written}' is not a unit known here; write {near[0].replace('ohm', 'Ω')}")


def _decimal(number: str) -> Decimal:
    try:
        value = Decimal(number)
    except InvalidOperation:
        raise LimitError(f"'{number}' is not a number; write digits with a decimal point") from None
    if not value.is_finite() or value.adjusted() > 15:  # not compared with 1e15: abs() of 1e9999999 overflows
        raise LimitError(f"'{number}' is not a usable number; write a finite one")
    return value


def format_value(value: Decimal | float, unit: str, *, digits: int | None = None, last_place: int | None = None) -> str:
    """Return a value for people, with an engineering prefix: 0.0165 A is '16.5 mA'.

    A decimal keeps all its digits (it can be parsed back); a float, or `digits`, is rounded to significant digits.
    With `last_place` it is rounded to that power of ten of the base unit, and its zeros are shown up to there.
    """
    if isinstance(value, float):
        value, digits = Decimal(repr(value)), digits or (None if last_place is not None else 6)
    if digits is not None and value:
        value = round(value, digits - 1 - value.adjusted())
    if last_place is not None:
        value = round(value, -last_place)
    prefix, scaled = _scaled(value, unit)
    shown = _digits(scaled) if last_place is None else f"{scaled:f}"
    return f"{shown} {prefix}{unit_name(unit)}"


def _digits(value: Decimal) -> str:
    """Return all digits of a decimal without exponent and without idle zeros."""
    plain = f"{value:f}"
    return plain.rstrip("0").rstrip(".") if "." in plain else plain


def _scaled(value: Decimal, unit: str) -> tuple[str, Decimal]:
    if unit in ("1", "1/V"):
        return "", value.scaleb(2)
    if unit == "dB" or (unit == "s" and abs(value) >= 1):
        return "", value
    allowed = {"p": -12, "n": -9, "µ": -6, "m": -3, "": 0, "k": 3, "M": 6, "G": 9}
    if unit == "s":
        allowed = {"µ": -6, "m": -3, "": 0}
    fitting = [p for p, power in allowed.items() if value and abs(value) >= Decimal(1).scaleb(power)]
    prefix = fitting[-1] if fitting else ("" if not value else next(iter(allowed)))
    return prefix, value.scaleb(-allowed[prefix])


def same_within_dust(a: float, b: float) -> bool:
    """Tell whether two floats differ by rounding dust only (parts in 1e12), as 3.3 * 1.01 and 3.333 do."""
    return abs(a - b) <= 1e-12 * max(abs(a), abs(b)) < math.inf


@dataclass(frozen=True)
class Limit:
    """What a value may be, in the base unit `unit`; an open side is None. Both sides belong to it.

    `nominal` and `relative` remember how it was written, so that a certificate shows the author's own words.
    """

    low: Decimal | None
    high: Decimal | None
    unit: str
    nominal: Decimal | None = None
    relative: bool = False

    def __post_init__(self) -> None:
        sides = [side for side in (self.low, self.high) if side is not None]
        if not sides:
            raise LimitError("a limit needs a side; write 'at most ...' or 'at least ...'")
        if not all(side.is_finite() for side in sides):
            raise LimitError("a limit is not a finite number; write digits with a decimal point")
        if len(sides) == 2 and sides[0] > sides[1]:
            raise LimitError(
                f"the lower side {format_value(sides[0], self.unit)} is above the upper side "
                f"{format_value(sides[1], self.unit)}; write the smaller one first"
            )

    @classmethod
    def parse(cls, text: object, unit: str) -> "Limit":
        """Read '15 V ± 2.5 %', '27 mA +3 mA -2 mA', '16.5 mA .. 20.5 mA', 'at most 2 mV' or 'at least 1 kΩ'."""
        plain = _plain(_text_of(text, unit))
        for words, build in (("at most", cls.at_most), ("at least", cls.at_least)):
            if plain.startswith(words):
                return build(_parse(plain.removeprefix(words), unit), unit)
        if ".." in plain:
            low, _, high = plain.partition("..")
            return cls(_parse(low, unit), _parse(high, unit), unit)
        if "+-" in plain:
            nominal, _, spread = plain.partition("+-")
            return cls._around(nominal, spread, spread, unit)
        if match := _ASYMMETRIC.fullmatch(plain):
            nominal, plus, minus = match.groups()
            return cls._around(nominal, plus, minus, unit)
        raise LimitError(
            f"'{text}' is not a limit; write '15 V ± 1 %', '16 mA .. 20 mA', 'at most 2 mV' or 'at least 1 kΩ'"
        )

    @classmethod
    def at_most(cls, high: Decimal, unit: str) -> "Limit":
        """Return the limit with an upper side only."""
        return cls(None, high, unit)

    @classmethod
    def at_least(cls, low: Decimal, unit: str) -> "Limit":
        """Return the limit with a lower side only."""
        return cls(low, None, unit)

    @classmethod
    def _around(cls, nominal_text: str, plus_text: str, minus_text: str, unit: str) -> "Limit":
        nominal = _parse(nominal_text, unit)
        relative = {side.strip().endswith("%") for side in (plus_text, minus_text)} == {True} and unit != "1"
        plus, minus = (
            _parse(side, "1") * abs(nominal) if relative else _parse(side, unit) for side in (plus_text, minus_text)
        )
        if relative and not nominal:
            raise LimitError(
                f"a share of {format_value(nominal, unit)} is nothing; write the tolerance in {unit_name(unit)}"
            )
        if plus < 0 or minus < 0:
            raise LimitError(f"a tolerance of '{nominal_text.strip()}' is negative; write it without its sign")
        return cls(nominal - minus, nominal + plus, unit, nominal, relative)

    def __str__(self) -> str:
        if self.low is None or self.high is None:
            words, side = ("at most", self.high) if self.low is None else ("at least", self.low)
            assert side is not None
            return f"{words} {format_value(side, self.unit)}"
        if self.nominal is None:
            return f"{format_value(self.low, self.unit)} .. {format_value(self.high, self.unit)}"
        plus, minus = self._written(self.high - self.nominal), self._written(self.nominal - self.low)
        nominal = format_value(self.nominal, self.unit)
        return f"{nominal} ± {plus}" if plus == minus else f"{nominal} +{plus} −{minus}"

    def _written(self, spread: Decimal) -> str:
        if self.relative and self.nominal:
            return format_value(spread / abs(self.nominal), "1")
        return format_value(spread, self.unit)

    def room(self, value: float) -> float:
        """Return how far inside the limit a value lies, in the base unit: negative outside, 0 on it."""
        low, high = self.edges
        above = 0.0 if same_within_dust(value, low) else value - low
        below = 0.0 if same_within_dust(value, high) else high - value
        return min(above, below)

    @cached_property
    def edges(self) -> tuple[float, float]:
        """Lower and upper side, an open one being infinitely far away."""
        return (
            -math.inf if self.low is None else float(self.low),
            math.inf if self.high is None else float(self.high),
        )


def percent(text: object) -> float:
    """Return a ratio such as '2 %' as a fraction."""
    return float(parse_value(text, "1"))
