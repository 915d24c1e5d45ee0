"""The spread of real parts: how far each board's values lie from nominal.

`Parts` holds factors, not values, so that the same board can be solved with a fault in it, at
another trimmer position or temperature: what is fitted stays fitted.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from .errors import CircuitError
from .netlist import Netlist
from .tolerances import Spread, spreads_of

__all__ = ["Parts", "draw_parts", "nominal_parts"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Parts:
    """Factors on element values and model parameters, each of shape (boards,).

    Keys are (`R108`, `value`), (`Q101`, `bf`), (`DZ101`, `bv`), (`DLED101`, `is`); what is not named is nominal.
    """

    boards: int
    factors: Mapping[tuple[str, str], Floats] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for key, factor in self.factors.items():
            if factor.shape != (self.boards,) or not np.all(np.isfinite(factor)):
                raise CircuitError(f"factors of {key} have shape {factor.shape}; give {self.boards} finite numbers")

    def factor(self, element: str, parameter: str) -> Floats | None:
        """Return the factors (boards,) of one parameter, or None where it is nominal."""
        return self.factors.get((element, parameter))

    def board(self, index: int) -> "Parts":
        """Return one board of the batch as a batch of its own."""
        return Parts(1, {key: factor[index : index + 1] for key, factor in self.factors.items()})


def nominal_parts(netlist: Netlist, boards: int = 1) -> Parts:
    """Return `boards` boards of the netlist's own values."""
    return Parts(boards)


def draw_parts(
    netlist: Netlist,
    rng: np.random.Generator | Sequence[np.random.Generator],
    boards: int,
    tolerances: Mapping[str, float] | None = None,
    *,
    spread: Literal["uniform", "normal"] = "uniform",
    matched: Sequence[Sequence[str]] = (),
    offsets: Mapping[str, float] | None = None,
    first: int = 0,
) -> Parts:
    """Return boards whose parts are drawn within their tolerances, boards `first` and following of the generator.

    `tolerances` replaces the default of a part, by its name: `R108`, or `RV101` for `RV101A` and
    `RV101B`, which always share one draw. Parts inside subcircuits keep their values unless named, and so do
    parts a fault put in. `matched` are groups of parts from one lot, which share their draw. `offsets` are
    half-widths in volts at the pins given to `with_offsets`. The normal spread has a standard deviation of a third
    of the tolerance and ends there. Every board has a child generator of its own, so that it is the same, bit for
    bit, in any batch; of several generators each board takes a child of its own one. Raises CircuitError for an
    unknown name, and for generators that are not as many as boards.
    """
    spreads = spreads_of(netlist, tolerances or {}, matched, offsets or {})
    numbers = _numbers(rng, first, boards, _draws(netlist, spreads))
    factors = {}
    for each in spreads:
        u = numbers[each.draw] if spread == "uniform" else _normal(numbers[each.draw])
        if each.from_zero:
            factors[each.element, each.parameter] = each.half * u
        else:
            factors[each.element, each.parameter] = np.exp(each.half * u) if each.logarithmic else 1.0 + each.half * u
    return Parts(boards, factors)


def _draws(netlist: Netlist, spreads: Sequence[Spread]) -> list[str]:
    """Return whose numbers are drawn, in order: every part of the board, then what was named beyond.

    A fault that fits a part without tolerance, or a tolerance that is given, so moves no other part's number.
    """
    own = [element.name for element in netlist.body.elements if not element.added]
    return list(dict.fromkeys([*own, *(each.draw for each in spreads)]))


def _numbers(
    rng: np.random.Generator | Sequence[np.random.Generator], first: int, boards: int, names: Sequence[str]
) -> dict[str, Floats]:
    if isinstance(rng, np.random.Generator):
        children = rng.spawn(first + boards)[first:]
    else:
        children = [each.spawn(1)[0] for each in rng]
    if len(children) != boards:
        raise CircuitError(f"{len(children)} generators were given for {boards} boards; give one for each")
    table = np.array([child.uniform(-1.0, 1.0, len(names)) for child in children]).reshape(boards, len(names))
    return {name: table[:, column] for column, name in enumerate(names)}


def _normal(u: Floats) -> Floats:
    """Turn numbers uniform on -1..1 into normal ones, sigma a third, cut at -1 and 1."""
    from scipy.special import ndtri  # slow to import, and seldom wanted

    tail = 0.0013498980316300933  # of a normal distribution beyond three sigma
    return np.clip(np.asarray(ndtri(tail + (u + 1.0) / 2.0 * (1.0 - 2.0 * tail))) / 3.0, -1.0, 1.0)
