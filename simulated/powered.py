"""A circuit under power in virtual time: its operating point for what is applied, its charge after a cut, its warmth.

Supplies, loads and trimmers act at once. After a cut the input capacitance of each rail decays through what the board
draws, one time constant a rail. What is dissipated warms the board, and the warm board is another circuit.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from simulated.circuit import Circuit, OperatingPoint, Parts, SupplySetting, transfer
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
        self._circuit, self._parts, self._clock, self._warmth = circuit, parts, clock, warmth
        self._parameters = dict(parameters)
        off = SupplySetting(volts=0.0, limit_amps=0.0, on=False)
        self._rails = {end.name: _Rail(off, farads[end.name]) for end in circuit.ends.supplies}
        self._loads = {end.name: 0.0 for end in circuit.ends.loads}
        self._rise, self._seen = 0.0, clock.seconds()
        self._solved: dict[tuple[object, ...], OperatingPoint] = {}
        self._last: OperatingPoint | None = None

    @property
    def celsius(self) -> float:
        """The board's temperature."""
        return AMBIENT_CELSIUS + KELVIN_STEP * round(self._rise / KELVIN_STEP)

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
        return bool(rail.setting.on) and self._held(rail) <= float(rail.setting.volts)

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
            self._warm(passed)
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
            held = self._across(point, name) if rail.setting.on else self._held(rail)
            amps = float(point.supply_amps(name)[0])
            rail.held_tau = rail.farads * held / amps if amps > 1e-9 and held > EMPTY_VOLTS else 0.0
            rail.held_volts, rail.held_since = max(held, 0.0), self._clock.seconds()

    def _held(self, rail: _Rail) -> float:
        """Return the volts that a rail's capacitance holds now."""
        if rail.held_tau <= 0.0:
            return 0.0
        volts = rail.held_volts * math.exp(-(self._clock.seconds() - rail.held_since) / rail.held_tau)
        return volts if volts > EMPTY_VOLTS else 0.0

    def _source(self, rail: _Rail) -> SupplySetting:
        """Return what drives a rail: its supply, or its own capacitance while that stands higher."""
        held = self._held(rail)
        if held > (float(rail.setting.volts) if rail.setting.on else 0.0):
            return replace(rail.setting, volts=held, limit_amps=math.inf, on=True)
        return rail.setting

    def _point(self) -> OperatingPoint:
        """Return the operating point for what is applied; solved once per condition, warm from the one before."""
        sources = {name: self._source(rail) for name, rail in self._rails.items()}
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

    def _warm(self, seconds: float) -> None:
        """Let the board follow its dissipation for a while."""
        if self._warmth is None:
            return
        towards = self._dissipation() * self._warmth.kelvin_per_watt
        self._rise = towards + (self._rise - towards) * math.exp(-seconds / self._warmth.seconds)

    def _dissipation(self) -> float:
        """Return the watts that come in through the rails and do not leave through the loads."""
        point, ends = self._point(), self._circuit.ends
        fed = sum(self._across(point, end.name) * float(point.supply_amps(end.name)[0]) for end in ends.supplies)
        drawn = sum(self._between(point, e.plus, e.minus) * float(point.load_amps(e.name)[0]) for e in ends.loads)
        return max(0.0, fed - drawn)

    def _across(self, point: OperatingPoint, supply: str) -> float:
        end = next(end for end in self._circuit.ends.supplies if end.name == supply)
        return self._between(point, end.plus, end.minus)

    @staticmethod
    def _between(point: OperatingPoint, plus: str, minus: str) -> float:
        return float(point.volts(plus)[0] - point.volts(minus)[0])


def _applied(sources: Mapping[str, SupplySetting], loads: Mapping[str, float]) -> str:
    """Return what a bench applies, in words."""
    fed = [f"{name} {f'at {setting.volts:g} V' if setting.on else 'off'}" for name, setting in sources.items()]
    return ", ".join([*fed, *(f"{name} loaded with {amps:g} A" for name, amps in loads.items() if amps)])
