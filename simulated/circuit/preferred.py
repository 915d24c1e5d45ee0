"""Say what a builder fits instead of the right value: the next preferred value, another decade, a misread band.

The E24 series is IEC 60063's. Which colours are taken for one another is common practice: black for brown, brown
for red, red for orange, orange for yellow, green for blue, blue for violet, violet for grey, grey for white.
"""

import math
from itertools import pairwise

from .expressions import ExpressionError, parse_number

__all__ = ["E24", "misreads", "neighbour", "wrong_value"]

E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
_COLOURS = ("black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white")
# Yellow is not taken for green, nor green for yellow.
_ALIKE = {frozenset(pair) for pair in pairwise(_COLOURS)} - {frozenset(("yellow", "green"))}
_FORMS = "a value (47k), x10, /10, neighbour+, neighbour-, +20%, -20% or band3=orange"


def wrong_value(text: str, value: float) -> float:
    """Return what is fitted instead of `value`, a positive number; ExpressionError says what can be written.

    `text` is a value of its own, a decade (`x10`, `/10`), the next of E24 (`neighbour+`, `neighbour-`), a drift
    (`+20%`), or the colour that a band was taken for (`band3=orange`).
    """
    word = text.strip().lower()
    if word in ("neighbour+", "neighbour-"):
        return neighbour(value, 1 if word.endswith("+") else -1)
    if word.startswith("band"):
        return _misread(word, value)
    if word[:1] in ("x", "/"):
        factor = _number(word[1:], text)
        return _positive(value * factor if word[0] == "x" else value / factor, text)
    if word.endswith("%"):
        return _positive(value * (1.0 + _number(word[:-1], text) / 100.0), text)
    return _positive(_number(word, text), text)


def _number(word: str, text: str) -> float:
    try:
        number = parse_number(word)
    except ExpressionError:
        raise ExpressionError(f"'{text}' is not a number or another wrong value; write {_FORMS}") from None
    if number == 0.0:
        raise ExpressionError(f"'{text}' has a zero where none can be; write {_FORMS}")
    return number


def _positive(value: float, text: str) -> float:
    if not 0.0 < value < math.inf:
        raise ExpressionError(f"'{text}' makes the value {value:g}; write a positive one")
    return value


def neighbour(value: float, steps: int) -> float:
    """Return the E24 value `steps` above (or below) a positive value; of one between two, the nearer end counts."""
    decade = math.floor(math.log10(value) + 1e-9) - 1
    places = [place for place, digits in enumerate(E24) if math.isclose(digits * 10.0**decade, value, rel_tol=1e-6)]
    if places:
        place = places[0] + steps
    else:
        above = sum(digits * 10.0**decade < value for digits in E24)
        place = above + steps - 1 if steps > 0 else above + steps
    return _written(E24[place % len(E24)], decade + place // len(E24))


def misreads(value: float) -> dict[str, float]:
    """Return the legal E24 values that one misread band of a four-band resistor gives, by `band3=orange`.

    Empty for a value that two digits do not write. A misread digit that gives no E24 value is left out: a builder
    finds no such part.
    """
    digits = _digits(value)
    if digits is None:
        return {}
    found = {}
    for band, digit in enumerate(digits, start=1):
        for colour in _taken_for(digit):
            bands = [*digits]
            bands[band - 1] = _COLOURS.index(colour)
            if bands[0] * 10 + bands[1] in E24:
                found[f"band{band}={colour}"] = _written(bands[0] * 10 + bands[1], bands[2])
    return found


def _misread(word: str, value: float) -> float:
    known = misreads(value)
    key = word.replace(" ", "")
    if key not in known:
        likely = ", ".join(known) or "47k"
        raise ExpressionError(f"'{word}' is no likely misreading of {value:g}; write one of {likely}")
    return known[key]


def _digits(value: float) -> tuple[int, int, int] | None:
    """Return first digit, second digit and multiplier of a four-band resistor, None where there is none."""
    power = math.floor(math.log10(value) + 1e-9) - 1
    both = round(value / 10.0**power)
    if not 0 <= power <= 9 or not math.isclose(both * 10.0**power, value, rel_tol=1e-6):
        return None
    return both // 10, both % 10, power


def _taken_for(digit: int) -> list[str]:
    return [colour for colour in _COLOURS if frozenset((colour, _COLOURS[digit])) in _ALIKE]


def _written(digits: int, power: int) -> float:
    # As a person writes it: 47 * 1e-1 would not be 4.7.
    return float(f"{digits}e{power}")
