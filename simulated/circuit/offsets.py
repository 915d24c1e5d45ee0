"""Give subcircuit macros an input offset: a small EMF in series with one of their pins.

A macro's own elements are of any kind, so its offset is made outside of it, at the pin that the board sheet names.
`Parts` holds factors, and nothing times a factor stays nothing: the EMF is a nanovolt on the nominal board, and its
factor says how many nanovolts it is on another.
"""

from collections.abc import Iterable

from .edits import add_element, find_part, set_nodes
from .errors import CircuitError
from .flatten import flatten
from .netlist import Netlist

__all__ = ["OFFSET_STEP_VOLTS", "offset_name", "with_offsets"]

OFFSET_STEP_VOLTS = 1e-9


def offset_name(pin: str) -> str:
    """Return the name of the EMF at a pin such as `XU101.inp`."""
    return f"VOFFSET_{pin.upper().replace('.', '_')}"


def with_offsets(netlist: Netlist, pins: Iterable[str]) -> Netlist:
    """Return the netlist with an EMF at each pin, plus toward the board; faults are put in before.

    Raises CircuitError for a pin that no subcircuit part has.
    """
    for pin in pins:
        name, _, word = pin.rpartition(".")
        element, inner = find_part(netlist, name or pin)
        if inner is None or word.lower() not in inner.pins:
            pins_there = ", ".join(inner.pins) if inner else "none: only subcircuit parts have an offset"
            raise CircuitError(f"offset at '{pin}': {name or pin} has no such pin; write one of {pins_there}")
        at, nodes = inner.pins.index(word.lower()), list(element.nodes)
        outer, nodes[at] = nodes[at], f"offset_{element.name.lower()}_{word.lower()}"
        netlist = set_nodes(netlist, name, nodes, flat=False)
        netlist = add_element(netlist, offset_name(pin), (outer, nodes[at]), value=OFFSET_STEP_VOLTS, flat=False)
    return flatten(netlist)  # once: it takes longer than all edits
