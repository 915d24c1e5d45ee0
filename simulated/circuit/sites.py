"""Find where a fault is made: the part a text names, its legs, and the nodes they are soldered to.

A part is named as in the netlist (`XU101`) or, where that is clear, as on the board without the letter that SPICE
puts in front (`U101`). A trimmer is named as on the board, whatever resistors it is made of.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from .edits import add_element, find_part, part_names, set_nodes
from .errors import FaultError, nearest
from .netlist import GROUND, Element, Netlist, Subcircuit, node_name
from .trimmers import Trimmer, find_trimmer, trimmers

__all__ = ["Fault", "FaultSite", "Leg", "bridged_nodes", "find_site", "lifted", "site_of"]

_PINS: dict[str, tuple[tuple[str, ...], ...]] = {
    "D": (("a", "1"), ("k", "2")),
    "Q": (("c",), ("b",), ("e",), ("s",)),
    "C": (("1", "plus"), ("2", "minus")),
}
_PREFIXES = ("X", "R", "D", "Q", "C", "L")


@dataclass(frozen=True)
class Fault:
    """One assembly fault; `part` is the refdes with its pin, if any, as written."""

    part: str
    kind: str
    value: str = ""

    def __str__(self) -> str:
        return ":".join([self.part, self.kind, *([self.value] if self.value else [])])


@dataclass(frozen=True)
class Leg:
    """One leg of a part: how it can be written, its node, and the (element, place) ends that are soldered there."""

    names: tuple[str, ...]
    node: str
    ends: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class FaultSite:
    """Where a fault is made: the part, its flat name, all its legs and those the fault names."""

    fault: Fault
    name: str
    element: Element
    inner: Subcircuit | None
    trimmer: Trimmer | None
    legs: tuple[Leg, ...]
    named: tuple[Leg, ...]

    @property
    def value(self) -> str:
        """The text behind the kind."""
        return self.fault.value

    def wrong(self, what: str) -> FaultError:
        """Return an error that begins with the fault's own text."""
        return FaultError(f"{self.fault}: {what}")

    def pin_list(self) -> str:
        """Return the part's pins as one writes them."""
        return ", ".join(leg.names[0] for leg in self.legs)

    def one_leg(self, what: str, otherwise: int) -> Leg:
        """Return the one leg named; of a two-legged part the leg `otherwise` where none is."""
        if len(self.named) == 1:
            return self.named[0]
        if self.named or len(self.legs) > 2:
            pin = self.legs[0].names[0]
            raise self.wrong(
                f"name the one pin that is {what}, as in {self.name}.{pin}:{self.fault.kind}; pins {self.pin_list()}"
            )
        return self.legs[otherwise]

    def two_legs(self) -> tuple[Leg, Leg]:
        """Return the two legs named, or both legs of a two-legged part."""
        legs = self.named or (self.legs if len(self.legs) == 2 else ())
        if len(legs) != 2 or legs[0] is legs[1]:
            first, second = self.legs[0].names[0], self.legs[1].names[0]
            example = f"{self.name}.{first}-{second}:{self.fault.kind}"
            raise self.wrong(f"name two pins, as in {example}; pins {self.pin_list()}")
        return legs[0], legs[1]


def find_site(netlist: Netlist, fault: Fault) -> FaultSite:
    """Return the site of a fault on one part; FaultError names near parts, or the pins there are."""
    name, pins = fault.part.upper(), ""
    site = site_of(netlist, fault, name)
    if site is None:
        # Not an element inside a subcircuit, then: the last dot parts refdes and pin.
        name, dot, pins = name.rpartition(".")
        site = site_of(netlist, fault, name) if dot else None
    if site is None:
        names = (*part_names(netlist), *(trimmer.name for trimmer in trimmers(netlist)))
        close = nearest(name or fault.part, names)
        raise FaultError(f"{netlist.name} has no part '{name or fault.part.upper()}'; write one of {close}")
    if not pins:
        return site
    named = tuple(_leg(site, word.lower()) for word in pins.split("-"))
    return FaultSite(fault, site.name, site.element, site.inner, site.trimmer, site.legs, named)


def site_of(netlist: Netlist, fault: Fault, name: str) -> FaultSite | None:
    """Return the site on a part of that name, None where there is no such part."""
    for trial in _spellings(netlist, name.upper()):
        trimmer = find_trimmer(netlist, trial)
        if trimmer is not None and len(trimmer.tracks) > 1:
            element = trimmer.contact or trimmer.tracks[0]
            return FaultSite(fault, trimmer.name, element, None, trimmer, _trimmer_legs(trimmer), ())
        try:
            element, inner = find_part(netlist, trial)
        except FaultError:
            continue
        return FaultSite(fault, trial, element, inner, trimmer, _legs(trial, element, inner), ())
    return None


def _spellings(netlist: Netlist, name: str) -> Iterator[str]:
    """Yield a name as written, then with SPICE's letter in front where just one part is meant."""
    yield name
    names = {*part_names(netlist), *(trimmer.name for trimmer in trimmers(netlist))}
    with_letter = [prefix + name for prefix in _PREFIXES if prefix + name in names]
    if len(with_letter) == 1:
        yield with_letter[0]


def _legs(name: str, element: Element, inner: Subcircuit | None) -> tuple[Leg, ...]:
    numbers = [str(at) for at in range(1, len(element.nodes) + 1)]
    names: list[tuple[str, ...]] = [(number,) for number in numbers]
    if inner is not None:
        names = list(zip(inner.pins, numbers, strict=True))
    elif element.kind in _PINS:
        names = list(_PINS[element.kind])
    return tuple(Leg(names[at], node, ((name, at),)) for at, node in enumerate(element.nodes))


def _trimmer_legs(trimmer: Trimmer) -> tuple[Leg, ...]:
    wiper = trimmer.wiper
    outer = [(track, 1 - track.nodes.index(wiper)) for track in trimmer.tracks]
    contact = trimmer.contact
    meeting = trimmer.tracks if contact is None else (contact,)
    at_wiper = tuple((e.name, e.nodes.index(wiper) if contact is None else 1 - e.nodes.index(wiper)) for e in meeting)
    node = wiper if contact is None else contact.nodes[at_wiper[0][1]]
    first, last = (
        Leg((name,), track.nodes[at], ((track.name, at),)) for name, (track, at) in zip("13", outer, strict=True)
    )
    return first, Leg(("w", "2"), node, at_wiper), last


def _leg(site: FaultSite, word: str) -> Leg:
    found = next((leg for leg in site.legs if word in leg.names), None)
    if found is None:
        raise site.wrong(f"there is no pin '{word}'; write one of {site.pin_list()}")
    return found


def lifted(netlist: Netlist, site: FaultSite, leg: Leg, ohms: float) -> Netlist:
    """Move a leg to a new node, with a resistance back to where it belongs."""
    first, place = leg.ends[0]
    node = f"f_{first.rpartition('.')[2].lower()}_{place}"
    for name, at in leg.ends:
        netlist = _moved(netlist, name, at, node)
    return add_element(netlist, "RFAULT", (leg.node, node), value=ohms, beside=site.name)


def _moved(netlist: Netlist, name: str, place: int, node: str) -> Netlist:
    element, _ = find_part(netlist, name)
    nodes = list(element.nodes)
    nodes[place] = node
    return set_nodes(netlist, name, nodes)


def bridged_nodes(netlist: Netlist, fault: Fault) -> tuple[str, str]:
    """Return the two nodes that `A-B` names, each a node, GND or a pin (`Q101.c`); FaultError says what is missing.

    A bare word behind the dash is a pin of the part before it (`Q101.c-b`), else a node. Nodes may have dashes in
    their names.
    """
    words = fault.part.split("-")
    for at in range(1, len(words)):
        first = _end(netlist, fault, "-".join(words[:at]), "")
        part = words[at - 1].rpartition(".")[0]
        second = _end(netlist, fault, "-".join(words[at:]), part)
        if first and second:
            if first == second:
                raise FaultError(f"{fault}: both ends are node {first} already; name two different ones")
            return first, second
    if len(words) == 1:
        one, other = find_site(netlist, fault).two_legs()
        return one.node, other.node
    known = [*netlist.nodes, *(f"{name.lower()}." for name in part_names(netlist))]
    lost = [word for word in (words[0], "-".join(words[1:])) if not _end(netlist, fault, word, "")]
    close = nearest(lost[0].lower(), known)
    raise FaultError(f"{fault}: '{lost[0]}' is no node and no pin; write A-B, each a node or REFDES.PIN, near {close}")


def _end(netlist: Netlist, fault: Fault, word: str, part: str) -> str:
    """Return the node that one end of a bridge names, '' where there is none."""
    if part and (site := site_of(netlist, fault, part)):
        pin = next((leg for leg in site.legs if word.lower() in leg.names), None)
        if pin is not None:
            return pin.node
    node = node_name(word)
    if node == GROUND or node in netlist.nodes:
        return node
    name, dot, pin_word = word.rpartition(".")
    site = site_of(netlist, fault, name) if dot else None
    return next((leg.node for leg in site.legs if pin_word.lower() in leg.names), "") if site else ""
