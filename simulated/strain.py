"""What a board goes through at one moment: what its parts burn, and what its capacitors hold."""

from collections.abc import Mapping
from dataclasses import dataclass

from simulated.circuit import Circuit, OperatingPoint, Parts
from simulated.circuit.bleeding import Held, held_charges
from simulated.circuit.heat import part_watts

__all__ = ["Strain", "strained"]


@dataclass(frozen=True)
class Strain:
    """Watts by part, and charges held; the bench's own ends are no parts."""

    watts: Mapping[str, float]
    held: tuple[Held, ...]


def strained(
    circuit: Circuit, point: OperatingPoint, *, parts: Parts, parameters: Mapping[str, float], celsius: float
) -> Strain:
    """Return what a point means for its parts, on the first board."""
    watts = part_watts(circuit, point, parts=parts, parameters=parameters, celsius=celsius)
    return Strain(watts, held_charges(circuit.netlist, point, parameters))
