"""What a netlist says, as facts: elements, models, subcircuits and parameters.

A `Netlist` keeps the hierarchy it was written with, for faults are edits of that hierarchy, and
beside it the flat list of elements the solver stamps (`XU101.G1` between nodes like `xu101.a`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .errors import CircuitError, nearest
from .expressions import Expression, ExpressionError, Number, evaluate, names_in

__all__ = ["GROUND", "Body", "Element", "Model", "Netlist", "Subcircuit", "Wave", "node_name", "parameter_values"]

GROUND = "0"
Value = float | NDArray[np.float64]


def node_name(text: str) -> str:
    """Return a node's name as the engine keeps it: lower case, `gnd` being `0`."""
    name = text.lower()
    return GROUND if name == "gnd" else name


@dataclass(frozen=True)
class Wave:
    """How a source moves in a transient: SIN, PULSE or PWL, with its arguments as they stand."""

    kind: str
    arguments: tuple[Expression, ...]


@dataclass(frozen=True)
class Element:
    """One part: its upper-case name, its nodes in netlist order, and its value or model.

    `nodes` of E and G hold the two output nodes, then the two controlling ones; `control` is the
    voltage source whose current drives F and H. `model` is lower case; of an X element it names the
    subcircuit. `options` are instance parameters such as `area`, `m`, `tc1`. `added` marks what a
    fault put in: such elements have no tolerance.
    """

    name: str
    kind: str
    nodes: tuple[str, ...]
    place: str
    value: Expression | None = None
    model: str | None = None
    control: str | None = None
    options: tuple[tuple[str, Expression], ...] = ()
    added: bool = False
    wave: Wave | None = None

    def option(self, *names: str) -> Expression | None:
        """Return the first instance parameter among `names` that was given, else None."""
        given = dict(self.options)
        return next((given[name] for name in names if name in given), None)


@dataclass(frozen=True)
class Model:
    """A `.model` card: its type (R C L D NPN PNP, upper case) and its parameters by lower-case name."""

    name: str
    kind: str
    parameters: Mapping[str, Expression]
    place: str


@dataclass(frozen=True)
class Body:
    """What stands in a netlist or between `.subckt` and `.ends`, names by lower case."""

    elements: tuple[Element, ...] = ()
    models: Mapping[str, Model] = field(default_factory=dict)
    parameters: Mapping[str, Expression] = field(default_factory=dict)
    subcircuits: Mapping[str, "Subcircuit"] = field(default_factory=dict)


@dataclass(frozen=True)
class Subcircuit:
    """A `.subckt`: its pins, the defaults of its parameters and what it holds."""

    name: str
    pins: tuple[str, ...]
    defaults: Mapping[str, Expression]
    body: Body
    place: str


@dataclass(frozen=True)
class Netlist:
    """A netlist that has been read and flattened; made by `read_netlist`, changed by `with_fault`.

    `elements` and `models` are flat: nodes like `xu101.a`, elements like `XU101.G1`. `celsius` is the
    temperature its own `.temp` asks for, 27 without one.
    """

    name: str
    title: str
    body: Body
    elements: tuple[Element, ...]
    models: Mapping[str, Model]
    celsius: float = 27.0
    nominal_celsius: float = 27.0
    gmin: float = 1e-12
    global_nodes: frozenset[str] = frozenset()
    warnings: tuple[str, ...] = ()

    @cached_property
    def nodes(self) -> tuple[str, ...]:
        """All nodes in order of appearance, subcircuit nodes as `xu101.a`, without ground."""
        seen = dict.fromkeys(node for element in self.elements for node in element.nodes)
        return tuple(node for node in seen if node != GROUND)

    @cached_property
    def params(self) -> Mapping[str, float]:
        """Every top-level `.param` with its default value."""
        return {name: float(np.asarray(value)) for name, value in parameter_values(self, {}).items()}

    def element(self, name: str) -> Element:
        """Return the flat element of that name, whatever its case; CircuitError names near ones."""
        found = self._by_name.get(name.upper())
        if found is None:
            close = nearest(name, self._by_name)
            raise CircuitError(f"{self.name} has no element '{name}'; write one of {close}")
        return found

    @cached_property
    def _by_name(self) -> dict[str, Element]:
        return {element.name: element for element in self.elements}

    def with_parameter(self, name: str, value: float) -> "Netlist":
        """Return the netlist with another default for a top-level `.param`."""
        key = name.lower()
        if key not in self.body.parameters:
            close = nearest(name, self.body.parameters)
            raise CircuitError(f"{self.name} has no parameter '{name}'; write one of {close}")
        parameters = {**self.body.parameters, key: Number(value)}
        return replace(self, body=replace(self.body, parameters=parameters))


def parameter_values(netlist: Netlist, given: Mapping[str, Value]) -> dict[str, Value]:
    """Return every top-level parameter's value, those in `given` replaced (floats or arrays (B,)).

    Raises CircuitError for a name that is no parameter, an undefined one and a circular definition.
    """
    expressions = netlist.body.parameters
    values: dict[str, Value] = {}
    for name, value in given.items():
        if name.lower() not in expressions:
            close = nearest(name, expressions)
            raise CircuitError(f"{netlist.name} has no parameter '{name}'; write one of {close}")
        values[name.lower()] = value
    waiting = {name: set(names_in(tree)) - values.keys() for name, tree in expressions.items() if name not in values}
    users: dict[str, list[str]] = {}
    for name, needed in waiting.items():
        for other in needed:
            users.setdefault(other, []).append(name)
    ready = [name for name, needed in waiting.items() if not needed]
    while ready:
        name = ready.pop()
        del waiting[name]
        values[name] = _evaluated(name, expressions[name], values)
        for user in users.get(name, ()):
            waiting[user].discard(name)
            if not waiting[user]:
                ready.append(user)
    if waiting:
        names = ", ".join(f"'{name}'" for name in sorted(waiting))
        raise CircuitError(f"parameters {names} need each other or an undefined one; write a number for one of them")
    return {name: values[name] for name in expressions}


def _evaluated(name: str, tree: Expression, values: Mapping[str, Value]) -> Value:
    try:
        return evaluate(tree, values)
    except ExpressionError as error:
        raise CircuitError(f"parameter '{name}': {error}") from None
