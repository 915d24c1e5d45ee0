"""Find the trimmers of a netlist: resistors that share a refdes and a parameter, the wiper's travel 0..1.

A trimmer on the board (RV101) is two tracks in the netlist (RV101A, RV101B) and perhaps the wiper's contact
(RV101W); one used as a rheostat is a single track (RV1).
"""

from dataclasses import dataclass
from itertools import combinations

from .expressions import Binary, Expression, ExpressionError, Name, Number, bind, evaluate, names_in
from .netlist import Element, Netlist

__all__ = ["Trimmer", "find_trimmer", "scaled_track", "track_ends", "track_ohms"]
__all__ += ["track_turned_by", "trimmers"]

# A single track counts as a trimmer when its name says so; any resistor may depend on a parameter.
_RHEOSTATS = ("RV", "RP", "RTRIM")


@dataclass(frozen=True)
class Trimmer:
    """A trimmer by its name on the board; `tracks` in netlist order, `contact` the wiper's own resistance."""

    name: str
    parameter: str
    tracks: tuple[Element, ...]
    contact: Element | None = None

    @property
    def wiper(self) -> str:
        """The node where both tracks meet; of a rheostat its second node."""
        first, last = self.tracks[0], self.tracks[-1]
        return next((node for node in first.nodes if len(self.tracks) > 1 and node in last.nodes), first.nodes[1])

    @property
    def elements(self) -> tuple[Element, ...]:
        """All of its elements."""
        return self.tracks + ((self.contact,) if self.contact else ())


def trimmers(netlist: Netlist) -> tuple[Trimmer, ...]:
    """Return the trimmers among a netlist's own parts, in order."""
    resistors = [element.name for element in netlist.body.elements if element.kind == "R"]
    names = dict.fromkeys(name for resistor in resistors for name in (_stem(resistor), resistor))
    found = [trimmer for name in names if (trimmer := find_trimmer(netlist, name)) is not None]
    return tuple(found)


def find_trimmer(netlist: Netlist, name: str) -> Trimmer | None:
    """Return the trimmer of that name, None where no resistors of it share a parameter."""
    key = name.upper()
    resistors = [element for element in netlist.body.elements if element.kind == "R"]
    alone = next((element for element in resistors if element.name == key), None)
    if alone is None:
        return _pair(netlist, key, resistors)
    parameter = _parameter(netlist, alone) if key.startswith(_RHEOSTATS) else ""
    pair = _pair(netlist, _stem(key), resistors) if parameter else None
    return Trimmer(key, parameter, (alone,)) if parameter and (pair is None or alone not in pair.tracks) else None


def _pair(netlist: Netlist, name: str, resistors: list[Element]) -> Trimmer | None:
    family = [element for element in resistors if _stem(element.name) == name]
    for first, last in combinations(family, 2):
        if parameter := _shared(netlist, first, last):
            return _with_contact(Trimmer(name, parameter, (first, last)), family)
    return None


def _with_contact(trimmer: Trimmer, family: list[Element]) -> Trimmer:
    others = [element for element in family if element not in trimmer.tracks and trimmer.wiper in element.nodes]
    return Trimmer(trimmer.name, trimmer.parameter, trimmer.tracks, others[0] if len(others) == 1 else None)


def _stem(name: str) -> str:
    return name[:-1].rstrip("_-")


def _leaves(netlist: Netlist, tree: Expression) -> Expression:
    """Return the tree with parameters that are computed from others replaced by what they are computed from."""
    computed = {name: given for name, given in netlist.body.parameters.items() if not isinstance(given, Number)}
    for _ in range(len(computed)):
        tree = bind(tree, computed)
    return tree


def _parameter(netlist: Netlist, element: Element) -> str:
    """Return the one parameter that an element's value follows, '' where there is none or several."""
    names = names_in(_leaves(netlist, element.value)) if element.value is not None else frozenset()
    return next(iter(names)) if len(names) == 1 else ""


def _shared(netlist: Netlist, first: Element, last: Element) -> str:
    """Return the parameter that makes one track longer and the other shorter, '' where there is none."""
    parameter = _parameter(netlist, first)
    if not parameter or _parameter(netlist, last) != parameter or not set(first.nodes) & set(last.nodes):
        return ""
    try:
        one, other = (track_ends(netlist, track, parameter) for track in (first, last))
    except ExpressionError:
        return ""
    return parameter if (one[1] - one[0]) * (other[1] - other[0]) < 0.0 else ""


def track_ends(netlist: Netlist, track: Element, parameter: str) -> tuple[float, float]:
    """Return a track's ohms at travel 0 and at travel 1."""
    assert track.value is not None
    tree = _leaves(netlist, track.value)
    low, high = (float(evaluate(tree, {parameter: travel})) for travel in (0.0, 1.0))
    return low, high


def track_turned_by(netlist: Netlist, trimmer: Trimmer, track: Element, parameter: str) -> Expression:
    """Return a track's value as another parameter turns it."""
    assert track.value is not None
    return bind(_leaves(netlist, track.value), {trimmer.parameter: Name(parameter)})


def scaled_track(netlist: Netlist, trimmer: Trimmer, track: Element, factor: float) -> Expression:
    """Return a track's value when the whole track is `factor` times as long; its end resistance stays."""
    assert track.value is not None
    least = Number(min(track_ends(netlist, track, trimmer.parameter)))
    return Binary("+", least, Binary("*", Number(factor), Binary("-", track.value, least)))


def track_ohms(netlist: Netlist, trimmer: Trimmer) -> float:
    """Return the resistance of a trimmer's track from end to end, without its end resistances."""
    low, high = track_ends(netlist, trimmer.tracks[0], trimmer.parameter)
    return abs(high - low)
