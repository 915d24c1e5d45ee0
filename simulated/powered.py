"""A circuit under power in virtual time: at rest its operating point, after a change of supply on the way there.

Rails rise, charge under the current limit and decay; loads and trimmers act at once on a board at rest, which on a
regulator is a matter of milliseconds. What is dissipated warms the board, and the warm board is another circuit.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from simulated.circuit import Circuit, LoadEnd, OperatingPoint, Parts, SupplyEnd, SupplySetting, transfer
from simulated.clock import VirtualClock
from simulated.errors import SimulatedError
from simulated.mains import Alternating
from simulated.motion import Conditions, Motion, Motions
from simulated.strain import Strain, strained

__all__ = ["Modulation", "Powered", "Warmth"]

AMBIENT_CELSIUS = 27.0  # where the netlist's nominal values hold
OFF = SupplySetting(volts=0.0, limit_amps=0.0, on=False)
KELVIN_STEP = 0.02  # the warm board is solved anew at every such step
# A board that hardly moves, this near its operating point, is there.
NEAR_VOLTS, NEAR_SHARE = 5e-3, 1e-3
# With every supply on and feeding below its limit, what still moves after so long swings, and is taken as at rest.
MOST_MOVING_SECONDS = 5.0


@dataclass(frozen=True)
class Warmth:
    """One thermal RC: how far a board warms per watt, and its time constant."""

    kelvin_per_watt: float
    seconds: float


@dataclass(frozen=True)
class Modulation:
    """A sine on top of one supply."""

    supply: str
    rms_volts: float
    hertz: float


@dataclass
class _Heat:
    """How far a board has warmed above its surroundings (kelvin)."""

    warmth: Warmth | None
    rise: float = 0.0

    @property
    def celsius(self) -> float:
        """The board's temperature, in the steps in which it is solved anew."""
        return AMBIENT_CELSIUS + KELVIN_STEP * round(self.rise / KELVIN_STEP)

    def follow(self, watts: float, seconds: float) -> None:
        """Let the board follow its dissipation for a while."""
        if self.warmth is not None:
            towards = watts * self.warmth.kelvin_per_watt
            self.rise = towards + (self.rise - towards) * math.exp(-seconds / self.warmth.seconds)


class Powered:
    """One board's circuit with what the bench applies to it; asking it brings it up to the clock."""

    def __init__(
        self,
        circuit: Circuit,
        parts: Parts,
        clock: VirtualClock,
        *,
        parameters: Mapping[str, float],
        warmth: Warmth | None = None,
    ) -> None:
        self._circuit, self._parts, self._clock, self._heat = circuit, parts, clock, _Heat(warmth)
        self._parameters = dict(parameters)
        self._bench = circuit
        self._supplies = {end.name: OFF for end in circuit.ends.supplies}
        self._loads = {end.name: 0.0 for end in circuit.ends.loads}
        self._seen = self._changed = clock.seconds()
        self._motions = Motions(circuit, parts)
        self._motion: Motion | Alternating | None = None
        self._solved: dict[tuple[object, ...], OperatingPoint] = {}
        self._last: OperatingPoint | None = None

    @property
    def celsius(self) -> float:
        """The board's temperature."""
        return self._heat.celsius

    @property
    def tested(self) -> bool:
        """Whether an ohmmeter is on the board, and the bench's ends are off it."""
        return self._circuit is not self._bench

    @property
    def parameters(self) -> Mapping[str, float]:
        """The netlist parameters as they stand, trimmers among them."""
        return dict(self._parameters)

    def setting(self, supply: str) -> SupplySetting:
        """Return what a supply is set to; while an ohmmeter is on the board all are off."""
        return OFF if self.tested else self._supplies[supply]

    def test(self, circuit: Circuit, current: SupplySetting) -> None:
        """Take the bench's ends off and let a test current into the board, through the one supply of `circuit`.

        The circuit has the same netlist; nothing may be fed, and charges stay where they are.
        """
        self._rewire(circuit, dict.fromkeys((end.name for end in circuit.ends.supplies), current))

    def end_test(self) -> None:
        """Put the bench's ends back on the board, all off."""
        if self._circuit is not self._bench:
            self._rewire(self._bench, dict.fromkeys((end.name for end in self._bench.ends.supplies), OFF))

    def _rewire(self, circuit: Circuit, supplies: dict[str, SupplySetting]) -> None:
        point = self.now().on(circuit.layout, circuit.ends)
        self._circuit, self._motions, self._solved = circuit, Motions(circuit, self._parts), {}
        self._supplies, self._loads = supplies, {end.name: 0.0 for end in circuit.ends.loads}
        self._move(point)
        self._changed = self._clock.seconds()

    def set_supply(self, name: str, setting: SupplySetting) -> None:
        """Apply a supply's setting; unless it was off and stays off, the board begins to move."""
        before = self._supplies[name]
        setting = setting if setting.on else OFF  # what is programmed on a supply that is off reaches no board
        if setting == before:
            return
        point = self.now()
        if self._motion is None and (setting.on or before.on):
            self._move(point)
        self._supplies[name] = setting
        self._changed = self._clock.seconds()

    def set_load(self, name: str, amps: float) -> None:
        """Apply a load's current."""
        if amps != self._loads[name]:
            self.now()
            self._loads[name] = amps

    def set_parameter(self, name: str, value: float) -> None:
        """Set a netlist parameter, such as a trimmer's travel."""
        if value != self._parameters[name]:
            point = self.now()
            self._parameters[name] = value
            if self._motion is not None:
                self._move(point)

    def switch(self, name: str, on: bool) -> None:
        """Throw a switch, a netlist parameter that is 1 or 0: charges stay where they are."""
        point = self.now()
        self._parameters[name] = 1.0 if on else 0.0
        self._changed = self._clock.seconds()
        self._move(point)

    def now(self) -> OperatingPoint:
        """Return where the circuit stands now; SimulatedError where it has no solution."""
        passed = self._clock.seconds() - self._seen
        if passed > 0.0:
            self._seen += passed
            if self._motion is not None:
                self._follow(self._motion, passed)
            self._heat.follow(dissipation(self._circuit, self._point()), passed)
        return self._point()

    def strain(self) -> Strain:
        """Return what the parts go through now."""
        point = self.now()
        return strained(self._circuit, point, parts=self._parts, parameters=self._parameters, celsius=self.celsius)

    def ripple_volts(self, node: str, modulation: Modulation) -> float:
        """Return the rms volts at a node that come through from a modulated supply, around where it stands now."""
        response = transfer(
            self._circuit,
            self.now(),
            source=modulation.supply,
            nodes=(node,),
            hertz=(modulation.hertz,),
            parts=self._parts,
            parameters=self._parameters,
            celsius=self.celsius,
        )
        return modulation.rms_volts * float(abs(response[0, 0, 0]))

    def alternating_volts(self, node: str) -> float:
        """Return the rms volts that alternate at a node by themselves."""
        self.now()
        return self._motion.rms_volts(node) if isinstance(self._motion, Alternating) else 0.0

    def _move(self, begin: OperatingPoint) -> None:
        # Whole kelvins will do on the way.
        conditions = Conditions(tuple(self._parameters.items()), float(round(self.celsius)))
        self._motion = self._motions.begin(conditions, begin)

    def _follow(self, motion: Motion | Alternating, seconds: float) -> None:
        """Take a motion on; it ends where the board has come to rest."""
        motion.advance(seconds, self._supplies, self._loads)
        if isinstance(motion, Alternating):
            return
        if motion.lost or self._swings(motion) or (motion.settled() and self._is_at_rest(motion)):
            self._last, self._motion = motion.point(), None

    def _swings(self, motion: Motion) -> bool:
        point = motion.point()
        every_one_on = bool(self._supplies) and all(setting.on for setting in self._supplies.values())
        feeding = every_one_on and not point.supplies_blocked()
        charging = any(bool(point.supply_limited(name)[0]) for name in self._supplies)
        return feeding and not charging and self._clock.seconds() - self._changed > MOST_MOVING_SECONDS

    def _is_at_rest(self, motion: Motion) -> bool:
        point = motion.point()
        off = np.abs(self._at_rest(point).node_volts() - point.node_volts())
        return bool((off <= NEAR_VOLTS + NEAR_SHARE * np.abs(point.node_volts())).all())

    def _point(self) -> OperatingPoint:
        return self._at_rest(self._last) if self._motion is None else self._motion.point()

    def _at_rest(self, start: OperatingPoint | None) -> OperatingPoint:
        """Return the operating point for what is applied; solved once per condition, from `start`."""
        key = (*self._supplies.values(), *self._loads.values(), *self._parameters.values(), self.celsius)
        if key not in self._solved:
            self._solved[key] = self._solution(start)
        if self._motion is None:
            self._last = self._solved[key]
        return self._solved[key]

    def _solution(self, start: OperatingPoint | None) -> OperatingPoint:
        point = self._circuit.operating_point(
            parts=self._parts,
            parameters=self._parameters,
            supplies=self._supplies,
            loads=self._loads,
            celsius=self.celsius,
            start=start,
        )
        if not bool(point.solved[0]):
            raise SimulatedError(
                f"{self._circuit.netlist.name} has no operating point with {_applied(self._supplies, self._loads)}; "
                "look for a node that nothing holds, or a loop that feeds itself"
            )
        return point


def across(point: OperatingPoint, end: SupplyEnd | LoadEnd) -> float:
    """Return the volts from an end's plus to its minus, on the first board."""
    return float(point.volts(end.plus)[0] - point.volts(end.minus)[0])


def dissipation(circuit: Circuit, point: OperatingPoint) -> float:
    """Return the watts that come in through the supplies and do not leave through the loads, on the first board."""
    fed = sum(across(point, end) * float(point.supply_amps(end.name)[0]) for end in circuit.ends.supplies)
    drawn = sum(across(point, end) * float(point.load_amps(end.name)[0]) for end in circuit.ends.loads)
    return max(0.0, fed - drawn)


def _applied(sources: Mapping[str, SupplySetting], loads: Mapping[str, float]) -> str:
    """Return what a bench applies, in words."""
    fed = [f"{name} {f'at {setting.volts:g} V' if setting.on else 'off'}" for name, setting in sources.items()]
    return ", ".join([*fed, *(f"{name} loaded with {amps:g} A" for name, amps in loads.items() if amps)])
