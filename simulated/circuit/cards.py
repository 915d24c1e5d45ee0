"""Read one netlist card at a time: an element or a `.model`, with messages that say what to write."""

import math
import re
from collections.abc import Callable, Collection
from dataclasses import dataclass

from .errors import NetlistError
from .expressions import Binary, Call, Expression, ExpressionError, Number, parse_expression
from .lines import Line
from .netlist import Element, Model, Wave, node_name

__all__ = ["ELEMENT_KINDS", "assignments", "parse_element", "parse_model", "value_of"]

_TOKEN = re.compile(r"\{[^}]*\}|'[^']*'|\"[^\"]*\"|=|[^\s=(),{}'\"]+")
_ASSIGNED = re.compile(r"([A-Za-z_]\w*)\s*=\s*")
# What the trade writes for parts that are not simulated here; each refusal says so by name.
_REFUSED = {
    "M": "MOS transistors (M) are",
    "J": "junction field-effect transistors (J) are",
    "Z": "field-effect transistors (Z) are",
    "B": "behavioural sources (B) are",
    "S": "switches (S) are",
    "W": "switches (W) are",
    "T": "transmission lines (T) are",
    "O": "transmission lines (O) are",
    "U": "distributed lines (U) are",
    "A": "code models (A) are",
}
_MODEL_KINDS = ("R", "C", "L", "D", "NPN", "PNP")
_MODEL_ALIASES = {"RES": "R", "CAP": "C", "IND": "L"}
# DC value of a source that has only a time function: its value at time zero, argument by position.
_AT_TIME_ZERO = {"SIN": 0, "SINE": 0, "PULSE": 0, "EXP": 0, "SFFM": 0, "PWL": 1}
_WAVES = {"SIN": "SIN", "SINE": "SIN", "PULSE": "PULSE", "PWL": "PWL"}
_SINE_ARGUMENTS = 6  # the last one its phase
_FLAGS = {"off", "noisy"}


@dataclass(frozen=True)
class _Words:
    """A card's words: those that stand alone, and the `name=value` pairs behind them."""

    line: Line
    plain: tuple[str, ...]
    named: tuple[tuple[str, str], ...]

    def error(self, what: str) -> NetlistError:
        return NetlistError(self.line.place, f"{self.plain[0]}: {what}")

    def nodes(self, count: int, form: str) -> tuple[str, ...]:
        if len(self.plain) < count + 1:
            raise self.error(f"{len(self.plain) - 1} of {count} nodes are there; write '{form}'")
        return tuple(node_name(word) for word in self.plain[1 : count + 1])

    def expression(self, text: str) -> Expression:
        return value_of(text, self.line.place, self.plain[0])

    def options(self, *, without: Collection[str] = ()) -> tuple[tuple[str, Expression], ...]:
        # An instance's m is its number of copies; a diode model's m is its grading coefficient.
        kept = [("multiplier" if name == "m" else name, text) for name, text in self.named if name not in without]
        return tuple((name, self.expression(text)) for name, text in kept)


def value_of(text: str, place: str, owner: str) -> Expression:
    """Return the expression a card's word stands for; NetlistError names the card."""
    try:
        return parse_expression(text)
    except ExpressionError as error:
        raise NetlistError(place, f"{owner}: {error}") from None


def assignments(text: str, place: str, owner: str) -> dict[str, Expression]:
    """Return `name=expression` pairs as `.param` writes them, with or without braces."""
    found = list(_ASSIGNED.finditer(text))
    if not found or text[: found[0].start()].strip(" ,"):
        raise NetlistError(place, f"{owner}: '{text.strip()}' assigns nothing; write NAME=VALUE")
    ends = [match.start() for match in found[1:]] + [len(text)]
    values = {
        match.group(1).lower(): text[match.end() : end].strip(" ,") for match, end in zip(found, ends, strict=True)
    }
    return {name: value_of(value, place, f"{owner} {name}") for name, value in values.items()}


def _split(line: Line) -> _Words:
    text = line.text
    if text.count("{") != text.count("}"):
        raise NetlistError(line.place, f"'{text}' has braces that do not pair; write {{expression}}")
    tokens = _TOKEN.findall(text)
    plain: list[str] = []
    named: list[tuple[str, str]] = []
    at = 0
    while at < len(tokens):
        if at + 1 < len(tokens) and tokens[at + 1] == "=":
            if at + 2 >= len(tokens) or tokens[at + 2] == "=":
                raise NetlistError(line.place, f"{tokens[0]}: '{tokens[at]}=' has no value; write {tokens[at]}=VALUE")
            named.append((tokens[at].lower(), tokens[at + 2]))
            at += 3
            continue
        if tokens[at] == "=":
            raise NetlistError(line.place, f"{tokens[0]}: '=' has no name before it; write NAME=VALUE")
        plain.append(tokens[at])
        at += 1
    return _Words(line, tuple(plain), tuple(named))


def parse_element(line: Line, models: Collection[str]) -> Element:
    """Return the element a card describes; `models` are the lower-case model names of the whole netlist."""
    words = _split(line)
    if not words.plain:
        raise NetlistError(line.place, f"'{line.text}' is no card; write an element such as R1 a b 1k")
    kind = words.plain[0][0].upper()
    if kind in _REFUSED:
        raise words.error(f"{_REFUSED[kind]} not simulated yet; write a subcircuit of R C L D Q V I E G F H")
    if kind not in ELEMENT_KINDS:
        raise words.error(f"'{kind}' starts no element; write one of {', '.join(ELEMENT_KINDS)}")
    if len(words.plain[0]) < 2 and kind in "DQX":
        raise words.error("the part has no number; write a name such as " + kind + "1")
    return ELEMENT_KINDS[kind](words, models)


def _element(words: _Words, nodes: tuple[str, ...], **more: object) -> Element:
    name = words.plain[0].upper()
    return Element(name, name[0], nodes, words.line.place, **more)  # type: ignore[arg-type]  # typed by each caller


def _passive(words: _Words, models: Collection[str]) -> Element:
    letter = words.plain[0][0].upper()
    nodes = words.nodes(2, f"{letter}name node node value")
    rest = [word for word in words.plain[3:] if word.lower() not in _FLAGS]
    model = next((word.lower() for word in rest if word.lower() in models), None)
    values = [word for word in rest if word.lower() != model]
    named = dict(words.named)
    if letter.lower() in named:
        values.append(named[letter.lower()])
    options = words.options(without=(letter.lower(), "ic", "tc"))
    if "tc" in named:
        options += (("tc1", words.expression(named["tc"])),)
        if values[1:]:
            options += (("tc2", words.expression(values.pop())),)
    if not values and model is None:
        raise words.error(f"the value is missing; write '{letter}name node node value'")
    if len(values) > 1:
        raise words.error(f"'{values[1]}' is one word too many; write '{letter}name node node value [model]'")
    return _element(words, nodes, value=words.expression(values[0]) if values else None, model=model, options=options)


def _source(words: _Words, models: Collection[str]) -> Element:
    nodes = words.nodes(2, "Vname plus minus [DC] value")
    named = dict(words.named)
    rest = [word.upper() for word in words.plain[3:]]
    if "DC" in rest[:-1]:
        value = rest[rest.index("DC") + 1]
    elif "dc" in named:
        value = named["dc"]
    else:
        wave = _wave(words, rest)
        return _element(words, nodes, value=_begun(words.expression(_first_value(rest)), wave), wave=wave)
    return _element(words, nodes, value=words.expression(value), wave=_wave(words, rest))


def _begun(first: Expression, wave: Wave | None) -> Expression:
    """Return a source's value at time zero: a sine that begins with a phase is not at its offset there."""
    if wave is None or wave.kind != "SIN" or len(wave.arguments) < _SINE_ARGUMENTS:
        return first
    phase = Call("sin", (Binary("/", wave.arguments[5], Number(180.0 / math.pi)),))
    return Binary("+", first, Binary("*", wave.arguments[1], phase))


def _wave(words: _Words, rest: list[str]) -> Wave | None:
    """Return how a source moves in a transient; None where it does not, or in a way that is not simulated."""
    at = next((at for at, word in enumerate(rest) if word in _WAVES), None)
    if at is None:
        return None
    behind = rest[at + 1 :]
    ends = (place for place, word in enumerate(behind) if word in {"AC", "DC", *_AT_TIME_ZERO})
    arguments = behind[: next(ends, len(behind))]
    if not arguments:
        raise words.error(f"{rest[at]} has no arguments; write {rest[at]}(...)")
    return Wave(_WAVES[rest[at]], tuple(words.expression(text) for text in arguments))


def _first_value(rest: list[str]) -> str:
    if not rest or rest[0] == "AC":
        rest = rest[1:]
        while rest and rest[0] not in _AT_TIME_ZERO:  # magnitude and phase of AC
            rest = rest[1:]
    if not rest:
        return "0"
    if rest[0] in _AT_TIME_ZERO:
        at = 1 + _AT_TIME_ZERO[rest[0]]
        return rest[at] if at < len(rest) else "0"
    return rest[0]


def _diode(words: _Words, models: Collection[str]) -> Element:
    nodes = words.nodes(2, "Dname anode cathode model")
    return _modelled(words, nodes, 3)


def _bipolar(words: _Words, models: Collection[str]) -> Element:
    words.nodes(3, "Qname collector base emitter model")
    places = [at for at in range(4, len(words.plain)) if words.plain[at].lower() in models]
    at = places[0] if places else 4
    nodes = tuple(node_name(word) for word in words.plain[1 : min(at, 5)])
    return _modelled(words, nodes, at)


def _modelled(words: _Words, nodes: tuple[str, ...], at: int) -> Element:
    if len(words.plain) <= at:
        raise words.error("the model name is missing; write it behind the nodes")
    rest = [word for word in words.plain[at + 1 :] if word.lower() not in _FLAGS]
    options = words.options(without=("ic", "vbe", "vce"))
    if rest:
        options = (("area", words.expression(rest[0])), *options)
    return _element(words, nodes, model=words.plain[at].lower(), options=options)


def _voltage_controlled(words: _Words, models: Collection[str]) -> Element:
    letter = words.plain[0][0].upper()
    form = f"{letter}name plus minus control+ control- gain"
    _refuse_functions(words, form)
    nodes = words.nodes(4, form)
    return _element(
        words, nodes, value=words.expression(_gain(words, 5, form)), options=words.options(without=("gain",))
    )


def _current_controlled(words: _Words, models: Collection[str]) -> Element:
    letter = words.plain[0][0].upper()
    form = f"{letter}name plus minus Vname gain"
    _refuse_functions(words, form)
    nodes = words.nodes(2, form)
    if len(words.plain) < 4:
        raise words.error(f"the controlling voltage source is missing; write '{form}'")
    gain = _gain(words, 4, form)
    return _element(words, nodes, value=words.expression(gain), control=words.plain[3].upper())


def _gain(words: _Words, at: int, form: str) -> str:
    named = dict(words.named)
    if "gain" in named:
        return named["gain"]
    if len(words.plain) <= at:
        raise words.error(f"the gain is missing; write '{form}'")
    return words.plain[at]


def _refuse_functions(words: _Words, form: str) -> None:
    found = {word.upper() for word in words.plain[3:]} | {name.upper() for name, _ in words.named}
    wrong = found & {"POLY", "VALUE", "TABLE", "LAPLACE", "FREQ", "VOL", "CUR", "CHEBYSHEV"}
    if wrong:
        raise words.error(f"{min(wrong)} sources are not simulated, only linear ones; write '{form}'")


def _call(words: _Words, models: Collection[str]) -> Element:
    plain = [word for word in words.plain if word.lower() not in ("params:", "params")]
    if len(plain) < 3:
        raise words.error("nodes or subcircuit name are missing; write 'Xname node node ... subcircuit'")
    nodes = tuple(node_name(word) for word in plain[1:-1])
    options = tuple((name, words.expression(text)) for name, text in words.named)
    return _element(words, nodes, model=plain[-1].lower(), options=options)


ELEMENT_KINDS: dict[str, Callable[[_Words, Collection[str]], Element]] = {
    "R": _passive,
    "C": _passive,
    "L": _passive,
    "V": _source,
    "I": _source,
    "D": _diode,
    "Q": _bipolar,
    "E": _voltage_controlled,
    "G": _voltage_controlled,
    "F": _current_controlled,
    "H": _current_controlled,
    "X": _call,
}


def parse_model(line: Line) -> Model:
    """Return the model a `.model` card defines; a type that is not simulated is refused in words."""
    words = _split(line)
    if len(words.plain) < 3:
        raise words.error("name or type are missing; write '.model NAME TYPE(PARAMETER=VALUE ...)'")
    kind = words.plain[2].upper()
    kind = _MODEL_ALIASES.get(kind, kind)
    if kind not in _MODEL_KINDS:
        raise words.error(f"models of type {kind} are not simulated; write one of {', '.join(_MODEL_KINDS)}")
    if len(words.plain) > 3:
        raise words.error(f"'{words.plain[3]}' is no PARAMETER=VALUE; write {words.plain[3]}=VALUE")
    return Model(words.plain[1].lower(), kind, {name: words.expression(text) for name, text in words.named}, line.place)
