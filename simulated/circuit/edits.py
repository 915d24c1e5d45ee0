"""Change a netlist as a soldering mistake would: values, models, nodes, parameters, added parts.

Each function gives back a new netlist. An element inside a subcircuit is reached by its flat name
(`XU101.R1`); its instance then gets a subcircuit of its own, the others keep theirs.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from .errors import FaultError, nearest
from .expressions import Expression, Number
from .flatten import flatten
from .netlist import Body, Element, Model, Netlist, Subcircuit, node_name

__all__ = [
    "add_element",
    "add_parameter",
    "apply_edit",
    "find_part",
    "part_names",
    "set_model",
    "set_nodes",
    "set_parameter",
    "set_tree",
    "set_value",
    "with_model",
]

Elements = tuple[Element, ...]


def part_names(netlist: Netlist) -> tuple[str, ...]:
    """Return the names of all parts a fault can name: top-level ones first, then those inside subcircuits."""
    top = [element.name for element in netlist.body.elements]
    return (*top, *(element.name for element in netlist.elements if "." in element.name))


def find_part(netlist: Netlist, name: str) -> tuple[Element, Subcircuit | None]:
    """Return a part as it stands in its own body, and for X its subcircuit; FaultError names near parts."""
    body, subcircuits = netlist.body, dict(netlist.body.subcircuits)
    steps = name.upper().split(".")
    for depth, step in enumerate(steps, start=1):
        element = next((e for e in body.elements if e.name == step), None)
        if element is None:
            break
        inner = subcircuits.get(element.model or "") if element.kind == "X" else None
        if depth == len(steps):
            return element, inner
        if inner is None:
            break
        body, subcircuits = inner.body, {**subcircuits, **inner.body.subcircuits}
    close = nearest(name, part_names(netlist))
    raise FaultError(f"{netlist.name} has no part '{name}'; write one of {close}")


def set_value(netlist: Netlist, name: str, value: float) -> Netlist:
    """Replace an element's value (ohms, farads, volts, gain) by a number."""
    return set_tree(netlist, name, Number(value))


def set_tree(netlist: Netlist, name: str, tree: Expression) -> Netlist:
    """Replace an element's value by an expression of top-level parameters."""
    return _each(netlist, name, lambda element: replace(element, value=tree))


def set_model(netlist: Netlist, name: str, model: str) -> Netlist:
    """Replace an element's model, or an X element's subcircuit, by its name."""
    return _each(netlist, name, lambda element: replace(element, model=model.lower()))


def set_nodes(netlist: Netlist, name: str, nodes: Sequence[str], *, flat: bool = True) -> Netlist:
    """Replace all nodes of an element, in netlist order; not `flat`: it is flattened after more edits."""
    wanted = tuple(node_name(node) for node in nodes)
    return _each(netlist, name, lambda element: replace(element, nodes=wanted), flat=flat)


def with_model(netlist: Netlist, model: Model) -> Netlist:
    """Add a top-level `.model`; one of that name is replaced."""
    models = {**netlist.body.models, model.name: model}
    return replace(netlist, body=replace(netlist.body, models=models))


def set_parameter(netlist: Netlist, name: str, value: float) -> Netlist:
    """Set a top-level `.param`."""
    return flatten(netlist.with_parameter(name, value))


def add_parameter(netlist: Netlist, name: str, value: float) -> Netlist:
    """Add a top-level `.param`; one of that name gets the value."""
    parameters = {**netlist.body.parameters, name.lower(): Number(value)}
    return flatten(replace(netlist, body=replace(netlist.body, parameters=parameters)))


def add_element(
    netlist: Netlist,
    name: str,
    nodes: Sequence[str],
    *,
    value: float | None = None,
    model: str | None = None,
    beside: str = "",
    flat: bool = True,
) -> Netlist:
    """Add a two-pin element; `beside` is a part inside a subcircuit whose own nodes are meant, `flat` as above.

    A name that is taken gets a number. A model that is missing is an error, DELREV excepted: the
    leakage of a reversed electrolytic (its figures are those of the demo boards, common practice, no source).
    """
    key = name.upper()
    tree: Expression | None = None if value is None else Number(value)

    def added(elements: Elements) -> Elements:
        taken = {element.name for element in elements}
        free = next(trial for trial in (key, *(f"{key}{n}" for n in range(2, 1000))) if trial not in taken)
        wanted = tuple(node_name(node) for node in nodes)
        return (*elements, Element(free, key[0], wanted, "fault", tree, model and model.lower(), added=True))

    if model and model.upper() == "DELREV" and "delrev" not in netlist.body.models:
        leakage = {"is": Number(1e-6), "n": Number(4.0), "rs": Number(20.0)}
        netlist = with_model(netlist, Model("delrev", "D", leakage, "fault"))
    return _changed(netlist, beside.upper().split(".")[:-1], added, flat=flat)


def apply_edit(netlist: Netlist, edit: Mapping[str, object]) -> Netlist:
    """Apply one edit written as an object with `op`: value, model, nodes, param or add."""
    name = str(edit.get("element", edit.get("name", "")))
    raw = edit.get("value")
    value = float(raw) if isinstance(raw, int | float) else None
    raw_nodes, raw_model = edit.get("nodes"), edit.get("model")
    nodes = [str(node) for node in raw_nodes] if isinstance(raw_nodes, list) else []
    match edit.get("op"):
        case "value" if value is not None:
            return set_value(netlist, name, value)
        case "model" if isinstance(raw_model, str):
            return set_model(netlist, name, raw_model)
        case "nodes" if nodes:
            return set_nodes(netlist, name, nodes)
        case "param" if value is not None:
            return set_parameter(netlist, name, value)
        case "add" if nodes:
            return add_element(netlist, name, nodes, value=value, model=None if raw_model is None else str(raw_model))
    raise FaultError(
        f"edit {dict(edit)} is not understood; write an op of value, model, nodes, param or add with its fields"
    )


def _each(netlist: Netlist, name: str, change: Callable[[Element], Element], *, flat: bool = True) -> Netlist:
    find_part(netlist, name)
    *outer, last = name.upper().split(".")

    def changed(elements: Elements) -> Elements:
        return tuple(change(e) if e.name == last else e for e in elements)

    return _changed(netlist, outer, changed, flat=flat)


def _changed(
    netlist: Netlist, outer: Sequence[str], change: Callable[[Elements], Elements], *, flat: bool = True
) -> Netlist:
    edited = replace(netlist, body=_in_body(netlist.body, outer, netlist.body.subcircuits, change))
    return flatten(edited) if flat else edited


def _in_body(
    body: Body, outer: Sequence[str], seen: Mapping[str, Subcircuit], change: Callable[[Elements], Elements]
) -> Body:
    if not outer:
        return replace(body, elements=change(body.elements))
    instance = next(element for element in body.elements if element.name == outer[0])
    inner = seen[instance.model or ""]
    own = f"{inner.name}@{instance.name.lower()}"
    edited = _in_body(inner.body, outer[1:], {**seen, **inner.body.subcircuits}, change)
    elements = tuple(replace(e, model=own) if e is instance else e for e in body.elements)
    return replace(
        body, elements=elements, subcircuits={**body.subcircuits, own: replace(inner, name=own, body=edited)}
    )
