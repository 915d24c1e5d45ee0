"""A board between two states of rest: rails that rise, charge under a current limit and decay, in virtual time.

What a bench sees takes milliseconds and more, so what semiconductors store is left out. A board that gets lost
(where its states part, say) is tried once more from where it stood, and then taken as at rest.
"""

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from simulated.circuit import Circuit, OperatingPoint, Parts, SupplySetting, Tolerance, Transient
from simulated.mains import FOLLOWED, Alternating

__all__ = ["Conditions", "Motion", "Motions"]

logger = logging.getLogger(__name__)

# Readings are taken at rest; on the way there a rail may be a hundredth of a volt off in each step, and may not ring.
ROUGH = Tolerance(volts=1e-2, share=1e-3, first_seconds=5e-4, damped=True)


@dataclass(frozen=True)
class Conditions:
    """What stays while a board moves: netlist parameters (trimmers among them) and temperature."""

    parameters: tuple[tuple[str, float], ...]
    celsius: float


class Motion:
    """One board on its way; `begin` says where it stands, `advance` takes it on."""

    def __init__(self, transients: Callable[[], Transient], begin: OperatingPoint) -> None:
        self._transients = transients
        self._moving = self._started(begin)
        self.lost = False

    def advance(self, seconds: float, supplies: Mapping[str, SupplySetting], loads: Mapping[str, float]) -> None:
        """Go on for a while; a board that can't be followed is `lost`, and stands where it stood."""
        begun = self._moving.point()
        self._moving.advance(seconds, supplies=supplies, loads=loads)
        if not self._solved():
            self._moving = self._started(begun)
            self._moving.advance(seconds, supplies=supplies, loads=loads)
        if not self._solved():
            logger.warning("the simulated board can't be followed through time: taken as at rest")
            self.lost, self._moving = True, self._started(begun)

    def point(self) -> OperatingPoint:
        """Return where the board stands."""
        return self._moving.point()

    def settled(self) -> bool:
        """Return whether the board hardly moves any more."""
        return self._moving.settled()

    def _solved(self) -> bool:
        return bool(self._moving.point().solved[0])

    def _started(self, point: OperatingPoint) -> Transient:
        moving = self._transients()
        moving.start_from(point)
        return moving


class Motions:
    """Starts motions of one board; what they are computed with is made once for the conditions last used."""

    def __init__(self, circuit: Circuit, parts: Parts) -> None:
        self._circuit, self._parts = circuit, parts
        self._made: dict[Conditions, Transient] = {}

    def begin(self, conditions: Conditions, point: OperatingPoint) -> Motion | Alternating:
        """Return a motion that begins at a point; one that never ends where the netlist has a sine of its own."""
        if self._transient(conditions).hertz:
            return Alternating(self._made_of(conditions, FOLLOWED), point)
        return Motion(lambda: self._transient(conditions), point)

    def _transient(self, conditions: Conditions) -> Transient:
        if conditions not in self._made:
            self._made = {conditions: self._made_of(conditions, ROUGH)}
        return self._made[conditions]

    def _made_of(self, conditions: Conditions, tolerance: Tolerance) -> Transient:
        return Transient(
            self._circuit,
            parts=self._parts,
            parameters=dict(conditions.parameters),
            celsius=conditions.celsius,
            tolerance=tolerance,
            junctions_store=False,
        )
