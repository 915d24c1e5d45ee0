"""A whole simulated bench: one board, a two-way supply, a meter and a load, each behind a TCP port of its own.

Nothing is shared with the drivers but the wire. Wiring: supply channel n feeds the board's n-th input (turned
round where the input is below ground), load channel n its n-th output, meter input n its n-th terminal. With as many
terminals, the meter's inputs after those are the same terminals turned round: plus at GND.
"""

from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass

import numpy as np

from simulated.board import BoardDescription, SimulatedBoard
from simulated.clock import VirtualClock
from simulated.hands import Hands
from simulated.instruments import Load, Meter, Supply
from simulated.ports import LoadState, SupplyState
from simulated.server import Instrument, Server, open_server

__all__ = ["Chances", "SimulatedBench", "chances", "open_bench"]


@dataclass(frozen=True)
class Chances:
    """Where everything accidental about one simulated bench and its board comes from: a generator each."""

    parts: np.random.Generator
    supply: np.random.Generator
    meter: np.random.Generator
    load: np.random.Generator
    hands: np.random.Generator


def chances(seed: int) -> Chances:
    """Return the generators of a seed: one seed, one board on one bench, on the wire or in lockstep."""
    return Chances(*(np.random.default_rng(sequence) for sequence in np.random.SeedSequence(seed).spawn(5)))


@dataclass(frozen=True)
class SimulatedBench:
    """An open bench: servers for the drivers to reach, and the inside for tests to look at."""

    clock: VirtualClock
    board: SimulatedBoard
    hands: Hands
    supply: Supply
    meter: Meter
    load: Load
    servers: dict[str, Server]  # by instrument: supply, meter, load

    @property
    def resources(self) -> dict[str, str]:
        """The VISA resource of each instrument."""
        return {name: server.resource for name, server in self.servers.items()}


class _SupplyPort:
    def __init__(self, board: SimulatedBoard, terminal: str) -> None:
        self._board, self._terminal = board, terminal

    def apply(self, *, volts: float, limit_amps: float, on: bool) -> None:
        with self._board.lock:
            self._board.feed(self._terminal, volts=volts, limit_amps=limit_amps, on=on)

    def state(self) -> SupplyState:
        with self._board.lock:
            return self._board.supply_state(self._terminal)


class _LoadPort:
    def __init__(self, board: SimulatedBoard, terminal: str) -> None:
        self._board, self._terminal = board, terminal

    def apply(self, *, amps: float, on: bool) -> None:
        with self._board.lock:
            self._board.draw(self._terminal, amps if on else 0.0)

    def state(self) -> LoadState:
        with self._board.lock:
            return self._board.load_state(self._terminal)


class _MeterPort:
    def __init__(self, board: SimulatedBoard, terminals: Sequence[str]) -> None:
        self._board, self._terminals = board, tuple(terminals)

    def _at(self, channel: int) -> tuple[str, bool]:
        """Return the terminal that an input reaches, and whether it is turned round."""
        turned, at = divmod(channel - 1, len(self._terminals))
        return self._terminals[at], bool(turned)

    def volts(self, channel: int) -> float:
        terminal, turned = self._at(channel)
        with self._board.lock:
            return -self._board.volts(terminal) if turned else self._board.volts(terminal)

    def ripple_volts(self, channel: int) -> float:
        with self._board.lock:
            return self._board.ripple_volts(self._at(channel)[0])

    def drive(self, channel: int | None, *, amps: float, most_volts: float) -> None:
        with self._board.lock:
            if channel is None:
                self._board.end_test()
            else:
                terminal, turned = self._at(channel)
                self._board.test(terminal, turned=turned, amps=amps, most_volts=most_volts)


@contextmanager
def open_bench(
    description: BoardDescription,
    *,
    seed: int,
    faults: Sequence[str] = (),
    nominal: bool = False,
    clock: VirtualClock | None = None,
) -> Iterator[SimulatedBench]:
    """Open a bench with one board on it; the seed makes part values, instrument errors and the operator's hands.

    With `nominal` every part has its nominal value. Its time is virtual, unless it is given another clock. Raises
    SimulatedError or CircuitError for a wrong description.
    """
    own = chances(seed)
    clock = clock or VirtualClock()
    board = SimulatedBoard(description, clock, rng=None if nominal else own.parts, faults=faults)
    inputs = [name for name, _ in description.inputs]
    outputs = [name for name, _ in description.outputs]
    supply = Supply(
        f"RAILBENCH,SIM-SUPPLY,{seed},1.0",
        [_SupplyPort(board, name) for name in inputs],
        clock,
        own.supply,
        style="channel list",
    )
    terminals = list(description.terminals)
    meter_port, meter_inputs = _MeterPort(board, terminals), 2 * len(terminals)
    meter = Meter(f"RAILBENCH,SIM-METER,{seed},1.0", meter_port, meter_inputs, clock, own.meter)
    load = Load(
        f"RAILBENCH,SIM-LOAD,{seed},1.0",
        [_LoadPort(board, name) for name in outputs],
        clock,
        own.load,
        style="channel list",
    )
    with ExitStack() as stack:
        instruments: dict[str, Instrument] = {"supply": supply, "meter": meter, "load": load}
        servers = {name: stack.enter_context(open_server(each)) for name, each in instruments.items()}
        hands = Hands(board, description.trimmers, clock, own.hands)
        yield SimulatedBench(clock, board, hands, supply, meter, load, servers)
