"""Many simulated benches at once and without a wire, each with one board: what they apply, and what results.

A lane has the same board, instruments and hands as the simulated bench of the same seed. Its circuit is always at
rest: what a bench applies is applied for good, and what only waiting shows (charging, decay) is not seen here.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from simulated.bench import Chances, chances
from simulated.board import BoardDescription, designed, fitted, misbuilt, wired
from simulated.circuit import SupplySetting
from simulated.circuit.fleet import Fleet  # brings scipy's sparse matrices, which are slow to import
from simulated.circuit.fleet_point import FleetPoint
from simulated.clock import LoneClock
from simulated.hands import Hands
from simulated.instruments.accuracy import Readout
from simulated.instruments.converter import Converter
from simulated.instruments.load import BENCH_LOAD, InputErrors
from simulated.instruments.ohms import OhmsConverter, ohms_range_for
from simulated.instruments.ripple import RIPPLE, shown_ripple
from simulated.instruments.supply_channel import BENCH_SUPPLY, ChannelErrors
from simulated.ohms_lanes import OhmsLanes, OhmsTest
from simulated.powered import AMBIENT_CELSIUS, KELVIN_STEP

__all__ = ["Lane", "LaneBoard", "Lanes"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# A board that has warmed or cooled by so much since it was solved is solved anew.
DRIFT_KELVIN = 0.02
STALE, FRESH = -math.inf, math.inf


@dataclass(frozen=True)
class LaneBoard:
    """One board: its seed makes its parts, its bench and its operator; its faults are texts such as `R108:open`."""

    seed: int
    faults: tuple[str, ...] = ()


class Lanes:
    """Boards of one description under test side by side; `settle` solves those that something was changed for.

    Boards of the same faults should stand together. Raises SimulatedError or CircuitError for a wrong description
    or fault.
    """

    def __init__(self, description: BoardDescription, boards: Sequence[LaneBoard]) -> None:
        self.description, count = description, len(boards)
        self.inputs = tuple(name for name, _ in description.inputs)
        self.outputs = tuple(name for name, _ in description.outputs)
        self.terminals = tuple(description.terminals)
        self.signs = np.array([-1.0 if name in description.negative else 1.0 for name in self.terminals])
        own = [chances(board.seed) for board in boards]
        self._order = _together(boards)
        faults = list(dict.fromkeys(boards[at].faults for at in self._order))
        drawn = designed(description)
        netlists = [misbuilt(drawn, description, each) for each in faults]
        kin = [[own[at].parts for at in self._order if boards[at].faults == each] for each in faults]
        parts = [fitted(netlist, description, rngs) for netlist, rngs in zip(netlists, kin, strict=True)]
        self._fleet = Fleet([wired(netlist, description) for netlist in netlists], parts)
        self._built, self._tested = (netlists, parts), dict[bool, OhmsLanes]()  # these made when they are wanted
        self._place = np.empty(count, dtype=np.intp)  # of each board among the fleet's lanes
        self._place[self._order] = np.arange(count)
        parameters = [trimmer.parameter for trimmer in description.trimmers]
        self.volts_set = np.zeros((count, len(self.inputs)))
        self.limits = np.zeros((count, len(self.inputs)))
        self.on = np.zeros((count, len(self.inputs)), dtype=bool)
        self.drawn = np.zeros((count, len(self.outputs)))
        self.travel = np.full((count, len(parameters)), 0.5)
        self.parameters, self.input_at, self.output_at, self.terminal_at = (
            {name: column for column, name in enumerate(names)}
            for names in (parameters, self.inputs, self.outputs, self.terminals)
        )
        self.volts = np.zeros((count, len(self.terminals)))
        self.amps = np.zeros((count, len(self.inputs)))
        self.limited = np.zeros((count, len(self.inputs)), dtype=bool)
        self.solved = np.ones(count, dtype=bool)
        self._watts, self._rise, self._heated = np.zeros(count), np.zeros(count), np.zeros(count)
        self.lanes = [Lane(self, at, each, boards[at].seed) for at, each in enumerate(own)]

    def settle(self, lanes: Sequence["Lane"]) -> None:
        """Solve lanes for what is applied to them now, all at once; what has no solution is no longer `solved`."""
        for turned in (False, True):
            testing = [lane for lane in lanes if lane.test is not None and lane.test.turned is turned]
            if testing:
                self._settle_tested(testing, turned=turned)
        fed = [lane for lane in lanes if lane.test is None]
        if fed:
            self._settle(fed)

    def _settle_tested(self, lanes: Sequence["Lane"], *, turned: bool) -> None:
        """Solve lanes that have nothing on them but an ohmmeter."""
        if turned not in self._tested:
            self._tested[turned] = OhmsLanes(*self._built, self.description, turned=turned)
        rows = np.array([lane.at for lane in lanes], dtype=np.intp)
        travel = {name: self.travel[rows, at] for name, at in self.parameters.items()}
        tests = [lane.test for lane in lanes if lane.test is not None]
        found = self._tested[turned].volts(self._place[rows], tests, travel)
        for lane, volts, solved in zip(lanes, *found, strict=True):
            lane.settled_tested(volts, solved=solved)

    def _settle(self, lanes: Sequence["Lane"]) -> None:
        rows = np.array([lane.at for lane in lanes], dtype=np.intp)
        self._warm(rows, np.array([lane.clock.seconds() for lane in lanes]))
        point = self._fleet.solve(
            self._place[rows],
            supplies={
                name: SupplySetting(self.volts_set[rows, at], self.limits[rows, at], self.on[rows, at])
                for at, name in enumerate(self.inputs)
            },
            loads={name: self.drawn[rows, at] for at, name in enumerate(self.outputs)},
            parameters={name: self.travel[rows, at] for name, at in self.parameters.items()},
            celsius=AMBIENT_CELSIUS + KELVIN_STEP * np.round(self._rise[rows] / KELVIN_STEP),
        )
        self._keep(rows, point)
        self._tell(lanes, rows)

    def _tell(self, lanes: Sequence["Lane"], rows: NDArray[np.intp]) -> None:
        """Let each lane know what its own solution shows: single numbers are slow to take out of arrays."""
        warmth, seen = self.description.warmth, np.concatenate([self.volts[rows], self.amps[rows]], axis=1)
        per_watt = 0.0 if warmth is None else warmth.kelvin_per_watt
        left = np.abs(self._watts[rows] * per_watt - self._rise[rows])
        told = seen.tolist(), self.limited[rows].tolist(), self.solved[rows].tolist(), left.tolist()
        for lane, row, values, limited, solved, kelvin in zip(lanes, seen, *told, strict=True):
            lane.solved = solved
            lane.settled(row, values, limited, kelvin)

    def _warm(self, rows: NDArray[np.intp], seconds: Floats) -> None:
        """Let boards follow what they dissipated since they were looked at last."""
        warmth = self.description.warmth
        if warmth is not None:
            towards = self._watts[rows] * warmth.kelvin_per_watt
            fading = np.exp(-(seconds - self._heated[rows]) / warmth.seconds)
            self._rise[rows] = towards + (self._rise[rows] - towards) * fading
        self._heated[rows] = seconds

    def _keep(self, rows: NDArray[np.intp], point: FleetPoint) -> None:
        self.solved[rows] = point.solved
        for at, node in enumerate(self.description.terminals.values()):
            self.volts[rows, at] = point.volts(node)
        watts = np.zeros(rows.size)
        for at, name in enumerate(self.inputs):
            self.amps[rows, at] = point.supply_amps(name)
            self.limited[rows, at] = point.supply_limited(name)
            watts += self._across(rows, name) * self.amps[rows, at]
        for name in self.outputs:
            watts -= self._across(rows, name) * point.load_amps(name)
        self._watts[rows] = np.where(point.solved, np.maximum(watts, 0.0), 0.0)

    def _across(self, rows: NDArray[np.intp], terminal: str) -> Floats:
        column = self.terminal_at[terminal]
        return np.asarray(self.volts[rows, column] * self.signs[column])


class Lane:
    """One bench with its board, as its test program needs it.

    Its readings are of what is until bench time `fresh_until` (seconds), and of what was from then on: -inf where
    something was changed since it was solved. Volts are in the board's frame, settings at the instruments' own plus.
    `seen` has the true volts of all terminals, then the amps of all inputs, as last solved.
    """

    def __init__(self, lanes: Lanes, at: int, own: Chances, seed: int) -> None:
        self.at, self._lanes, self._seed = at, lanes, seed
        self.clock = LoneClock()
        self.hands = Hands(self, lanes.description.trimmers, self.clock, own.hands)
        self._supply = {name: ChannelErrors(BENCH_SUPPLY, own.supply) for name in lanes.inputs}
        self._load = {name: InputErrors(BENCH_LOAD, own.load) for name in lanes.outputs}
        self._meter, self._meter_chances = Converter(own.meter), own.meter
        self._ohmmeter: OhmsConverter | None = None  # made when it is wanted
        self.test: OhmsTest | None = None  # what flows while the bench's ends are off the board
        self._across = 0.0  # volts that it drives
        self._ripple: Readout | None = None
        self._asked: dict[str, tuple[float, float]] = {}  # of each input and output, as programmed last
        self.fresh_until, self.solved = STALE, True
        self.seen: Floats = np.zeros(0)
        self._values: list[float] = []
        self._limited: list[bool] = []

    def settled(self, seen: Floats, values: list[float], limited: list[bool], kelvin_left: float) -> None:
        """Take over what was solved: `seen` (also as single `values`), and how far the board has to warm yet."""
        self.seen, self._values, self._limited = seen, values, limited
        warmth, self.fresh_until = self._lanes.description.warmth, FRESH
        if warmth is not None and kelvin_left > DRIFT_KELVIN:
            self.fresh_until = self.clock.seconds() - warmth.seconds * math.log1p(-DRIFT_KELVIN / kelvin_left)

    def settled_tested(self, volts: float, *, solved: bool) -> None:
        """Take over the volts that the test current drives."""
        self._across, self.solved, self.fresh_until = volts, solved, FRESH

    def let(self, test: OhmsTest | None) -> None:
        """Let a test current into the board, with the bench's ends off it; None: put them back."""
        if test != self.test:
            self.test, self.fresh_until = test, STALE

    @property
    def trimmers(self) -> Mapping[str, float]:
        """Each trimmer's travel clockwise, 0..1, by its netlist parameter."""
        return {name: float(self._lanes.travel[self.at, column]) for name, column in self._lanes.parameters.items()}

    def turn(self, parameter: str, position: float) -> None:
        """Put a trimmer's wiper to a position, 0..1 clockwise."""
        self._lanes.travel[self.at, self._lanes.parameters[parameter]] = position
        self.fresh_until = STALE

    def feed(self, terminal: str, volts: float, limit_amps: float) -> bool:
        """Program an input's supply channel, 0 V being off; returns whether that changed anything."""
        if self._asked.get(terminal) == (volts, limit_amps):
            return False
        self._asked[terminal] = volts, limit_amps
        lanes, at, column = self._lanes, self.at, self._lanes.input_at[terminal]
        applied = max(0.0, self._supply[terminal].programming.of(_supply_volts(volts))) if volts else 0.0
        limit = _supply_amps(limit_amps) if volts else 0.0
        if lanes.volts_set[at, column] == applied and lanes.limits[at, column] == limit:
            return False
        lanes.volts_set[at, column], lanes.limits[at, column] = applied, limit
        lanes.on[at, column] = volts > 0.0
        self.fresh_until = STALE
        return True

    def draw(self, terminal: str, amps: float) -> bool:
        """Program an output's load, 0 A being off; returns whether that changed anything."""
        lanes, at, column = self._lanes, self.at, self._lanes.output_at[terminal]
        applied = max(0.0, self._load[terminal].programming.of(_load_amps(amps))) if amps else 0.0
        if lanes.drawn[at, column] == applied:
            return False
        lanes.drawn[at, column] = applied
        self.fresh_until = STALE
        return True

    def volts(self, terminal: str) -> float:
        """Return the true volts from ground at a terminal."""
        return self._values[self._lanes.terminal_at[terminal]]

    @property
    def stale(self) -> bool:
        """Whether it has to be solved before anything is read."""
        return self.clock.now > self.fresh_until

    def limited(self, terminal: str) -> bool:
        """Return whether an input's supply is at its current limit."""
        return self._limited[self._lanes.input_at[terminal]]

    def shown_volts(self, terminal: str, range_number: int, cycles: float) -> float:
        """Return one reading of the meter on a range of it; ±9.9E37 beyond 120 % of that."""
        return self._meter.read(self.volts(terminal), range_number=range_number, cycles=cycles)

    def shown_ohms(self, *, range_ohms: float, cycles: float) -> float:
        """Return one reading of the ohmmeter; ±9.9E37 beyond 120 % of the range."""
        if self._ohmmeter is None:
            self._ohmmeter = OhmsConverter(self._meter_chances.spawn(1)[0])  # as in the meter itself
        return self._ohmmeter.read(self._across, range_number=ohms_range_for(range_ohms), cycles=cycles)

    def shown_ripple(self) -> float:
        """Return one reading of the meter of what alternates (V rms): its own floor, for nothing here does."""
        if self._ripple is None:
            again = chances(self._seed).meter  # as the meter itself: what volts are read with is drawn before
            Converter(again)
            self._ripple = Readout(RIPPLE.readback, again)
        return shown_ripple(self._ripple, 0.0)

    def shown_amps(self, terminal: str) -> float:
        """Return one reading of an input's supply current."""
        lanes = self._lanes
        return self._supply[terminal].amps.read(self._values[len(lanes.terminals) + lanes.input_at[terminal]])


@lru_cache(maxsize=1024)
def _supply_volts(volts: float) -> float:
    return BENCH_SUPPLY.volts.rounded(volts)


@lru_cache(maxsize=1024)
def _supply_amps(amps: float) -> float:
    return BENCH_SUPPLY.limit_amps.rounded(amps)


@lru_cache(maxsize=1024)
def _load_amps(amps: float) -> float:
    return BENCH_LOAD.amps.rounded(amps)


def _together(boards: Sequence[LaneBoard]) -> list[int]:
    """Return the boards' places, those of the same faults together, in the order in which faults first come."""
    first = {faults: at for at, faults in reversed([(at, board.faults) for at, board in enumerate(boards)])}
    return sorted(range(len(boards)), key=lambda at: (first[boards[at].faults], at))
