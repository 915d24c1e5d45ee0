"""One simulated board on a bench: a circuit with its own part values, faults and trimmer positions, in virtual time.

The instruments reach it through ports; `powered` follows what they apply through time.
"""

import threading
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from simulated.circuit import (
    Circuit,
    LoadEnd,
    MeterEnd,
    Netlist,
    Parts,
    SupplyEnd,
    SupplySetting,
    draw_parts,
    nominal_parts,
    parse_fault,
    read_netlist,
    with_fault,
    with_offsets,
)
from simulated.clock import VirtualClock
from simulated.errors import SimulatedError
from simulated.mains import PATIENT_SECONDS
from simulated.ports import LoadState, Regulation, SupplyState
from simulated.powered import Modulation, Powered, Warmth
from simulated.strain import Strain

__all__ = ["BoardDescription", "SimulatedBoard", "TrimmerDescription", "built", "designed", "fitted"]
__all__ += ["misbuilt", "tested", "wired"]

METER_OHMS = 10e6  # the usual input resistance of a bench meter: common practice, no source


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
    offsets: tuple[tuple[str, float], ...] = ()  # pin of a subcircuit part, half-width in volts
    matched: tuple[tuple[str, ...], ...] = ()  # groups of parts from one lot
    warmth: Warmth | None = None
    mains_switch: str = ""  # a netlist parameter, 1 where mains feed the board and 0 where not

    @property
    def terminals(self) -> dict[str, str]:
        """Nodes by terminal, inputs first."""
        return dict((*self.inputs, *self.outputs, *self.probes))


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
        netlist = built(description, faults)
        parts = nominal_parts(netlist) if rng is None else fitted(netlist, description, [rng])
        travel = {trimmer.parameter: 0.5 for trimmer in description.trimmers}  # all start at mid-travel
        if description.mains_switch:
            travel[_switch(netlist, description.mains_switch)] = 0.0
        circuit = wired(netlist, description)
        self._netlist = netlist
        self._modulation: Modulation | None = None
        self._powered = Powered(circuit, parts, clock, parameters=travel, warmth=description.warmth)

    @property
    def trimmers(self) -> Mapping[str, float]:
        """Each trimmer's travel clockwise, 0..1, by its netlist parameter."""
        return self._powered.parameters

    @property
    def celsius(self) -> float:
        """The board's temperature."""
        return self._powered.celsius

    def volts(self, terminal: str) -> float:
        """Return the true volts from ground at a terminal now; SimulatedError where the circuit has no solution."""
        return float(self._powered.now().volts(self._description.terminals[terminal])[0])

    def strain(self) -> Strain:
        """Return what the board's parts go through now."""
        with self.lock:
            return self._powered.strain()

    def modulate(self, terminal: str, *, rms_volts: float, hertz: float) -> None:
        """Put a sine on top of what feeds an input, as a modulated source does; 0 V takes it off."""
        self._modulation = Modulation(terminal, rms_volts, hertz) if rms_volts > 0.0 else None

    def ripple_volts(self, terminal: str) -> float:
        """Return the true rms volts that alternate at a terminal: the modulation, as far as it gets there."""
        if self._modulation is None:
            return self._powered.alternating_volts(self._description.terminals[terminal])
        return self._powered.ripple_volts(self._description.terminals[terminal], self._modulation)

    def supply_state(self, terminal: str) -> SupplyState:
        """Return what the supply channel at an input sees."""
        volts, point = self._sign(terminal) * self.volts(terminal), self._powered.now()
        if not self._powered.setting(terminal).on:
            return SupplyState(volts, 0.0, Regulation.OFF)
        limited = bool(point.supply_limited(terminal)[0])
        amps = float(point.supply_amps(terminal)[0])
        return SupplyState(volts, amps, Regulation.CURRENT if limited else Regulation.VOLTAGE)

    def load_state(self, terminal: str) -> LoadState:
        """Return what the load at an output sees."""
        amps = 0.0 if self._powered.tested else float(self._powered.now().load_amps(terminal)[0])
        return LoadState(self._sign(terminal) * self.volts(terminal), amps)

    def feed(self, terminal: str, *, volts: float, limit_amps: float, on: bool) -> None:
        """Take over a supply channel's settings; an ohmmeter that is still on the board is taken off first."""
        if on:
            self._powered.end_test()
        if on or not self._powered.tested:
            self._powered.set_supply(terminal, SupplySetting(volts=volts, limit_amps=limit_amps, on=on))

    def draw(self, terminal: str, amps: float) -> None:
        """Take over a load's setting (0 = input off)."""
        if amps:
            self._powered.end_test()
        if not self._powered.tested:
            self._powered.set_load(terminal, amps)

    def test(self, terminal: str, *, turned: bool, amps: float, most_volts: float) -> None:
        """Let an ohmmeter's test current into a terminal, `turned` out of it, while the bench's ends are off the board.

        A board that is fed is not touched: what feeds it is stronger than the meter.
        """
        if not any(self._powered.setting(name).on for name, _ in self._description.inputs):
            circuit = tested(self._netlist, self._description, [terminal], turned=turned)
            self._powered.test(circuit, SupplySetting(volts=most_volts, limit_amps=amps))

    def end_test(self) -> None:
        """Take the ohmmeter off."""
        self._powered.end_test()

    def switch_mains(self, on: bool) -> None:
        """Throw the switch in the mains lead; SimulatedError where the board has none."""
        if not self._description.mains_switch:
            raise SimulatedError("the board sheet says no 'mains switch': nothing is there to be thrown")
        self._powered.switch(self._description.mains_switch, on)
        # It costs seconds; while whoever threw the switch waits, so that no instrument is late with its answer for it.
        self._clock.call_at(self._clock.seconds() + PATIENT_SECONDS, self._follow)

    def _follow(self) -> None:
        """Bring the board up to the clock; what it can't be followed through shows when it is asked."""
        with self.lock, suppress(SimulatedError):
            self._powered.now()

    def turn(self, parameter: str, position: float) -> None:
        """Put a trimmer's wiper to a position, 0..1 clockwise."""
        if not 0.0 <= position <= 1.0:
            raise ValueError(f"a trimmer has no position {position:g}; write 0 to 1")
        self._powered.set_parameter(parameter, position)

    def _sign(self, terminal: str) -> float:
        return -1.0 if terminal in self._description.negative else 1.0


def _switch(netlist: Netlist, name: str) -> str:
    """Return a mains switch's parameter; SimulatedError where the netlist does not have it."""
    if name.lower() not in netlist.params:
        what = (
            f"'{name}', which {netlist.name} does not have; write there '.param {name}=0', and use it in a SIN source"
        )
        raise SimulatedError(f"the mains switch is the parameter {what}")
    return name


def built(description: BoardDescription, faults: Sequence[str]) -> Netlist:
    """Return a board's netlist as it was built, faults and all.

    Raises SimulatedError for a terminal at no node, CircuitError for a netlist or fault that is wrong.
    """
    return misbuilt(designed(description), description, faults)


def designed(description: BoardDescription) -> Netlist:
    """Return a board's netlist as it was drawn; SimulatedError for a terminal at no node."""
    netlist = read_netlist(description.netlist, name=description.netlist_name, folder=description.folder)
    for terminal, node in description.terminals.items():
        if node.lower() not in netlist.nodes:
            raise SimulatedError(f"terminal {terminal} is at node '{node}', which {netlist.name} does not have")
    return netlist


def misbuilt(netlist: Netlist, description: BoardDescription, faults: Sequence[str]) -> Netlist:
    """Return a netlist as it was drawn with faults in it, and offsets; CircuitError for a fault that is wrong."""
    for fault in faults:
        netlist = with_fault(netlist, parse_fault(fault))
    return with_offsets(netlist, dict(description.offsets))


def fitted(netlist: Netlist, description: BoardDescription, rngs: Sequence[np.random.Generator]) -> Parts:
    """Return the parts of as many boards as there are generators, within their tolerances."""
    return draw_parts(
        netlist,
        rngs,
        boards=len(rngs),
        tolerances=dict(description.tolerances),
        matched=description.matched,
        offsets=dict(description.offsets),
    )


def tested(
    netlist: Netlist, description: BoardDescription, terminals: Iterable[str], *, turned: bool = False
) -> Circuit:
    """Return the circuit of a board with nothing on it but an ohmmeter at each terminal, `turned`: its plus at GND.

    An ohmmeter is a supply: its test current is the limit, and what it can drive at most is the voltage. The meter's
    inputs stay where they are, which is a hundredth of a percent of a kilohm: without them some faults leave nodes
    to float.
    """
    nodes = description.terminals
    return Circuit(
        netlist,
        supplies=tuple(SupplyEnd(name, *(("0", nodes[name]) if turned else (nodes[name], "0"))) for name in terminals),
        meters=_meters(description),
    )


def _meters(description: BoardDescription) -> tuple[MeterEnd, ...]:
    return tuple(MeterEnd(name, node, "0", METER_OHMS) for name, node in description.terminals.items())


def wired(netlist: Netlist, description: BoardDescription) -> Circuit:
    """Return the circuit of board and bench; a channel round a terminal below ground has its plus at GND."""

    def around(terminal: str, node: str) -> tuple[str, str]:
        return ("0", node) if terminal in description.negative else (node, "0")

    return Circuit(
        netlist,
        supplies=tuple(SupplyEnd(name, *around(name, node)) for name, node in description.inputs),
        loads=tuple(LoadEnd(name, *around(name, node)) for name, node in description.outputs),
        meters=_meters(description),
    )
