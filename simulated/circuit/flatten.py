"""Open a netlist's subcircuits, so that the solver sees one flat list of elements.

Names become `XU101.G1` and `xu101.a`. Instance parameters are bound into the expressions, so that
a flat expression mentions top-level parameters only.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from .errors import NetlistError, nearest
from .expressions import Expression, bind
from .netlist import GROUND, Body, Element, Model, Netlist, Subcircuit

__all__ = ["flatten"]

_DEEPEST = 40
# Ten subcircuits that each hold ten of the next are a line each to write, and without end to open.
_MOST_ELEMENTS = 20_000


@dataclass(frozen=True)
class _Place:
    """Where in the hierarchy the walk stands: names in sight, and how local names are written."""

    prefix: str
    nodes: Mapping[str, str]
    scope: Mapping[str, Expression]
    models: Mapping[str, str]
    subcircuits: Mapping[str, Subcircuit]
    depth: int


@dataclass
class _Flat:
    elements: list[Element]
    models: dict[str, Model]
    global_nodes: frozenset[str]


def flatten(netlist: Netlist) -> Netlist:
    """Return the netlist with `elements` and `models` made from its body.

    Raises NetlistError for a missing model or subcircuit, a wrong number of nodes and an endless nesting.
    """
    flat = _Flat([], {}, netlist.global_nodes)
    # At the top, names stand for themselves: parameters stay open for the solve.
    _walk(netlist.body, _Place("", {}, {}, {}, {}, 0), flat)
    _check_controls(flat.elements)
    return replace(netlist, elements=tuple(flat.elements), models=flat.models)


def _walk(body: Body, place: _Place, flat: _Flat) -> None:
    scope = dict(place.scope)
    if place.prefix:
        for name, tree in body.parameters.items():
            scope[name] = bind(tree, scope)
    here = replace(
        place,
        scope=scope,
        models={**place.models, **{name: _local(place.prefix, name).lower() for name in body.models}},
        subcircuits={**place.subcircuits, **body.subcircuits},
    )
    for name, model in body.models.items():
        parameters = {key: bind(tree, scope) for key, tree in model.parameters.items()}
        flat.models[here.models[name]] = replace(model, name=here.models[name], parameters=parameters)
    for element in body.elements:
        if len(flat.elements) >= _MOST_ELEMENTS:
            what = f"{element.name}: the netlist has more than {_MOST_ELEMENTS} elements, subcircuits opened"
            raise NetlistError(element.place, f"{what}; give it one board at a time")
        if element.kind == "X":
            _open(element, here, flat)
        else:
            flat.elements.append(_placed(element, here, flat))


def _local(prefix: str, name: str) -> str:
    return f"{prefix}.{name}" if prefix else name


def _node(node: str, place: _Place, flat: _Flat) -> str:
    if node == GROUND or node in flat.global_nodes or not place.prefix:
        return node
    return place.nodes.get(node) or _local(place.prefix.lower(), node)


def _placed(element: Element, place: _Place, flat: _Flat) -> Element:
    model = element.model
    if model is not None:
        if model not in place.models:
            close = nearest(model, place.models)
            raise NetlistError(
                element.place,
                f"{element.name}: model '{model}' is not defined; write its .model, or one of {close}",
            )
        model = place.models[model]
        _check_model(element, flat.models[model])
    return replace(
        element,
        name=_local(place.prefix, element.name),
        nodes=tuple(_node(node, place, flat) for node in element.nodes),
        value=None if element.value is None else bind(element.value, place.scope),
        model=model,
        control=None if element.control is None else _local(place.prefix, element.control),
        options=tuple((name, bind(tree, place.scope)) for name, tree in element.options),
        wave=element.wave
        and replace(element.wave, arguments=tuple(bind(t, place.scope) for t in element.wave.arguments)),
    )


def _check_model(element: Element, model: Model) -> None:
    wanted = {"Q": ("NPN", "PNP")}.get(element.kind, (element.kind,))
    if model.kind not in wanted:
        raise NetlistError(
            element.place,
            f"{element.name}: model '{model.name}' is of type {model.kind}; write one of type {' or '.join(wanted)}",
        )


def _open(element: Element, place: _Place, flat: _Flat) -> None:
    inner = place.subcircuits.get(element.model or "")
    if inner is None:
        close = nearest(element.model or "", place.subcircuits)
        raise NetlistError(
            element.place,
            f"{element.name}: subcircuit '{element.model}' is not defined; write a .subckt for it, or one of {close}",
        )
    if len(inner.pins) != len(element.nodes):
        raise NetlistError(
            element.place,
            f"{element.name} has {len(element.nodes)} nodes, {inner.name} has {len(inner.pins)} pins; "
            f"write nodes for {' '.join(inner.pins)}",
        )
    if place.depth >= _DEEPEST:
        raise NetlistError(element.place, f"{element.name}: subcircuit '{inner.name}' contains itself; break that")
    outer_nodes = (_node(node, place, flat) for node in element.nodes)
    _walk(
        inner.body,
        _Place(
            _local(place.prefix, element.name),
            dict(zip(inner.pins, outer_nodes, strict=True)),
            _instance_scope(element, inner, place),
            place.models,
            place.subcircuits,
            place.depth + 1,
        ),
        flat,
    )


def _instance_scope(element: Element, inner: Subcircuit, place: _Place) -> dict[str, Expression]:
    scope = dict(place.scope)
    given = {name: bind(tree, place.scope) for name, tree in element.options}
    unknown = given.keys() - inner.defaults.keys()
    if unknown:
        close = nearest(min(unknown), inner.defaults)
        raise NetlistError(
            element.place, f"{element.name}: {inner.name} has no parameter '{min(unknown)}'; write one of {close}"
        )
    for name, tree in inner.defaults.items():
        scope[name] = given.get(name, bind(tree, scope))
    return scope


def _check_controls(elements: list[Element]) -> None:
    branches = {element.name for element in elements if element.kind == "V"}
    for element in elements:
        if element.control is not None and element.control not in branches:
            close = nearest(element.control, branches)
            raise NetlistError(
                element.place, f"{element.name}: voltage source '{element.control}' is not there; write one of {close}"
            )
