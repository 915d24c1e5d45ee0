"""Put assembly faults into a netlist: `R108:open`, `Q101.c-b:short`, `R109:value:47k`.

A fault is text, `REFDES[.PIN]:KIND[:VALUE]`, and each kind is one function from netlist to netlist.
Adding a kind is adding one decorated function here.
"""

from collections.abc import Callable
from dataclasses import dataclass

from .edits import add_element, find_part, set_nodes, set_value
from .errors import CircuitError, FaultError, nearest
from .expressions import ExpressionError, parse_number
from .netlist import Element, Netlist, Subcircuit

__all__ = ["Fault", "FaultSite", "fault_kind", "fault_kinds", "parse_fault", "with_fault"]

# A contact that is lost, and a blob of solder, as the stored reference results have them.
_OPEN_OHMS = 1e9
_SHORT_OHMS = 0.01
_PINS = {"D": (("a", "1"), ("k", "2")), "Q": (("c",), ("b",), ("e",), ("s",))}


@dataclass(frozen=True)
class Fault:
    """One assembly fault; `part` is the refdes with its pin, if any, as written."""

    part: str
    kind: str
    value: str = ""

    def __str__(self) -> str:
        return ":".join([self.part, self.kind, *([self.value] if self.value else [])])


@dataclass(frozen=True)
class FaultSite:
    """Where a fault is made: the part, its flat name, the pins named (by position), and the value's text."""

    fault: Fault
    name: str
    element: Element
    pin_names: tuple[tuple[str, ...], ...]
    pins: tuple[int, ...]
    value: str

    def wrong(self, what: str) -> FaultError:
        """Return an error that begins with the fault's own text."""
        return FaultError(f"{self.fault}: {what}")

    def pin_list(self) -> str:
        """Return the part's pins as one writes them."""
        return ", ".join(names[0] for names in self.pin_names)


FaultFunction = Callable[[Netlist, FaultSite], Netlist]
_KINDS: dict[str, FaultFunction] = {}


def fault_kind(name: str) -> Callable[[FaultFunction], FaultFunction]:
    """Register a fault kind; a name used twice or a function without docstring is refused at import."""

    def register(function: FaultFunction) -> FaultFunction:
        if name in _KINDS:
            raise CircuitError(f"fault kind '{name}' is there already; give {function.__name__} another name")
        if not function.__doc__:
            raise CircuitError(f"fault kind '{name}' has no docstring; say in one line what it does")
        _KINDS[name] = function
        return function

    return register


def fault_kinds() -> dict[str, str]:
    """Return every fault kind and the first line of what it does."""
    return {name: (function.__doc__ or "").splitlines()[0] for name, function in _KINDS.items()}


def parse_fault(text: str) -> Fault:
    """Return the fault a text describes; FaultError for a wrong form or an unknown kind."""
    words = [word.strip() for word in text.split(":", 2)]
    if len(words) < 2 or not words[0] or not words[1]:
        raise FaultError(f"fault '{text}' is not understood; write REFDES[.PIN]:KIND[:VALUE], for example R108:open")
    kind = words[1].lower()
    if kind not in _KINDS:
        raise FaultError(f"fault '{text}': kind '{words[1]}' is not known; write one of {nearest(kind, _KINDS)}")
    return Fault(words[0], kind, words[2] if len(words) > 2 else "")


def with_fault(netlist: Netlist, fault: Fault) -> Netlist:
    """Return the netlist with the fault in it; FaultError names near parts, or the pins there are."""
    return _KINDS[fault.kind](netlist, _site(netlist, fault))


def _site(netlist: Netlist, fault: Fault) -> FaultSite:
    name, pins_text = fault.part.upper(), ""
    try:
        element, inner = find_part(netlist, name)
    except FaultError:
        # Not an element inside a subcircuit, then: the last dot parts refdes and pin.
        name, dot, pins_text = name.rpartition(".")
        if not dot:
            raise
        element, inner = find_part(netlist, name)
    names = _pin_names(element, inner)
    pins = tuple(_pin(fault, word.lower(), names) for word in pins_text.split("-")) if pins_text else ()
    return FaultSite(fault, name, element, names, pins, fault.value)


def _pin_names(element: Element, inner: Subcircuit | None) -> tuple[tuple[str, ...], ...]:
    if inner is not None:
        return tuple((pin, str(at)) for at, pin in enumerate(inner.pins, start=1))
    usual = _PINS.get(element.kind)
    if usual:
        return usual[: len(element.nodes)]
    return tuple((str(at),) for at in range(1, len(element.nodes) + 1))


def _pin(fault: Fault, word: str, names: tuple[tuple[str, ...], ...]) -> int:
    for at, spellings in enumerate(names):
        if word in spellings:
            return at
    raise FaultError(f"{fault}: there is no pin '{word}'; write one of {', '.join(names_of[0] for names_of in names)}")


@fault_kind("open")
def _open(netlist: Netlist, site: FaultSite) -> Netlist:
    """Stop the current through a two-pin part, or at one pin of a part."""
    if not site.pins and site.element.kind == "R":
        return set_value(netlist, site.name, _OPEN_OHMS)
    if len(site.pins) != 1 and (site.pins or len(site.element.nodes) > 2):
        raise site.wrong(
            f"name the one pin that is open, as in {site.name}.{site.pin_names[0][0]}:open; pins {site.pin_list()}"
        )
    return lifted(netlist, site, site.pins[0] if site.pins else 1, _OPEN_OHMS)


def lifted(netlist: Netlist, site: FaultSite, pin: int, ohms: float) -> Netlist:
    """Move a pin to a new node, with a resistance back to where it belongs."""
    nodes = list(site.element.nodes)
    old, nodes[pin] = nodes[pin], f"f_{site.element.name.lower()}_{pin}"
    netlist = set_nodes(netlist, site.name, nodes)
    return add_element(netlist, "RFAULT", (old, nodes[pin]), value=ohms, beside=site.name)


@fault_kind("short")
def _short(netlist: Netlist, site: FaultSite) -> Netlist:
    """Join the two pins of a part by 10 milliohm, or two named pins (`Q101.c-b`)."""
    pins = site.pins or ((0, 1) if len(site.element.nodes) == 2 else ())
    if len(pins) != 2 or pins[0] == pins[1]:
        first, second = site.pin_names[0][0], site.pin_names[1][0]
        raise site.wrong(f"name two pins, as in {site.name}.{first}-{second}:short; pins {site.pin_list()}")
    pair = site.element.nodes[pins[0]], site.element.nodes[pins[1]]
    return add_element(netlist, "RFAULT", pair, value=_SHORT_OHMS, beside=site.name)


@fault_kind("reversed")
def _reversed(netlist: Netlist, site: FaultSite) -> Netlist:
    """Turn a two-pin part; a capacitor, plus being its first node, keeps its value and leaks.

    The leakage diode's anode is at the node that should see plus.
    """
    if site.pins or len(site.element.nodes) != 2:
        raise site.wrong(f"only a two-pin part can be reversed as a whole; {site.name} has pins {site.pin_list()}")
    if site.element.kind == "C":
        return add_element(netlist, "DFAULT", site.element.nodes, model="DELREV", beside=site.name)
    return set_nodes(netlist, site.name, site.element.nodes[::-1])


@fault_kind("value")
def _value(netlist: Netlist, site: FaultSite) -> Netlist:
    """Fit another value, as in `R109:value:47k`."""
    if site.element.kind not in "RCL" or site.pins:
        raise site.wrong("only resistors, capacitors and coils have a value; write for example R109:value:47k")
    try:
        value = parse_number(site.value)
    except ExpressionError as error:
        raise site.wrong(str(error)) from None
    if value <= 0.0:
        raise site.wrong(f"the value is {value:g}; write a positive one")
    return set_value(netlist, site.name, value)
