"""Follow a circuit through time: rails that rise, charge and decay, for any number of boards at once.

A `Transient` is a running experiment. It starts from an operating point or from nothing, and is taken
on piece by piece; each piece has its own settings of supplies and loads.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from .course import Course
from .dynamics import Dynamics, dynamics_of
from .ends import SupplyMode, SupplySetting, load_current
from .errors import CircuitError
from .linearise import State, across, junction_volts
from .parts import Parts
from .point import OperatingPoint
from .settings import board_count, read_settings
from .solve import Circuit
from .stepping import Drive, Tolerance
from .timestep import Reached, charge_of
from .trace import Recorder, Trace

__all__ = ["Tolerance", "Trace", "Transient"]

Floats = NDArray[np.float64]
Value = float | Floats
Bools = NDArray[np.bool_]
Modes = NDArray[np.int8]
Kind = TypeVar("Kind", bound=np.generic)
Until = Callable[["Transient"], bool | np.bool_]


class Transient:
    """One circuit in time, batched over boards (B,).

    All boards share the grid of times, the one that moves most decides. Boards that cannot be followed any
    further become NaN, the others go on. `IC=` of a netlist is not read. With `junctions_store` false
    semiconductors store nothing: rails are then followed at less cost, and without what takes nanoseconds. SIN,
    PULSE and PWL sources of the netlist go by the time since the start.
    Raises
    CircuitError for unknown names, values without sense and unequal numbers of boards.
    """

    def __init__(
        self,
        circuit: Circuit,
        *,
        parts: Parts | None = None,
        parameters: Mapping[str, Value] | None = None,
        celsius: Value | None = None,
        tolerance: Tolerance | None = None,
        junctions_store: bool = True,
    ) -> None:
        self._dynamics = dynamics_of(circuit, parts, parameters, celsius, junctions_store=junctions_store)
        self._tolerance = tolerance or Tolerance()
        self.start_empty()

    def start_empty(self) -> None:
        """Begin at time zero with no charge anywhere."""
        layout, boards = self._dynamics.layout, self._dynamics.boards
        modes = np.full((boards, len(self._dynamics.ends.supplies)), SupplyMode.OFF, dtype=np.int8)
        self._settings = read_settings(self._dynamics.ends, {}, {})
        nothing = np.zeros((boards, layout.size + 1))
        self._course = _beginning(self._dynamics, self._tolerance, nothing, modes, np.ones(boards, dtype=bool))

    def start_from(self, point: OperatingPoint) -> None:
        """Begin at time zero with the charges of an operating point; its unsolved boards stay NaN.

        The point may have been solved with other parameters or be another transient's `point()`.
        """
        layout = self._dynamics.layout
        if (point.layout.names, point.layout.branches) != (layout.names, layout.branches):
            raise CircuitError("the operating point is another circuit's; give one that this circuit has solved")
        boards = board_count([point.solved.size, self._dynamics.boards])
        x = np.where(point.solved[:, None], point.unknowns, 0.0)
        rows = _of_boards(x, boards), _of_boards(point.modes, boards), _of_boards(point.solved, boards)
        self._settings = read_settings(self._dynamics.ends, {}, {})
        self._course = _beginning(self._dynamics, self._tolerance, *rows)

    @property
    def hertz(self) -> float:
        """The lowest frequency of the netlist's own sines; 0 where none moves."""
        return min((each.hertz for each in self._dynamics.timed if each.hertz), default=0.0)

    @property
    def time(self) -> float:
        """Seconds since the start."""
        return self._course.time

    def advance(
        self,
        seconds: float,
        *,
        supplies: Mapping[str, SupplySetting] | None = None,
        loads: Mapping[str, Value] | None = None,
        reaching: Mapping[str, Value] | None = None,
        until: Until | None = None,
        watch: Sequence[str] = (),
    ) -> Trace:
        """Go on by `seconds` under these settings; supplies not named are off, loads not named draw nothing.

        A supply in `reaching` goes in a straight line from its setting to those volts. `until` is asked after
        each step, with this transient, and ends the piece once it is true, late by a thousandth of its time at
        most. Returns what the nodes in `watch` did. A board that swings without end is seen damped after some
        thousand steps.
        """
        if not (np.isfinite(seconds) and seconds > 0.0):
            raise CircuitError(f"time cannot go on by {seconds:g} s; give seconds above zero")
        for node in watch:
            self._dynamics.layout.node(node)
        course = self._course
        drive = _drive(self._dynamics, (self.time, float(seconds)), supplies or {}, loads or {}, reaching or {})
        boards = board_count([*drive.begin.lengths(), *drive.end.lengths(), course.alive.size])
        self._settings = drive.begin
        course.enter(drive, boards)
        end = course.time + drive.seconds
        recorder = Recorder(tuple(watch))
        if drive.steady and until is None and not watch:
            course.go_to(end)
            self._note(recorder)
        else:
            course.follow(end, lambda: until is not None and bool(until(self)), lambda: self._note(recorder))
        return recorder.trace()

    def _note(self, recorder: Recorder) -> None:
        point = self.point()
        recorder.note(self.time, [point.volts(node) for node in recorder.nodes])

    def point(self) -> OperatingPoint:
        """Return where the boards stand now; another transient, or an operating point, may start from it."""
        dynamics, x = self._dynamics, self._course.unknowns()
        volts = across(x, dynamics.layout.load_pairs)
        drawn, _ = load_current(volts, self._settings.amps, dynamics.minimum_volts)
        calm = np.zeros(x.shape[0], dtype=np.intp)
        rows = x, drawn, self._course.modes, calm, dynamics.devices.breakdown.volts
        return OperatingPoint(self._course.alive, dynamics.layout, dynamics.ends, *rows)

    def volts(self, node: str) -> Floats:
        """Return a node's volts to ground now, (B,); NaN on boards that could not be followed."""
        return self.point().volts(node)

    def supply_amps(self, name: str) -> Floats:
        """Return the amps a supply delivers out of its plus now, (B,)."""
        return self.point().supply_amps(name)

    def supply_limited(self, name: str) -> Bools:
        """Return whether a supply holds its current limit now, (B,)."""
        return self.point().supply_limited(name)

    def load_amps(self, name: str) -> Floats:
        """Return the amps a load draws now, (B,)."""
        return self.point().load_amps(name)

    def settled(self, volts_per_second: float = 1e-3) -> bool:
        """Return whether no node of any board moved faster than this over the last step."""
        return self._course.steepness() <= volts_per_second


def _beginning(dynamics: Dynamics, tolerance: Tolerance, x: Floats, modes: Modes, alive: Bools) -> Course:
    """Return a course that begins with the charges of these unknowns."""
    state = State(x, junction_volts(dynamics.layout, x), across(x, dynamics.layout.load_pairs), modes)
    charge = charge_of(dynamics, dynamics.problem(read_settings(dynamics.ends, {}, {})), state)
    return Course(dynamics, tolerance, Reached(state, charge, alive))


def _of_boards(rows: NDArray[Kind], boards: int) -> NDArray[Kind]:
    return np.array(np.broadcast_to(rows, (boards, *rows.shape[1:])))


def _drive(
    dynamics: Dynamics,
    span: tuple[float, float],
    supplies: Mapping[str, SupplySetting],
    loads: Mapping[str, Value],
    reaching: Mapping[str, Value],
) -> Drive:
    """Return what is applied over a span of time (start, seconds)."""
    off = [name for name in reaching if name not in supplies]
    if off:
        raise CircuitError(f"supply '{off[0]}' is to reach a voltage but is off; give its setting in supplies too")
    targets = {name: replace(supplies[name], volts=volts) for name, volts in reaching.items()}
    begin = read_settings(dynamics.ends, supplies, loads)
    end = read_settings(dynamics.ends, {**supplies, **targets}, loads) if targets else begin
    return Drive(dynamics, span[0], begin, end, span[1])
