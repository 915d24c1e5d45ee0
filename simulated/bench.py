"""A whole simulated bench: one board, a two-way supply, one meter or more and a load, each behind a TCP port.

Nothing is shared with the drivers but the wire. Wiring: supply channel n feeds the board's n-th input (turned
round where the input is below ground), load channel n its n-th output, meter input n its n-th terminal. With as many
terminals, the meter's inputs after those are the same terminals turned round: plus at GND. A second meter, 'meter b',
has the same inputs. Where instruments have one channel only there are as many of them: 'supply', 'supply b'.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from string import ascii_lowercase
from typing import TypeVar, get_args

import numpy as np

from simulated.board import BoardDescription, SimulatedBoard
from simulated.clock import VirtualClock
from simulated.hands import Hands
from simulated.instruments import Load, Meter, Quirks, Supply
from simulated.instruments.channels import Style
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


# The simple ones come with their habits.
_HABITS: dict[Style, Quirks] = {
    "channel prefix": Quirks(units=True),
    "serial words": Quirks(units=True),
    "short tokens": Quirks(units=True),
}


@dataclass(frozen=True)
class SimulatedBench:
    """An open bench: servers for the drivers to reach, and the inside for tests to look at.

    `feeding` holds which instrument and channel feeds each input of the board, `drawing` the same of each output.
    """

    clock: VirtualClock
    board: SimulatedBoard
    hands: Hands
    supplies: tuple[Supply, ...]
    meter: Meter
    loads: tuple[Load, ...]
    servers: dict[str, Server]  # by instrument: supply, meter, load
    feeding: tuple[tuple[str, int], ...]
    drawing: tuple[tuple[str, int], ...]

    @property
    def supply(self) -> Supply:
        """The first supply, mostly the only one."""
        return self.supplies[0]

    @property
    def load(self) -> Load:
        """The first load, mostly the only one."""
        return self.loads[0]

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
        self.inputs = 2 * len(self._terminals)  # each terminal both ways round

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
    meters: int = 1,
    clock: VirtualClock | None = None,
    dialects: Mapping[str, str] | None = None,
) -> Iterator[SimulatedBench]:
    """Open a bench with one board on it; the seed makes part values, instrument errors and the operator's hands.

    With `nominal` every part has its nominal value. Its time is virtual, unless it is given another clock. `dialects`
    says how 'supply' and 'load' are spoken to, by the names that the drivers have for it. Raises SimulatedError or
    CircuitError for a wrong description.
    """
    own = chances(seed)
    clock = clock or VirtualClock()
    board = SimulatedBoard(description, clock, rng=None if nominal else own.parts, faults=faults)
    supply_style, load_style = (_style((dialects or {}).get(kind, "channel list")) for kind in ("supply", "load"))
    habits = _HABITS.get(supply_style, Quirks())
    inputs = [_SupplyPort(board, name) for name, _ in description.inputs]
    outputs = [_LoadPort(board, name) for name, _ in description.outputs]
    supplies = {
        name: Supply(_identity(name, seed), ports, clock, own.supply, style=supply_style, quirks=habits)
        for name, ports in _shared_out("supply", supply_style, inputs).items()
    }
    loads = {
        name: Load(_identity(name, seed), ports, clock, own.load, style=load_style)
        for name, ports in _shared_out("load", load_style, outputs).items()
    }
    read_by = _meters(_MeterPort(board, list(description.terminals)), seed, clock, own.meter, count=meters)
    with ExitStack() as stack:
        instruments: dict[str, Instrument] = {**supplies, **read_by, **loads}
        servers = {name: stack.enter_context(open_server(each)) for name, each in instruments.items()}
        hands = Hands(board, description.trimmers, clock, own.hands)
        yield SimulatedBench(
            clock,
            board,
            hands,
            tuple(supplies.values()),
            read_by["meter"],
            tuple(loads.values()),
            servers,
            feeding=_places("supply", supply_style, len(inputs)),
            drawing=_places("load", load_style, len(outputs)),
        )


def _meters(
    port: _MeterPort, seed: int, clock: VirtualClock, rng: np.random.Generator, *, count: int
) -> dict[str, Meter]:
    """Return meters with the same inputs by name, 'meter' first: it draws its errors as where it is the only one."""
    meters = {"meter": Meter(_identity("meter", seed), port, port.inputs, clock, rng)}
    for at, own in enumerate(rng.spawn(count - 1), start=1):
        name = _named("meter", at)
        meters[name] = Meter(_identity(name, seed), port, port.inputs, clock, own)
    return meters


def _style(dialect: str) -> Style:
    """Return the style of an instrument that is spoken to in a dialect; ValueError if there is none."""
    for style in get_args(Style):
        if style == dialect.removesuffix(" load"):
            return style  # type: ignore[no-any-return]  # get_args knows no types
    raise ValueError(f"no simulated instrument speaks '{dialect}'")


def _identity(name: str, seed: int) -> str:
    return f"RAILBENCH,SIM-{name.upper().replace(' ', '-')},{seed},1.0"


Port = TypeVar("Port")


def _places(kind: str, style: Style, count: int) -> tuple[tuple[str, int], ...]:
    """Return the instrument and channel for each of `count` terminals."""
    if style != "single channel":
        return tuple((kind, channel) for channel in range(1, count + 1))
    return tuple((_named(kind, at), 1) for at in range(count))


def _named(kind: str, at: int) -> str:
    """Return the name of the instrument number `at` of a kind, from 0."""
    return f"{kind} {ascii_lowercase[at]}" if at else kind


def _shared_out(kind: str, style: Style, ports: Sequence[Port]) -> dict[str, list[Port]]:
    """Return the ports of each instrument of a kind; there is none where nothing is to be reached."""
    shared: dict[str, list[Port]] = {}
    for (name, _), port in zip(_places(kind, style, len(ports)), ports, strict=True):
        shared.setdefault(name, []).append(port)
    return shared
