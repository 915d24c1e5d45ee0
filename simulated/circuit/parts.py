"""The spread of real parts: how far each board's values lie from nominal.

`Parts` holds factors, not values, so that the same board can be solved with a fault in it, at
another trimmer position or temperature: what is fitted stays fitted.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from .errors import CircuitError, nearest
from .netlist import Element, Netlist

__all__ = ["Parts", "draw_parts", "nominal_parts"]

Floats = NDArray[np.float64]

# Half-widths of uniform spreads, as the reference samples of the demo boards were drawn; a
# transistor's is the natural logarithm of its gain's factor. Common practice, no source.
_SPREADS = {"R": ("value", 0.01), "C": ("value", 0.20), "Q": ("bf", 0.30), "D": ("bv", 0.03)}


@dataclass(frozen=True)
class Parts:
    """Factors on element values and model parameters, each of shape (boards,).

    Keys are (`R108`, `value`), (`Q101`, `bf`), (`DZ101`, `bv`); what is not named is nominal.
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
    netlist: Netlist, rng: np.random.Generator, boards: int, tolerances: Mapping[str, float] | None = None
) -> Parts:
    """Return boards whose parts are drawn uniformly within their tolerances.

    `tolerances` replaces the default of a part, by its name: `R108`, or `RV101` for `RV101A` and
    `RV101B` together. Parts inside subcircuits and parts a fault put in keep their values unless named.
    The first boards are the same whatever their number. Raises CircuitError for an unknown name.
    """
    chosen = _tolerances(netlist, tolerances or {})
    uniform = rng.uniform(-1.0, 1.0, size=(boards, len(chosen)))
    factors = {}
    for column, (element, parameter, tolerance) in enumerate(chosen):
        spread = tolerance * uniform[:, column]
        factors[element.name, parameter] = np.exp(spread) if parameter == "bf" else 1.0 + spread
    return Parts(boards, factors)


def _tolerances(netlist: Netlist, given: Mapping[str, float]) -> list[tuple[Element, str, float]]:
    wanted = {name.upper(): tolerance for name, tolerance in given.items()}
    used: set[str] = set()
    chosen = []
    for element in netlist.elements:
        if element.kind not in _SPREADS or (element.kind == "D" and not _is_zener(netlist, element)):
            continue
        parameter, default = _SPREADS[element.kind]
        name = next((key for key in (element.name, element.name[:-1]) if key in wanted), None)
        if name is not None:
            used.add(name)
            chosen.append((element, parameter, wanted[name]))
        elif "." not in element.name and not element.added:
            chosen.append((element, parameter, default))
    unknown = wanted.keys() - used
    if unknown:
        close = nearest(min(unknown), (element.name for element in netlist.elements))
        raise CircuitError(f"no part '{min(unknown)}' with a tolerance in {netlist.name}; write one of {close}")
    return chosen


def _is_zener(netlist: Netlist, element: Element) -> bool:
    return element.model is not None and "bv" in netlist.models[element.model].parameters
