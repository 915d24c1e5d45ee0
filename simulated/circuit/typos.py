"""Suspect misspelt nodes: a node with one connection whose name is one slip away from a well connected one."""

from collections.abc import Iterator

from .netlist import GROUND, Element

__all__ = ["suspected_typos"]

# Comparing all names with all others would take long on what is no board.
_MOST_NODES = 2000
# Names that differ by these are twins by intention: rails, pins of a connector, numbered test points.
_TWINS = frozenset("pn+-0123456789")


def suspected_typos(elements: tuple[Element, ...]) -> Iterator[str]:
    """Yield a warning for every node that looks like a slip of the keyboard."""
    hanging: dict[str, list[Element]] = {}
    for element in elements:
        for node in element.nodes:
            hanging.setdefault(node, []).append(element)
    if len(hanging) > _MOST_NODES:
        return
    joined = [node for node, found in hanging.items() if len(found) > 1 and node != GROUND]
    for node, found in hanging.items():
        near = [other for other in joined if len(found) == 1 and _one_slip_apart(node, other)]
        if near:
            part = found[0]
            yield (
                f"{part.place}: node {node} hangs on {part.name} alone, and {near[0]} is one letter away; "
                f"write {near[0]} if it is meant"
            )


def _one_slip_apart(one: str, other: str) -> bool:
    """Whether a letter too many, too few, another or two exchanged make one name of the other."""
    if abs(len(one) - len(other)) > 1 or max(len(one), len(other)) < 3:
        return False
    same = 0
    while same < min(len(one), len(other)) and one[same] == other[same]:
        same += 1
    first, second = one[same:], other[same:]
    if first[1:] == second[1:]:
        return not _TWINS & {first[:1], second[:1]}
    if first[:2] == second[1::-1] and first[2:] == second[2:]:
        return len(first) > 1
    longer, shorter = (first, second) if len(first) > len(second) else (second, first)
    return longer[1:] == shorter and longer[0] not in _TWINS
