"""Look at how a circuit is wired before it is solved, and tell its faults by node and part names."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from .ends import Ends, LoadEnd, MeterEnd, SupplyEnd
from .errors import TopologyError
from .netlist import GROUND, Element, Netlist, node_name

__all__ = ["floating_nodes", "refuse_source_loops"]


class _Groups:
    """Nodes joined into groups (union-find)."""

    def __init__(self) -> None:
        self._parent: dict[str, str] = {}

    def find(self, node: str) -> str:
        """Return the node that stands for a group."""
        self._parent.setdefault(node, node)
        while (parent := self._parent[node]) != node:
            self._parent[node] = self._parent[parent]
            node = parent
        return node

    def join(self, one: str, other: str) -> None:
        """Make two groups one."""
        self._parent[self.find(one)] = self.find(other)


@dataclass(frozen=True)
class _Branch:
    name: str
    plus: str
    minus: str


def refuse_source_loops(netlist: Netlist, ends: Ends) -> None:
    """Raise TopologyError for a loop of voltage sources (V E H, coils, supplies), naming its parts."""
    groups = _Groups()
    seen: list[_Branch] = []
    coils = [element for element in netlist.elements if element.kind == "L"]
    # Coils come last and have a microohm each: a loop of coils alone shares its current, all others are shorts.
    sources = [_Branch(e.name, e.nodes[0], e.nodes[1]) for e in netlist.elements if e.kind in "VEH"]
    sources += [_Branch(f"supply {e.name}", node_name(e.plus), node_name(e.minus)) for e in ends.supplies]
    sources += [_Branch(e.name, e.nodes[0], e.nodes[1]) for e in coils]
    coil_names = {element.name for element in coils}
    for branch in sources:
        if groups.find(branch.plus) == groups.find(branch.minus):
            loop = _loop(seen, branch)
            if not set(loop) <= coil_names:
                raise TopologyError(_loop_message(netlist, branch, loop))
        groups.join(branch.plus, branch.minus)
        seen.append(branch)


def _loop_message(netlist: Netlist, branch: _Branch, loop: Sequence[str]) -> str:
    if branch.plus == branch.minus:
        return f"{netlist.name}: {branch.name} has both ends on node {branch.plus}; connect it between two nodes"
    return (
        f"{netlist.name}: {', '.join(loop)} form a loop of voltage sources between nodes "
        f"{branch.plus} and {branch.minus}; put a resistor into it or remove one"
    )


def _loop(seen: Sequence[_Branch], closing: _Branch) -> list[str]:
    """Return the names on the path from one end of the closing branch to the other, and its own."""
    reached: dict[str, list[str]] = {closing.plus: []}
    waiting = [closing.plus]
    while waiting:
        node = waiting.pop()
        for branch in seen:
            for one, other in ((branch.plus, branch.minus), (branch.minus, branch.plus)):
                if one == node and other not in reached:
                    reached[other] = [*reached[node], branch.name]
                    waiting.append(other)
    return [*reached.get(closing.minus, []), closing.name]


def floating_nodes(netlist: Netlist, ends: Ends) -> tuple[str, ...]:
    """Return nodes with no DC path to ground; raise TopologyError when a current source feeds such nodes."""
    groups = _Groups()
    for one, other in _conducting(netlist, ends):
        groups.join(one, other)
    ground = groups.find(GROUND)
    floating = tuple(node for node in netlist.nodes if groups.find(node) != ground)
    for element in netlist.elements:
        if element.kind == "I" and groups.find(element.nodes[0]) != groups.find(element.nodes[1]):
            lost = [node for node in element.nodes[:2] if groups.find(node) != ground]
            if lost and not _steered(netlist, groups, lost[0]):
                what = f"current source {element.name} feeds node {lost[0]}, which has no DC path to ground"
                raise TopologyError(f"{netlist.name}: {what}; put a resistor there")
    return floating


def _steered(netlist: Netlist, groups: _Groups, node: str) -> bool:
    """Whether a controlled current source ends on the node's island, so that feedback may settle it."""
    island = groups.find(node)
    return any(
        groups.find(end) == island for element in netlist.elements if element.kind in "GF" for end in element.nodes[:2]
    )


def _conducting(netlist: Netlist, ends: Ends) -> Iterator[tuple[str, str]]:
    for element in netlist.elements:
        if element.kind in "RLVDEH":
            yield element.nodes[0], element.nodes[1]
        elif element.kind == "Q":
            yield from _transistor(element)
    hanging: list[SupplyEnd | LoadEnd | MeterEnd] = [*ends.supplies, *ends.loads, *ends.meters]
    for end in hanging:
        yield node_name(end.plus), node_name(end.minus)


def _transistor(element: Element) -> Iterator[tuple[str, str]]:
    yield element.nodes[0], element.nodes[1]
    yield element.nodes[1], element.nodes[2]
    # SPICE ties the substrate with gmin; a named substrate node is where that goes.
    yield element.nodes[1], element.nodes[3] if len(element.nodes) > 3 else GROUND
