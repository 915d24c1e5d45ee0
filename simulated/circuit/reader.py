"""Read a plain SPICE netlist, as a schematic editor exports it, into a `Netlist`."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from .cards import ELEMENT_KINDS, assignments, parse_element, parse_model, value_of
from .errors import CircuitError, NetlistError, nearest
from .expressions import Expression, ExpressionError, evaluate, names_in
from .flatten import flatten
from .lines import Line, logical_lines
from .netlist import Body, Element, Model, Netlist, Subcircuit, node_name, parameter_values
from .typos import suspected_typos

__all__ = ["read_netlist"]

_REFUSED = {
    ".lib": "libraries are not read; write .include with a file beside the netlist, or the models themselves",
    ".func": "own functions are not read; write the expression where it is used",
    ".if": "conditions are not read; write the cards that shall count",
}
_MOST_LINES = 50_000  # a board has hundreds
_OPTIONS = {"tnom": "nominal_celsius", "temp": "celsius", "gmin": "gmin"}


@dataclass
class _Scope:
    """A body that is being read: the netlist itself, or a subcircuit with its opening line."""

    opening: Line | None = None
    name: str = ""
    pins: tuple[str, ...] = ()
    defaults: dict[str, Expression] = field(default_factory=dict)
    elements: dict[str, Element] = field(default_factory=dict)
    models: dict[str, Model] = field(default_factory=dict)
    parameters: dict[str, Expression] = field(default_factory=dict)
    subcircuits: dict[str, Subcircuit] = field(default_factory=dict)

    def body(self) -> Body:
        return Body(tuple(self.elements.values()), self.models, self.parameters, self.subcircuits)


@dataclass
class _Reading:
    """What has been gathered so far: open scopes, settings and ignored cards."""

    models: frozenset[str]
    scopes: list[_Scope]
    settings: dict[str, float] = field(default_factory=dict)
    parameter_places: dict[str, str] = field(default_factory=dict)
    global_nodes: set[str] = field(default_factory=set)
    ignored: dict[str, str] = field(default_factory=dict)
    in_control: bool = False


def read_netlist(text: str, *, name: str = "netlist", folder: Path | None = None) -> Netlist:
    """Return the netlist a text describes; `name` and line stand in every message.

    The first line is the title and is not read. `.include` reaches only files below `folder`.
    Raises NetlistError at the first card that is wrong.
    """
    title = (text.splitlines() or [""])[0].strip()
    lines = logical_lines(text, name=name, folder=folder, first=2)
    if len(lines) > _MOST_LINES:
        what = f"the netlist has more than {_MOST_LINES} lines"
        raise NetlistError(lines[_MOST_LINES].place, f"{what}; give it one board at a time")
    models = frozenset(line.text.split()[1].lower() for line in lines if _is_model(line))
    reading = _Reading(models, [_Scope()])
    for line in lines:
        _read_line(line, reading)
    if len(reading.scopes) > 1:
        opening = reading.scopes[-1].opening
        assert opening is not None
        raise NetlistError(opening.place, f"subcircuit '{reading.scopes[-1].name}' is not closed; write .ends")
    body = reading.scopes[0].body()
    if not body.elements:
        raise NetlistError(
            f"{name}:1", "the netlist holds no element; write a title line, then elements such as R1 a b 1k"
        )
    netlist = flatten(_unflattened(name, title, body, reading))
    _check_parameters(netlist, reading.parameter_places)
    return replace(netlist, warnings=(*netlist.warnings, *suspected_typos(netlist.elements)))


def _check_parameters(netlist: Netlist, places: Mapping[str, str]) -> None:
    try:
        values = parameter_values(netlist, {})
    except CircuitError as error:
        named = [name for name in places if f"'{name}'" in str(error)] or list(places)
        raise NetlistError(places[named[0]], str(error)) from None
    for element in netlist.elements:
        trees = [tree for _, tree in element.options] + ([] if element.value is None else [element.value])
        missing = sorted(frozenset[str]().union(*(names_in(tree) for tree in trees)) - values.keys())
        if missing:
            what = f"{element.name}: parameter '{missing[0]}' is not defined"
            raise NetlistError(
                element.place, f"{what}; write '.param {missing[0]}=VALUE', or one of {nearest(missing[0], values)}"
            )


def _is_model(line: Line) -> bool:
    words = line.text.split()
    return words[0].lower() == ".model" and len(words) > 1


def _unflattened(name: str, title: str, body: Body, reading: _Reading) -> Netlist:
    warnings = []
    first = title.split()
    if len(first) > 2 and first[0][0].upper() in ELEMENT_KINDS and first[0][-1].isdigit():
        warnings.append(f"{name}:1: the first line is the title and is not read: '{title}'")
    if reading.ignored:
        cards = ", ".join(f"{card} ({place.rpartition(':')[2]})" for card, place in reading.ignored.items())
        warnings.append(f"{name}: ignored cards (line): {cards}")
    settings = reading.settings
    return Netlist(
        name,
        title,
        body,
        elements=(),
        models={},
        celsius=settings.get("celsius", 27.0),
        nominal_celsius=settings.get("nominal_celsius", 27.0),
        gmin=settings.get("gmin", 1e-12),
        global_nodes=frozenset(reading.global_nodes),
        warnings=tuple(warnings),
    )


def _read_line(line: Line, reading: _Reading) -> None:
    if not line.text.startswith("."):
        if not reading.in_control:
            _add(reading.scopes[-1].elements, parse_element(line, reading.models), line, "element")
        return
    card, _, rest = line.text.partition(" ")
    card = card.lower()
    if card in (".control", ".endc"):
        reading.in_control = card == ".control"
        reading.ignored.setdefault(".control", line.place)
    elif not reading.in_control:
        _read_dot_card(card, rest.strip(), line, reading)


def _read_dot_card(card: str, rest: str, line: Line, reading: _Reading) -> None:
    scope = reading.scopes[-1]
    if card in _REFUSED:
        raise NetlistError(line.place, f"{card}: {_REFUSED[card]}")
    if card == ".model":
        _add(scope.models, parse_model(line), line, "model")
    elif card in (".param", ".params", ".parameter"):
        found = assignments(rest, line.place, card)
        scope.parameters |= found
        if len(reading.scopes) == 1:
            reading.parameter_places |= dict.fromkeys(found, line.place)
    elif card == ".subckt":
        reading.scopes.append(_open(rest, line))
    elif card == ".ends":
        _close(line, reading)
    elif card == ".global":
        reading.global_nodes |= {node_name(word) for word in rest.split()}
    elif card == ".temp":
        reading.settings["celsius"] = _constant(rest, line, card)
    elif card in (".option", ".options", ".opt", ".opts"):
        _read_options(rest, line, reading)
    else:
        reading.ignored.setdefault(card, line.place)


def _add(into: dict[str, Element] | dict[str, Model], thing: Element | Model, line: Line, what: str) -> None:
    if thing.name in into:
        first = into[thing.name].place
        raise NetlistError(line.place, f"{what} {thing.name} stands in {first} already; write another name")
    into[thing.name] = thing  # type: ignore[assignment]  # each caller passes the pair that belongs together


def _open(rest: str, line: Line) -> _Scope:
    head, found, tail = rest.partition("=")
    words = head.replace("(", " ").replace(")", " ").split()
    if found:
        tail = f"{words.pop()}={tail}"
    words = [word for word in words if word.lower() not in ("params:", "params")]
    if len(words) < 2:
        raise NetlistError(line.place, f".subckt {rest}: name or pins are missing; write .subckt NAME pin pin ...")
    pins = tuple(node_name(word) for word in words[1:])
    if len(set(pins)) < len(pins):
        raise NetlistError(line.place, f".subckt {words[0]} names a pin twice; write each pin once")
    defaults = assignments(tail, line.place, f".subckt {words[0]}") if found else {}
    return _Scope(line, words[0].lower(), pins, defaults)


def _close(line: Line, reading: _Reading) -> None:
    if len(reading.scopes) == 1:
        raise NetlistError(line.place, ".ends closes no subcircuit; remove it or write .subckt NAME pin ... before")
    scope = reading.scopes.pop()
    assert scope.opening is not None
    outer = reading.scopes[-1].subcircuits
    if scope.name in outer:
        what = f"subcircuit {scope.name} stands in {outer[scope.name].place} already"
        raise NetlistError(scope.opening.place, f"{what}; write another name")
    outer[scope.name] = Subcircuit(scope.name, scope.pins, scope.defaults, scope.body(), scope.opening.place)


def _read_options(rest: str, line: Line, reading: _Reading) -> None:
    for word in rest.replace(" =", "=").replace("= ", "=").split():
        option, _, text = word.partition("=")
        setting = _OPTIONS.get(option.lower())
        if setting:
            reading.settings[setting] = _constant(text, line, option)
        else:
            reading.ignored.setdefault(f".options {option}", line.place)


def _constant(text: str, line: Line, card: str) -> float:
    try:
        value = evaluate(value_of(text.split()[0] if text.split() else "", line.place, card), {})
    except ExpressionError as error:
        raise NetlistError(line.place, f"{card}: {error}") from None
    return float(value)
