"""Open a bench and wire it to a board. So far: a simulated one, made from the board sheet alone.

The only module of the station that knows both drivers and simulated; they meet on the wire, over TCP.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import Any

from drivers import AccuracyRow, AccuracyTable, DriverError, Links, Load, Meter, Supply, dialect, open_links
from simulated.bench import SimulatedBench, open_bench
from simulated.board import BoardDescription, TrimmerDescription
from simulated.circuit import CircuitError
from simulated.errors import SimulatedError
from simulated.powered import Warmth
from station.asks import Question, Toward, Turn, Turned
from station.bench import Bench, LoadChannel, SupplyChannel, Wiring
from station.board import Board
from station.clock import Clock, SimulatedClock
from station.errors import BenchError, InputError, halves
from station.interrupts import Interrupts
from station.readings import MeterSheet

__all__ = ["OpenBench", "described", "open_simulated"]

# What the data sheets of the simulated instruments would say; the simulated side has figures of its own.
METER_SHEET = MeterSheet(
    AccuracyTable(
        tuple(
            AccuracyRow("voltage", volts, of_reading=of_reading, of_range=of_range, noise_rms=noise * volts)
            for volts, of_reading, of_range, noise in (
                (0.1, 50e-6, 35e-6, 3e-6),
                (1.0, 40e-6, 7e-6, 1e-6),
                (10.0, 35e-6, 5e-6, 1e-6),
                (100.0, 45e-6, 6e-6, 1e-6),
                (1000.0, 45e-6, 10e-6, 1e-6),
            )
        )
        + tuple(
            AccuracyRow("resistance", ohms, of_reading=1e-4, of_range=of_range, noise_rms=3e-6 * ohms)
            for ohms, of_range in ((100.0, 4e-5), (1e3, 1e-5), (10e3, 1e-5), (100e3, 1e-5), (1e6, 1e-5))
        )
        + (AccuracyRow("ripple", 0.0, of_reading=6e-4, counts=300, digit=1e-7, noise_rms=2e-6),)  # 0.06 % + 30 µV
    ),
    {0.02: 1e-5, 0.2: 3e-6, 1.0: 1e-6, 10.0: 3e-7, 100.0: 1e-7},
)
READBACK_ACCURACY = AccuracyTable(
    (AccuracyRow("current", 0.0, of_reading=1e-3, counts=5, digit=1e-4, noise_rms=1e-5),)  # 0.1 % + 0.5 mA
)


@dataclass(frozen=True)
class OpenBench:
    """A bench ready for a run: its performer, its clock, and what the record keeps of it."""

    performer: Bench
    clock: Clock
    facts: Mapping[str, Any]
    inside: SimulatedBench


@contextmanager
def open_simulated(
    board: Board,
    highest_volts: Mapping[str, float],
    *,
    seed: int,
    faults: Sequence[str] = (),
    nominal: bool = False,
    interrupts: Interrupts | None = None,
) -> Iterator[OpenBench]:
    """Open a simulated bench with one board on it, protections set for the highest volts of each input.

    Raises InputError where netlist or fault is wrong, BenchError where an instrument does not do as told.
    """
    with _opened(board, seed, faults, nominal) as inside, open_links() as links:
        clock = SimulatedClock(inside.clock)
        try:
            wiring, identities = _wired(board, inside, links, clock)
            performer = Bench(board, wiring, clock, _Hands(inside), interrupts or Interrupts())
            performer.prepare(highest_volts)
        except DriverError as error:
            raise BenchError(str(error)) from error
        facts = {"simulated": True, "seed": seed, "faults": list(faults), "nominal": nominal, "instruments": identities}
        yield OpenBench(performer, clock, facts, inside)


@contextmanager
def _opened(board: Board, seed: int, faults: Sequence[str], nominal: bool) -> Iterator[SimulatedBench]:
    """Open the simulated side; a board that loses its operating point on the way ends as an error of its own.

    On the nominal board that is the author's to mend; the run has met it as a lost link and told its own end.
    """
    try:
        with ExitStack() as stack:
            try:
                inside = stack.enter_context(open_bench(described(board), seed=seed, faults=faults, nominal=nominal))
            except (CircuitError, SimulatedError) as error:
                raise InputError.about(*halves(error)) from error
            yield inside
    except RuntimeError as error:
        cause = error.__cause__
        if not isinstance(cause, SimulatedError):
            raise
        broken = InputError.about(*halves(cause)) if nominal else BenchError(f"the simulated bench broke down: {cause}")
        raise broken from error


def _wired(board: Board, inside: SimulatedBench, links: Links, clock: Clock) -> tuple[Wiring, dict[str, str]]:
    """Return the wiring that simulated.bench describes, and who the instruments say they are."""
    supply = Supply(links.open(inside.resources["supply"], name="supply"), dialect("channel list"), wait=clock.wait)
    meter = Meter(links.open(inside.resources["meter"], name="meter"), wait=clock.wait)
    load = Load(links.open(inside.resources["load"], name="load"), dialect("channel list load"), wait=clock.wait)
    identities = {name: str(each.identify()) for name, each in (("supply", supply), ("meter", meter), ("load", load))}
    inputs, outputs, probes = (board.terminals(kind) for kind in ("input", "output", "probe"))
    reached = (*inputs, *outputs, *probes)
    wiring = Wiring(
        supplies={
            name: SupplyChannel(supply, channel, form.sign < 0.0, READBACK_ACCURACY)
            for channel, (name, form) in enumerate(inputs.items(), start=1)
        },
        loads={name: LoadChannel(load, channel) for channel, name in enumerate(outputs, start=1)},
        meter=meter,
        meter_channels={name: channel for channel, name in enumerate(reached, start=1)},
        turned_channels={name: channel for channel, name in enumerate(reached, start=1 + len(reached))},
        meter_sheet=METER_SHEET,
    )
    return wiring, identities


def described(board: Board) -> BoardDescription:
    """Return what the simulated bench needs to know of a board."""

    def nodes(kind: str) -> tuple[tuple[str, str], ...]:
        return tuple((name, form.node) for name, form in board.terminals(kind).items())

    warmth, parts = board.form.warmth, board.form.parts.items()
    return BoardDescription(
        netlist=board.netlist,
        netlist_name=str(board.netlist_path),
        folder=board.path.parent,
        inputs=nodes("input"),
        outputs=nodes("output"),
        probes=nodes("probe"),
        negative=frozenset(name for name, form in board.terminals().items() if form.sign < 0.0),
        trimmers=tuple(TrimmerDescription(name, t.parameter, t.turns) for name, t in board.form.trimmers.items()),
        tolerances=tuple((name, part.tolerance) for name, part in parts if part.tolerance is not None),
        offsets=tuple((name, part.offset) for name, part in parts if part.offset is not None),
        matched=tuple(map(tuple, board.form.matched)),
        warmth=None if warmth is None else Warmth(warmth.rises, warmth.within),
    )


class _Hands:
    """The simulated operator as the bench sees any operator."""

    def __init__(self, inside: SimulatedBench) -> None:
        self._hands = inside.hands

    def turn(self, ask: Turn) -> Turned:
        """See Operator."""
        clockwise = ask.toward is Toward.CLOCKWISE
        done = self._hands.turn(ask.trimmer, clockwise=clockwise, missing_volts=ask.remaining)
        return Turned.DONE if done else Turned.STUCK

    def answer(self, ask: Question) -> str:
        """See Operator."""
        return self._hands.answer(ask.answers)
