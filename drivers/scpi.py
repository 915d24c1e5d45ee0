"""Read what an instrument answers and write the numbers it is sent, as pure text without any wire.

Talks exactly and listens forgivingly: white space, CR and NUL around a reply, a sign before `0,"No error"`, a unit
behind a number and ON for 1 are all met in the trade. What would have to be guessed, a decimal comma above all, is
refused with `Unreadable`; whoever knows the instrument and the command adds them.
"""

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum

from drivers.errors import QueuedError

__all__ = [
    "Identity",
    "Special",
    "Unreadable",
    "channel_list",
    "format_number",
    "parse_boolean",
    "parse_error",
    "parse_identity",
    "parse_number",
    "parse_reading",
    "parse_register",
    "split_reply",
    "tidy",
    "value_at",
]

_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-zΩ%]*)")
_ERROR = re.compile(r'([+-]?\d+)\s*(?:,\s*(?:"(.*)"|(.*)))?', re.DOTALL)
_HEXADECIMAL = re.compile(r"(?:0[xX]|#[hH])([0-9A-Fa-f]{1,8})")
_BOOLEANS = {"1": True, "ON": True, "TRUE": True, "0": False, "OFF": False, "FALSE": False}
_MULTIPLIERS = {"M": 1e-3, "U": 1e-6, "K": 1e3}  # "5.0 mV": the unit is stripped first, then the rest is read
# SCPI-1999 Vol. 1, 7.2.1.4 and 7.2.1.5. Anything from here up is no reading, whatever its exact digits.
_NO_READING_FROM = 9.8e37
_NOT_A_NUMBER = 9.91e37
_LONGEST_QUOTE = 60


class Unreadable(ValueError):
    """A reply is not of the form that was asked for."""


class Special(Enum):
    """What an instrument answers in place of a number."""

    OVERLOAD = "overload"
    NEGATIVE_OVERLOAD = "negative overload"
    NOT_A_NUMBER = "not a number"


@dataclass(frozen=True)
class Identity:
    """The four fields of `*IDN?`."""

    maker: str
    model: str
    serial: str
    firmware: str

    @property
    def fields(self) -> str:
        """The four fields as the instrument sends them, or all of what it says without any."""
        if not (self.maker or self.serial):
            return self.model
        return f"{self.maker},{self.model},{self.serial},{self.firmware}"

    def __str__(self) -> str:
        if not (self.maker or self.serial):
            return self.model
        return f"{self.maker} {self.model}, serial {self.serial}, firmware {self.firmware}"


def tidy(raw: bytes) -> str:
    """Return a reply's text without terminators, white space and NULs around it.

    Raises Unreadable if it is empty or holds anything that is not printable (bytes are read as Latin-1).
    """
    text = raw.decode("latin-1").strip(" \t\r\n\0")
    if not text:
        raise Unreadable("the reply is empty")
    if not text.replace("\t", " ").isprintable():
        raise Unreadable(f"the reply {_quote(text)} holds bytes that are no text")
    return text


def split_reply(text: str) -> tuple[str, ...]:
    """Return the answers in one reply line: units are joined by `;`, data inside a unit by `,`."""
    return tuple(part.strip() for part in re.split(r"[;,]", text))


def value_at(text: str, place: int) -> str:
    """Return one of several values in a reply, from 1: `14.99V, 0.02A`, `14.99;0.02`, `14.99V 00.02A CC`."""
    parts = split_reply(text) if re.search(r"[;,]", text) else tuple(text.split())
    if len(parts) < place:
        raise Unreadable(f"{_quote(text)} holds {len(parts)} values, and the one at place {place} was asked for")
    return parts[place - 1]


def parse_reading(text: str, unit: str = "") -> float | Special:
    """Return the number a reply begins with, in base units, or what was answered in place of one.

    A unit behind the number is allowed and, if there, must be `unit`, with or without m, u or k before it. Further
    words after that ("14.99V 00.02A CC") belong to other questions and are left alone.
    """
    stripped = text.strip()
    if stripped.upper().lstrip("+-") == "NAN":
        return Special.NOT_A_NUMBER
    found = _NUMBER.match(stripped)
    if found is None:
        raise Unreadable(f"{_quote(text)} is not a number")
    rest = stripped[found.end() :]
    if rest and not rest[0].isspace():
        # "4,98" may be 4.98 or two values: refused, never guessed.
        raise Unreadable(f"{_quote(text)} goes on with '{rest[0]}' where the number ends")
    value = float(found[1]) * _multiplier(found[2], unit, text)
    return _special(value) or value


def _multiplier(suffix: str, unit: str, text: str) -> float:
    """Return what a number's suffix multiplies it with, after checking its unit letter."""
    if not suffix:
        return 1.0
    upper, wanted = suffix.upper(), unit.upper()
    prefix = upper.removesuffix(wanted) if wanted else upper
    if not wanted or not upper.endswith(wanted) or (prefix and prefix not in _MULTIPLIERS):
        raise Unreadable(f"{_quote(text)} has the unit '{suffix}' where {unit or 'none'} belongs")
    return _MULTIPLIERS[prefix] if prefix else 1.0


def _special(value: float) -> Special | None:
    if math.isnan(value) or math.isclose(abs(value), _NOT_A_NUMBER, rel_tol=1e-4):
        return Special.NOT_A_NUMBER
    if abs(value) >= _NO_READING_FROM:
        return Special.OVERLOAD if value > 0 else Special.NEGATIVE_OVERLOAD
    return None


def parse_number(text: str, unit: str = "") -> float:
    """Return the number a reply begins with; overload and 'not a number' are Unreadable here."""
    value = parse_reading(text, unit)
    if isinstance(value, Special):
        raise Unreadable(f"{_quote(text)} means {value.value}, not a value")
    return value


def parse_register(text: str) -> int:
    """Return a status register as its bits, 0 to 65535; also read as `0x1F` or `#H1F`."""
    hexadecimal = _HEXADECIMAL.fullmatch(text.strip())
    value = float(int(hexadecimal[1], 16)) if hexadecimal else parse_number(text)
    if not value.is_integer() or not 0 <= value <= 0xFFFF:
        raise Unreadable(f"{_quote(text)} is not a register of 16 bits")
    return int(value)


def parse_boolean(text: str) -> bool:
    """Return True for 1, ON or TRUE and False for 0, OFF or FALSE, in any case."""
    word = text.strip().upper()
    if word in _BOOLEANS:
        return _BOOLEANS[word]
    try:
        value = parse_number(word)
    except Unreadable:
        raise Unreadable(f"{_quote(text)} is neither 1/ON nor 0/OFF") from None
    if value not in (0.0, 1.0):
        raise Unreadable(f"{_quote(text)} is neither 1/ON nor 0/OFF")
    return value == 1.0


def parse_error(text: str) -> QueuedError | None:
    """Return one entry of an error queue, or None for 'no error'.

    Only the integer before the first comma decides (S2 21.8.2); the text is kept as the instrument worded it.
    """
    found = _ERROR.fullmatch(text.strip())
    if found is None:
        raise Unreadable(f"{_quote(text)} is not an error queue entry like '-113,\"Undefined header\"'")
    number = int(found[1])
    words = found[2] if found[2] is not None else (found[3] or "").strip()
    return QueuedError(number, words.replace('""', '"')) if number else None


def parse_identity(text: str, *, in_fields: bool = True) -> Identity:
    """Return the four fields of `*IDN?`; more or fewer than four are Unreadable.

    Not `in_fields`, the whole is taken for the model, as plain supplies answer it.
    """
    if not in_fields:
        return Identity("", text.strip(), "", "")
    fields = tuple(field.strip().strip('"') for field in text.split(","))
    if len(fields) != 4:
        raise Unreadable(f"{_quote(text)} has {len(fields)} fields where an identity has four")
    return Identity(*fields)


def format_number(value: float, decimals: int | None = None) -> str:
    """Return a number as plain base-unit digits: no exponent, no unit, no more than nine decimals.

    With `decimals` it has exactly so many. Raises ValueError for what is not finite: no instrument may ever be sent
    `nan`.
    """
    if not math.isfinite(value):
        raise ValueError(f"an instrument was to be sent {value}; write a finite number")
    text = format(round(Decimal(repr(float(value))), 9 if decimals is None else decimals), "f")
    if decimals is None:
        text = text.rstrip("0").rstrip(".") if "." in text else text
    return text.removeprefix("-") if not float(text) else text


def channel_list(*channels: int) -> str:
    """Return a SCPI channel list such as `(@1,2)`."""
    if not channels or any(channel < 1 for channel in channels):
        raise ValueError(f"a channel list holds {channels}; write channel numbers of one or more")
    return f"(@{','.join(str(channel) for channel in channels)})"


def _quote(text: str) -> str:
    """Return a reply as a message shows it: escaped, and cut where it gets long."""
    shown = text if len(text) <= _LONGEST_QUOTE else f"{text[:_LONGEST_QUOTE]}..."
    return repr(shown)
