"""A circuit under power in virtual time: its operating point for what is applied, its charge after a cut, its warmth.

Supplies, loads and trimmers act at once. After a cut the input capacitance of each rail decays through what the board
draws, one time constant a rail. What is dissipated warms the board, and the warm board is another circuit.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from simulated.circuit import Circuit, LoadEnd, OperatingPoint, Parts, SupplyEnd, SupplySetting, transfer
from simulated.clock import VirtualClock
from simulated.errors import SimulatedError

__all__ = ["Modulation", "Powered", "Warmth"]

AMBIENT_CELSIUS = 27.0  # where the netlist's nominal values hold
KELVIN_STEP = 0.05  # the warm board is solved anew at every such step
EMPTY_VOLTS = 1e-3  # a rail that has decayed this far counts as empty


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
class _Rail:
    """One supply: what it applies, and the charge that the rail's capacitance still holds (volts, plus to minus)."""

    setting: SupplySetting
    farads: float
    held_volts: float = 0.0
    held_since: float = 0.0
    held_tau: float = 0.0

    def held(self, seconds: float) -> float:
        """Return the volts that the capacitance holds at a bench time."""
        if self.held_tau <= 0.0:
            return 0.0
        volts = self.held_volts * math.exp(-(seconds - self.held_since) / self.held_tau)
        return volts if volts > EMPTY_VOLTS else 0.0

    def keep(self, volts: float, amps: float, seconds: float) -> None:
        """Begin to decay from `volts` as `amps` drain it."""
        self.held_tau = self.farads * volts / amps if amps > 1e-9 and volts > EMPTY_VOLTS else 0.0
        self.held_volts, self.held_since = max(volts, 0.0), seconds

    def source(self, seconds: float) -> SupplySetting:
        """Return what drives the rail: its supply, or its own capacitance while that stands higher."""
        held = self.held(seconds)
        if held > (float(self.setting.volts) if self.setting.on else 0.0):
            return replace(self.setting, volts=held, limit_amps=math.inf, on=True)
        return self.setting


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
    """One board's circuit with what the bench applies to it; asking it brings it up to the clock.

    `farads` are what each supply's rail stores.
    """

    def __init__(
        self,
        circuit: Circuit,
        parts: Parts,
        clock: VirtualClock,
        *,
        parameters: Mapping[str, float],
        farads: Mapping[str, float],
        warmth: Warmth | None = None,
    ) -> None:
        self._circuit, self._parts, self._clock, self._heat = circuit, parts, clock, _Heat(warmth)
        self._parameters = dict(parameters)
        off = SupplySetting(volts=0.0, limit_amps=0.0, on=False)
        self._ends = {end.name: end for end in circuit.ends.supplies}
        self._rails = {end.name: _Rail(off, farads[end.name]) for end in circuit.ends.supplies}
        self._loads = {end.name: 0.0 for end in circuit.ends.loads}
        self._seen = clock.seconds()
        self._solved: dict[tuple[object, ...], OperatingPoint] = {}
        self._last: OperatingPoint | None = None

    @property
    def celsius(self) -> float:
        """The board's temperature."""
        return self._heat.celsius

    @property
    def parameters(self) -> Mapping[str, float]:
        """The netlist parameters as they stand, trimmers among them."""
        return dict(self._parameters)

    def setting(self, supply: str) -> SupplySetting:
        """Return what a supply is set to."""
        return self._rails[supply].setting

    def feeds(self, supply: str) -> bool:
        """Return whether a supply is on and its rail is not held higher by its own charge."""
        rail = self._rails[supply]
        return bool(rail.setting.on) and rail.held(self._clock.seconds()) <= float(rail.setting.volts)

    def set_supply(self, name: str, setting: SupplySetting) -> None:
        """Apply a supply's setting; what its rail's capacitance holds begins to decay."""
        if setting != self._rails[name].setting:
            self._keep_charge(changing=name)
            self._rails[name].setting = setting

    def set_load(self, name: str, amps: float) -> None:
        """Apply a load's current."""
        if amps != self._loads[name]:
            self.now()
            self._loads[name] = amps
            self._keep_charge()  # what is held now drains at the new rate

    def set_parameter(self, name: str, value: float) -> None:
        """Set a netlist parameter, such as a trimmer's travel."""
        if value != self._parameters[name]:
            self.now()
            self._parameters[name] = value
            self._keep_charge()

    def now(self) -> OperatingPoint:
        """Return where the circuit stands now; SimulatedError where it has no solution."""
        passed = self._clock.seconds() - self._seen
        if passed > 0.0:
            self._seen += passed
            self._heat.follow(dissipation(self._circuit, self._point()), passed)
        return self._point()

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

    def _keep_charge(self, changing: str = "") -> None:
        """Note the charge of the rails that a change sets free or drains at another rate, as it stands now."""
        point = self.now()
        for name, rail in self._rails.items():
            if name != changing and self.feeds(name):
                continue
            end, seconds = self._ends[name], self._clock.seconds()
            held = across(point, end) if rail.setting.on else rail.held(seconds)
            rail.keep(held, float(point.supply_amps(name)[0]), seconds)

    def _point(self) -> OperatingPoint:
        """Return the operating point for what is applied; solved once per condition, warm from the one before."""
        sources = {name: rail.source(self._clock.seconds()) for name, rail in self._rails.items()}
        key = (*sources.values(), *self._loads.values(), *self._parameters.values(), self.celsius)
        if key not in self._solved:
            self._solved[key] = self._solution(sources)
        self._last = self._solved[key]
        return self._last

    def _solution(self, sources: Mapping[str, SupplySetting]) -> OperatingPoint:
        point = self._circuit.operating_point(
            parts=self._parts,
            parameters=self._parameters,
            supplies=sources,
            loads=self._loads,
            celsius=self.celsius,
            start=self._last,
        )
        if not bool(point.solved[0]):
            raise SimulatedError(
                f"{self._circuit.netlist.name} has no operating point with {_applied(sources, self._loads)}; "
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
