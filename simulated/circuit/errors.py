"""What the circuit engine says when it cannot go on.

CircuitError            base of the family; every message ends with what to write or do
    NetlistError        a netlist card is wrong: `file:line: what is wrong; write this`
    FaultError          a fault names no part, pin or kind of this netlist
    TopologyError       the circuit has no solution as it is wired, told by node and part names
"""

from collections.abc import Iterable
from difflib import get_close_matches

__all__ = ["CircuitError", "FaultError", "NetlistError", "TopologyError", "nearest"]


class CircuitError(Exception):
    """Base of every error the circuit engine raises on purpose."""


class NetlistError(CircuitError):
    """A card of a netlist cannot be read; the message names file and line."""

    def __init__(self, place: str, what: str) -> None:
        self.place = place
        self.what = what
        super().__init__(f"{place}: {what}")


class FaultError(CircuitError):
    """A fault cannot be made in this netlist."""


class TopologyError(CircuitError):
    """A loop of voltage sources, or a current source that feeds a node without a path to ground."""


def nearest(word: str, known: Iterable[str], *, count: int = 3) -> str:
    """Return the known words nearest to `word`, comma separated, or the first few when none is near."""
    words = sorted(set(known))
    close = get_close_matches(word.lower(), [entry.lower() for entry in words], n=count, cutoff=0.5)
    by_lower = {entry.lower(): entry for entry in words}
    return ", ".join(by_lower[entry] for entry in close) or ", ".join(words[:8]) or "(none)"
