"""One simulated board on a bench: a circuit with its own part values, faults and trimmer positions, in virtual time.

The instruments reach it through ports. Its operating point is solved for what they apply; after a cut the input
capacitance of each rail decays through what the board draws, one time constant a rail.
"""

import math
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from simulated.circuit import (
    Circuit,
    LoadEnd,
    MeterEnd,
    Netlist,
    OperatingPoint,
    SupplyEnd,
    SupplySetting,
    capacitance_at,
    draw_parts,
    nominal_parts,
    parse_fault,
    read_netlist,
    with_fault,
)
from simulated.clock import VirtualClock
from simulated.errors import SimulatedError
from simulated.ports import LoadState, Regulation, SupplyState

__all__ = ["BoardDescription", "SimulatedBoard", "TrimmerDescription"]

METER_OHMS = 10e6  # the usual input resistance of a bench meter: common practice, no source
EMPTY_VOLTS = 1e-3  # a rail that has decayed this far counts as empty


@dataclass(frozen=True)
class TrimmerDescription:
    """A trimmer: `parameter` of the netlist is its travel clockwise, 0..1."""

    name: str
    parameter: str
    turns: float


@dataclass(frozen=True)
class BoardDescription:
    """All that the simulated bench knows of a board; terminals are (name, node) pairs."""

    netlist: str
    netlist_name: str
    folder: Path
    inputs: tuple[tuple[str, str], ...]
    outputs: tuple[tuple[str, str], ...]
    probes: tuple[tuple[str, str], ...] = ()
    negative: frozenset[str] = frozenset()  # terminals below ground: their channels and loads are turned round
    trimmers: tuple[TrimmerDescription, ...] = ()
    tolerances: tuple[tuple[str, float], ...] = ()  # part, relative: where it differs from what its kind usually has

    @property
    def terminals(self) -> dict[str, str]:
        """Nodes by terminal, inputs first."""
        return dict((*self.inputs, *self.outputs, *self.probes))


@dataclass
class _Rail:
    """One input: what its supply channel applies, and the charge that its capacitance still holds (volts)."""

    setting: SupplySetting
    farads: float
    held_volts: float = 0.0
    held_since: float = 0.0
    held_tau: float = 0.0


class SimulatedBoard:
    """A board wired to a bench. Positive at a port's plus, whichever way round the terminal hangs."""

    def __init__(
        self,
        description: BoardDescription,
        clock: VirtualClock,
        *,
        rng: np.random.Generator | None = None,
        faults: Sequence[str] = (),
    ) -> None:
        self._description, self._clock = description, clock
        self.lock = threading.RLock()  # every instrument reaches the board on a thread of its own
        netlist = read_netlist(description.netlist, name=description.netlist_name, folder=description.folder)
        for terminal, node in description.terminals.items():
            if node.lower() not in netlist.nodes:
                raise SimulatedError(f"terminal {terminal} is at node '{node}', which {netlist.name} does not have")
        for fault in faults:
            netlist = with_fault(netlist, parse_fault(fault))
        tolerances = dict(description.tolerances)
        self._parts = (
            nominal_parts(netlist) if rng is None else draw_parts(netlist, rng, boards=1, tolerances=tolerances)
        )
        self.trimmers = {trimmer.parameter: 0.5 for trimmer in description.trimmers}
        self._circuit = _circuit(netlist, description)
        self._rails = {
            name: _Rail(SupplySetting(volts=0.0, limit_amps=0.0, on=False), self._farads(netlist, node))
            for name, node in description.inputs
        }
        self._loads = dict.fromkeys((name for name, _ in description.outputs), 0.0)
        self._solved: dict[tuple[object, ...], OperatingPoint] = {}
        self._last: OperatingPoint | None = None

    def _farads(self, netlist: Netlist, node: str) -> float:
        return float(capacitance_at(netlist, node, self.trimmers))

    def volts(self, terminal: str) -> float:
        """Return the true volts from ground at a terminal now; SimulatedError where the circuit has no solution."""
        return float(self._point().volts(self._description.terminals[terminal])[0])

    def supply_state(self, terminal: str) -> SupplyState:
        """Return what the supply channel at an input sees."""
        point, rail = self._point(), self._rails[terminal]
        volts = self._sign(terminal) * self.volts(terminal)
        if not rail.setting.on:
            return SupplyState(volts, 0.0, Regulation.OFF)
        if self._held(rail) > float(rail.setting.volts):
            return SupplyState(volts, 0.0, Regulation.VOLTAGE)
        limited = bool(point.supply_limited(terminal)[0])
        amps = float(point.supply_amps(terminal)[0])
        return SupplyState(volts, amps, Regulation.CURRENT if limited else Regulation.VOLTAGE)

    def load_state(self, terminal: str) -> LoadState:
        """Return what the load at an output sees."""
        amps = float(self._point().load_amps(terminal)[0])
        return LoadState(self._sign(terminal) * self.volts(terminal), amps)

    def feed(self, terminal: str, *, volts: float, limit_amps: float, on: bool) -> None:
        """Take over a supply channel's settings; what the rail's capacitance holds begins to decay."""
        setting = SupplySetting(volts=volts, limit_amps=limit_amps, on=on)
        if setting != self._rails[terminal].setting:
            self._keep_charge(changing=terminal)
            self._rails[terminal].setting = setting

    def draw(self, terminal: str, amps: float) -> None:
        """Take over a load's setting (0 = input off)."""
        if amps != self._loads[terminal]:
            self._loads[terminal] = amps
            self._keep_charge()  # what is held now drains at the new rate

    def turn(self, parameter: str, position: float) -> None:
        """Put a trimmer's wiper to a position, 0..1 clockwise."""
        if not 0.0 <= position <= 1.0:
            raise ValueError(f"a trimmer has no position {position:g}; write 0 to 1")
        self.trimmers[parameter] = position

    def _sign(self, terminal: str) -> float:
        return -1.0 if terminal in self._description.negative else 1.0

    def _keep_charge(self, changing: str = "") -> None:
        """Note the charge of the rails that a change sets free or drains at another rate, as it stands now."""
        for name, rail in self._rails.items():
            if name != changing and rail.setting.on and self._held(rail) <= float(rail.setting.volts):
                continue
            state = self.supply_state(name)
            held = state.volts if rail.setting.on else self._held(rail)
            amps = float(self._point().supply_amps(name)[0])
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
        """Return the operating point for what is applied now; solved once per condition, warm from the one before."""
        sources = {name: self._source(rail) for name, rail in self._rails.items()}
        key = (tuple(sources.values()), tuple(self._loads.values()), tuple(self.trimmers.values()))
        if key not in self._solved:
            point = self._circuit.operating_point(
                parts=self._parts, parameters=self.trimmers, supplies=sources, loads=self._loads, start=self._last
            )
            if not bool(point.solved[0]):
                raise SimulatedError(
                    f"{self._description.netlist_name} has no operating point with {_applied(sources, self._loads)}; "
                    "look for a node that nothing holds, or a loop that feeds itself"
                )
            self._solved[key] = self._last = point
        return self._solved[key]


def _applied(sources: Mapping[str, SupplySetting], loads: Mapping[str, float]) -> str:
    """Return what a bench applies, in words."""
    fed = [f"{name} {f'at {setting.volts:g} V' if setting.on else 'off'}" for name, setting in sources.items()]
    return ", ".join([*fed, *(f"{name} loaded with {amps:g} A" for name, amps in loads.items() if amps)])


def _circuit(netlist: Netlist, description: BoardDescription) -> Circuit:
    """Return the circuit of board and bench: a channel round a terminal below ground has its plus at GND."""

    def around(terminal: str, node: str) -> tuple[str, str]:
        return ("0", node) if terminal in description.negative else (node, "0")

    return Circuit(
        netlist,
        supplies=tuple(SupplyEnd(name, *around(name, node)) for name, node in description.inputs),
        loads=tuple(LoadEnd(name, *around(name, node)) for name, node in description.outputs),
        meters=tuple(MeterEnd(name, node, "0", METER_OHMS) for name, node in description.terminals.items()),
    )
