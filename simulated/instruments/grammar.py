"""Take a program message apart into message units, headers and data elements, as IEEE 488.2 chapter 7 has it.

Pure text in, facts out; nothing here knows any command. A generator yields one unit after the other, so that
the units before a faulty one are done; the fault ends the message, as nothing tells where a next unit starts.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import Enum

from simulated.instruments.errors import ScpiError

__all__ = ["Element", "Kind", "Unit", "units_of"]

_LONGEST_WORD = 12  # 7.6.1.4.1 and 7.7.1
_MOST_DIGITS = 255  # 7.7.2.4.1
_LARGEST_EXPONENT = 32000  # 7.7.2.4.1
_MOST_BITS = 64  # ours: registers have 16

# White space is every code up to 32 except LF, which never gets here: it ends the message (7.4.1.2).
_SPACE = re.compile(r"[\x00-\x09\x0b-\x20]*")
_HEADER = re.compile(r"(?:\*[A-Za-z]+|:?[A-Za-z][A-Za-z0-9_]*(?::[A-Za-z][A-Za-z0-9_]*)*)\??")
_NUMBER = re.compile(
    r"(?P<mantissa>[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))"
    r"(?:[\x00-\x09\x0b-\x20]*[Ee][\x00-\x09\x0b-\x20]*(?P<exponent>[+-]?[0-9]+))?"
    r"(?:[\x00-\x09\x0b-\x20]*(?P<suffix>[A-Za-z/][A-Za-z0-9/.-]*))?"
)
_NON_DECIMAL = re.compile(r"#(?:[Hh]([0-9A-Fa-f]+)|[Qq]([0-7]+)|[Bb]([01]+))")
_CHARACTER = re.compile(r"[A-Za-z][A-Za-z0-9_]*")
_STRINGS = {'"': re.compile(r'"((?:[^"]|"")*)"'), "'": re.compile(r"'((?:[^']|'')*)'")}


class Kind(Enum):
    """What a data element is, by its form."""

    NUMBER = "number"
    CHARACTER = "character data"
    STRING = "string"
    BLOCK = "block"
    EXPRESSION = "expression"


@dataclass(frozen=True)
class Element:
    """One data element: `number` and `suffix` (upper case) of a number, `text` of everything else."""

    kind: Kind
    text: str
    number: float = 0.0
    suffix: str = ""


@dataclass(frozen=True)
class Unit:
    """One message unit; mnemonics are in upper case as sent, digits included."""

    mnemonics: tuple[str, ...]
    from_root: bool
    query: bool
    elements: tuple[Element, ...]

    @property
    def is_common(self) -> bool:
        """True for a `*` command, which neither uses nor moves the header path."""
        return self.mnemonics[0].startswith("*")


def units_of(message: str) -> Iterator[Unit]:
    """Yield the units of a message without its terminator; ScpiError at the first that breaks the grammar."""
    at = _skip_space(message, 0)
    while at < len(message):
        if message[at] == ";":  # an empty unit is legal (7.3)
            at = _skip_space(message, at + 1)
            continue
        header, at = _read_header(message, at)
        elements, at = _read_elements(message, at)
        words = header.rstrip("?").upper()
        yield Unit(tuple(words.lstrip(":").split(":")), words.startswith(":"), header.endswith("?"), elements)


def _skip_space(text: str, at: int) -> int:
    match = _SPACE.match(text, at)
    assert match is not None  # the pattern matches the empty string
    return match.end()


def _ends_unit(text: str, at: int) -> bool:
    return at >= len(text) or text[at] == ";"


def _read_header(text: str, at: int) -> tuple[str, int]:
    match = _HEADER.match(text, at)
    if match is None:
        raise ScpiError(-102 if text[at] in "*:0123456789" else -101, text[at : at + 20])
    header, end = match.group(), match.end()
    if not _ends_unit(text, end) and _skip_space(text, end) == end:
        raise ScpiError(_code_after_header(header, text[end]), text[at : end + 1])
    if any(len(word) > _LONGEST_WORD for word in header.strip(":?").split(":")):
        raise ScpiError(-112, header)
    return header, end


def _code_after_header(header: str, found: str) -> int:
    if header.endswith("?") or found in "\"'(#,":
        return -111
    return -102 if found in ":*" else -101


def _read_elements(text: str, at: int) -> tuple[tuple[Element, ...], int]:
    elements: list[Element] = []
    at = _skip_space(text, at)
    while not _ends_unit(text, at):
        element, end = _reader_for(text[at])(text, at)
        elements.append(element)
        at = _skip_space(text, end)
        if _ends_unit(text, at):
            break
        if text[at] != ",":
            raise ScpiError(-121 if element.kind is Kind.NUMBER and text[at] in ".+-" else -103, text[:at][-20:])
        at = _skip_space(text, at + 1)
        if _ends_unit(text, at):
            raise ScpiError(-102, "nothing after the last comma")
    return tuple(elements), at


def _reader_for(first: str) -> Callable[[str, int], tuple[Element, int]]:
    if first in "+-.0123456789":
        return _read_number
    if first == "#":
        return _read_hash
    if first == "(":
        return _read_expression
    if first in _STRINGS:
        return _read_string
    return _read_character


def _read_number(text: str, at: int) -> tuple[Element, int]:
    match = _NUMBER.match(text, at)
    if match is None:
        raise ScpiError(-121, text[at : at + 20])
    mantissa, exponent, suffix = match["mantissa"], match["exponent"] or "0", match["suffix"] or ""
    if len(mantissa) > _MOST_DIGITS:
        raise ScpiError(-124)
    power = exponent.lstrip("+-").lstrip("0") or "0"
    if len(power) > 5 or int(power) > _LARGEST_EXPONENT:  # length first: int() refuses thousands of digits
        raise ScpiError(-123, exponent[:20])
    if len(suffix) > _LONGEST_WORD:
        raise ScpiError(-134, suffix)
    return Element(Kind.NUMBER, match.group(), float(f"{mantissa}E{exponent}"), suffix.upper()), match.end()


def _read_hash(text: str, at: int) -> tuple[Element, int]:
    match = _NON_DECIMAL.match(text, at)
    if match is None:
        return _read_block(text, at)
    for digits, base in zip(match.groups(), (16, 8, 2), strict=True):
        if digits is not None:
            value = int(digits, base)
            if value.bit_length() > _MOST_BITS:
                raise ScpiError(-124)
            return Element(Kind.NUMBER, match.group(), float(value)), match.end()
    raise ScpiError(-121, match.group())


def _read_block(text: str, at: int) -> tuple[Element, int]:
    size = text[at + 1 : at + 2]
    if size == "0":  # an indefinite block runs to the end of the message
        return Element(Kind.BLOCK, text[at + 2 :]), len(text)
    head = re.compile(rf"#{size}([0-9]{{{size}}})").match(text, at) if size.isascii() and size.isdigit() else None
    if head is None or head.end() + int(head[1]) > len(text):
        raise ScpiError(-161, text[at : at + 20])
    end = head.end() + int(head[1])
    return Element(Kind.BLOCK, text[head.end() : end]), end


def _read_expression(text: str, at: int) -> tuple[Element, int]:
    depth = 0
    for end in range(at, len(text)):
        depth += {"(": 1, ")": -1}.get(text[end], 0)
        if depth == 0:
            return Element(Kind.EXPRESSION, text[at : end + 1]), end + 1
    raise ScpiError(-171, text[at : at + 20])


def _read_string(text: str, at: int) -> tuple[Element, int]:
    quote = text[at]
    match = _STRINGS[quote].match(text, at)
    if match is None:
        raise ScpiError(-151, text[at : at + 20])
    return Element(Kind.STRING, match[1].replace(quote * 2, quote)), match.end()


def _read_character(text: str, at: int) -> tuple[Element, int]:
    match = _CHARACTER.match(text, at)
    if match is None:
        raise ScpiError(-102 if "!" <= text[at] <= "~" else -101, text[at : at + 20])
    if len(match.group()) > _LONGEST_WORD:
        raise ScpiError(-144, match.group())
    return Element(Kind.CHARACTER, match.group().upper()), match.end()
