"""Keep the arrays and bound calls that a sparse solve works on, made once for each number of boards.

Binding a script to arrays costs about as much as running it; a solve of many shares, or many solves of
one circuit, do it once. Benches are lent to one solve at a time: what lies on them is overwritten.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from .stamps import Stamps

__all__ = ["Bench", "Benches", "OuterBench", "lent"]

Floats = NDArray[np.float64]
Key = TypeVar("Key")
Thing = TypeVar("Thing")

_MOST = 16  # while sources are raised, numbers of boards are many; those used longest ago are then thrown away


# The benches last used, at most one: whoever takes them out has them alone, a second thread makes its own.
_put_away: "list[Benches]" = []


class OuterBench:
    """Arrays and calls to eliminate what is linear: values for `lanes` boards, right-hand sides for `sides`."""

    def __init__(self, stamps: Stamps, lanes: int, sides: int) -> None:
        self.values = np.empty((len(stamps.outer.cells), lanes))
        self.reciprocals = np.empty((stamps.order.linear, lanes))
        self.right = np.empty((stamps.order.rows.size, sides))
        self.eliminating = stamps.outer.factoring(self.values, self.reciprocals)
        self.eliminating += stamps.outer.forward(self.values, self.right)


class Bench:
    """Arrays and calls for Newton's iterations with so many lanes."""

    def __init__(self, stamps: Stamps, lanes: int) -> None:
        size, entries = stamps.core_columns.size, len(stamps.core.cells)
        self.values = np.empty((entries, lanes))
        self.terms = np.empty((stamps.filled.size, lanes))
        self.step = np.empty((size, lanes))
        self.reciprocals = np.empty((size, lanes))
        self.factoring = stamps.core.factoring(self.values, self.reciprocals)
        self.solving = stamps.core.forward(self.values, self.step)
        self.solving += stamps.core.backward(self.values, self.reciprocals, self.step)
        self.outer_values = np.empty((stamps.outer.own, lanes))
        self.outer_reciprocals = np.empty((stamps.order.linear, lanes))
        self.whole = np.empty((stamps.order.rows.size, lanes))
        self.spread: Floats | None = None  # unknowns of the core that `whole` was last filled in from
        self.spreading = stamps.outer.backward(self.outer_values, self.outer_reciprocals, self.whole)


class Benches:
    """All benches of one solve."""

    def __init__(self, stamps: Stamps) -> None:
        self.stamps = stamps
        self._inner: dict[int, Bench] = {}
        self._outer: dict[tuple[int, int], OuterBench] = {}

    def outer(self, lanes: int, sides: int) -> OuterBench:
        """Return the bench for so many boards and right-hand sides, one standing for any number."""
        return _recent(self._outer, (lanes, sides), lambda: OuterBench(self.stamps, lanes, sides))

    def inner(self, lanes: int) -> Bench:
        """Return the bench for so many lanes."""
        return _recent(self._inner, lanes, lambda: Bench(self.stamps, lanes))


def _recent(kept: dict[Key, Thing], key: Key, make: Callable[[], Thing]) -> Thing:
    """Return what is kept under a key, made if it is not there, as the one used last."""
    thing = kept.pop(key, None) or make()
    if len(kept) >= _MOST:
        del kept[next(iter(kept))]
    kept[key] = thing
    return thing


@contextmanager
def lent(stamps: Stamps) -> Iterator[Benches]:
    """Lend benches for these patterns while a solve lasts."""
    try:
        benches = _put_away.pop()
    except IndexError:
        benches = Benches(stamps)
    if benches.stamps is not stamps:
        benches = Benches(stamps)
    yield benches
    _put_away[:] = [benches]
