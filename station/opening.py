"""Open a bench and wire it to a board: the instruments of a bench file, or a simulated bench made from the board sheet.

The only module of the station that knows both drivers and simulated; they meet on the wire, over TCP.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from typing import Any

from drivers import DriverError, Wire, open_links
from simulated.bench import SimulatedBench, open_bench
from simulated.board import BoardDescription, TrimmerDescription
from simulated.circuit import CircuitError
from simulated.clock import VirtualClock
from simulated.errors import SimulatedError
from simulated.powered import Warmth
from station.asks import Question, Toward, Turn, Turned
from station.bench import Bench
from station.bench_forms import BenchForm
from station.benchfile import BenchFile
from station.board import Board
from station.calibration import calibration_facts
from station.clock import BenchClock, Clock, SimulatedClock
from station.dialectfile import spoken
from station.errors import BenchError, InputError, Unreadable, halves
from station.guardian import Ward, open_guardian
from station.interrupts import Interrupts
from station.lock import locked
from station.operators import Person
from station.simulated_file import (
    DIALECTS,
    simulated_file,
    simulated_load_accuracy,
    simulated_meter_sheet,
    simulated_readback,
)
from station.wiring import wired

__all__ = ["OpenBench", "OpenSimulated", "described", "open_instruments", "open_simulated", "opened_inside"]

SIMULATED = "RAILBENCH SIM-"  # how every simulated instrument names itself

# What the data sheets of the simulated instruments say.
METER_SHEET = simulated_meter_sheet()
READBACK_ACCURACY = simulated_readback()
LOAD_ACCURACY = simulated_load_accuracy()
# A simulated instrument takes as long to reply, in real time, as its board takes to be solved on a busy machine.
SOLVING_SECONDS = 60.0


@dataclass(frozen=True)
class OpenBench:
    """A bench ready for a run: its performer, its clock, and what the record keeps of it.

    `keeps` is told the record and the run, for whoever has to close it should the station die. `texts` are those of
    its file and of dialects of its own, by what they are.
    """

    performer: Bench
    clock: Clock
    facts: Mapping[str, Any]
    keeps: Callable[[str, str], None] = lambda store, run: None
    texts: Mapping[str, str] = field(default_factory=dict)

    @property
    def simulated(self) -> bool:
        """Whether any of its instruments is a simulated one."""
        return bool(self.facts["simulated"])


@dataclass(frozen=True)
class OpenSimulated(OpenBench):
    """A simulated bench of our own, with its inside for tests to look at."""

    inside: SimulatedBench = field(kw_only=True)


@contextmanager
def open_instruments(
    file: BenchFile,
    board: Board,
    highest_volts: Mapping[str, float],
    *,
    operator: Person,
    interrupts: Interrupts | None = None,
) -> Iterator[OpenBench]:
    """Open the bench of a file, locked against other runs and watched over, protections set for the highest volts.

    Raises InputError where the file does not fit the board, BenchError where an instrument does not do as told, is not
    who the file says, or is in use.
    """
    if misfits := file.misfits(board):
        raise InputError(misfits)
    clock = BenchClock()
    with locked(file.form), open_guardian(_wards(file.form)) as guardian, open_links() as links:
        try:
            wiring = wired(file.form, links, clock.wait)
            performer = Bench(board, wiring, clock, operator, interrupts or Interrupts())
            performer.prepare(highest_volts)
            facts: dict[str, Any] = {"watchdog": performer.watchdogs.arm()}
        except DriverError as error:
            raise BenchError(str(error)) from error
        operator.idle = performer.watchdogs.tend
        simulated = any(SIMULATED in identity for identity in wiring.identities.values())
        facts |= {"simulated": simulated, "bench": file.form.bench, "instruments": dict(wiring.identities)}
        calibrations = {name: each.calibration for name, each in file.form.measuring().items()}
        facts["calibrations"] = calibration_facts(calibrations)
        try:
            yield OpenBench(performer, clock, facts, guardian.keeps, file.texts())
        finally:
            performer.watchdogs.disarm()


def _wards(form: BenchForm) -> list[Ward]:
    """Return what a guardian has to switch off."""
    return [
        *(Ward(name, "supply", s.resource, s.dialect, tuple(s.channels)) for name, s in form.supplies.items()),
        *(Ward(name, "load", load.resource, load.dialect, tuple(load.channels)) for name, load in form.loads.items()),
    ]


@contextmanager
def open_simulated(
    board: Board,
    highest_volts: Mapping[str, float],
    *,
    seed: int,
    faults: Sequence[str] = (),
    nominal: bool = False,
    meters: int = 1,
    interrupts: Interrupts | None = None,
    dialects: Mapping[str, str] = DIALECTS,
    wrapped: Callable[[Wire], Wire] = lambda wire: wire,
    timeout_seconds: float = SOLVING_SECONDS,
) -> Iterator[OpenSimulated]:
    """Open a simulated bench with one board on it, protections set for the highest volts of each input.

    With more than one of its `meters` the rails of a pair are on different ones, and read at once. `dialects` is what
    its supply and its load speak: names, or paths to files. `wrapped` gets every wire first.

    Raises InputError where netlist or fault is wrong, BenchError where an instrument does not do as told.
    """
    words = {kind: spoken(name).name for kind, name in dialects.items()}
    made = opened_inside(board, seed, faults, nominal, meters=meters, dialects=words)
    with made as inside, open_links(wrapped=wrapped, timeout_seconds=timeout_seconds) as links:
        clock = SimulatedClock(inside.clock)
        try:
            wiring = wired(simulated_file(board, inside.resources, dialects=dialects).form, links, clock.wait)
            performer = Bench(board, wiring, clock, _Hands(inside), interrupts or Interrupts())
            performer.prepare(highest_volts)
        except DriverError as error:
            raise BenchError(str(error)) from error
        facts = {"simulated": True, "seed": seed, "faults": list(faults), "nominal": nominal}
        yield OpenSimulated(performer, clock, {**facts, "instruments": dict(wiring.identities)}, inside=inside)


@contextmanager
def opened_inside(
    board: Board,
    seed: int,
    faults: Sequence[str],
    nominal: bool,
    clock: VirtualClock | None = None,
    meters: int = 1,
    dialects: Mapping[str, str] = DIALECTS,
) -> Iterator[SimulatedBench]:
    """Open the simulated side; a board that loses its operating point on the way ends as an error of its own.

    On the nominal board that is the author's to mend; the run has met it as a lost link and told its own end.
    """
    try:
        with ExitStack() as stack:
            try:
                what = described(board)
                made = open_bench(
                    what, seed=seed, faults=faults, nominal=nominal, meters=meters, clock=clock, dialects=dialects
                )
                inside = stack.enter_context(made)
            except (CircuitError, SimulatedError) as error:
                raise InputError.about(*halves(error)) from error
            yield inside
    except RuntimeError as error:
        cause = error.__cause__
        if not isinstance(cause, SimulatedError):
            raise
        broken = InputError.about(*halves(cause)) if nominal else BenchError(f"the simulated bench broke down: {cause}")
        raise broken from error


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
        mains_switch=board.form.mains_switch or "",
    )


class _Hands:
    """The simulated operator as the bench sees any operator."""

    def __init__(self, inside: SimulatedBench) -> None:
        self._hands, self._board = inside.hands, inside.board

    def turn(self, ask: Turn) -> Turned:
        """See Operator."""
        clockwise, turns = ask.toward is Toward.CLOCKWISE, ask.turns_left
        done = self._hands.turn(ask.trimmer, clockwise=clockwise, missing_volts=ask.remaining, about_turns=turns)
        return Turned.DONE if done else Turned.STUCK

    def answer(self, ask: Question) -> str:
        """See Operator."""
        said = self._hands.answer(ask.answers)
        if ask.switches is not None:
            try:
                with self._board.lock:
                    self._board.switch_mains(ask.switches)
            except SimulatedError as error:
                raise Unreadable(str(error)) from error
        return said
