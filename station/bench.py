"""Perform asks on a bench: SCPI instruments over VISA, wired to the board's terminals.

The same performer serves a real and a simulated bench; it knows terminals and wiring, and no limits.
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import replace

from drivers import DriverError
from drivers import Mode as ChannelMode
from station.abreast import Abreast, ReadTogether
from station.asks import (
    Draw,
    Drawn,
    Fed,
    Feed,
    Mode,
    Quantity,
    Question,
    Read,
    Reading,
    SafeState,
    Turn,
    Turned,
    Wait,
)
from station.board import Board
from station.clock import Clock
from station.errors import BenchError, Unreadable
from station.interrupts import Interrupts
from station.metering import Metering
from station.operators import Operator
from station.readings import amps_look, drawn
from station.safety import made_safe
from station.watchdogs import Watchdogs
from station.wiring import SupplyChannel, Wiring

__all__ = ["Bench", "protection_volts"]

# A step of the input charges the board's capacitors at the current limit: that is no fault until it lasts.
CHARGING_SECONDS = 0.2  # common practice, no source
MODE_POLL_SECONDS = 0.02
OVER_AMPS_DELAY_SECONDS = 0.5  # the supply's own protection comes after the station's judgement
WAIT_SLICE_SECONDS = 0.2  # how long Ctrl-C may go unnoticed in a wait


class Bench:
    """The performer on instruments."""

    def __init__(self, board: Board, wiring: Wiring, clock: Clock, operator: Operator, interrupts: Interrupts) -> None:
        self._board, self._wiring, self._clock = board, wiring, clock
        self._operator, self._interrupts = operator, interrupts
        self._metering = Metering(board, wiring, clock, operator)
        self.watchdogs = Watchdogs(wiring.supplies.values(), clock)  # who opens the bench arms them

    def prepare(self, highest_volts: Mapping[str, float]) -> None:
        """Set and read back the protections, before anything is powered; BenchError where they do not hold."""
        for name, wired in self._wiring.supplies.items():
            with _told_as_bench_error():
                wired.supply.prepare(
                    wired.channel,
                    over_volts=protection_volts(self._board, name, highest_volts[name]),
                    over_amps_delay_seconds=OVER_AMPS_DELAY_SECONDS,
                )
        for wired_load in self._wiring.loads.values():
            with _told_as_bench_error():
                wired_load.load.prepare(wired_load.channel)

    def feed(self, ask: Feed) -> Fed:
        """See Performer."""
        wired = self._wiring.supplies[ask.terminal]
        volts = -ask.volts if wired.turned else ask.volts
        if volts < 0.0:
            raise BenchError(f"{ask.terminal} needs {ask.volts:g} V, but its channel is wired the other way round")
        with _told_as_bench_error():
            if volts == 0.0:
                wired.supply.switch(wired.channel, False)
                return Fed(Mode.CV)
            self._metering.stop_testing()  # nothing is fed into an ohmmeter
            wired.supply.set_output(wired.channel, volts=volts, limit_amps=ask.amps_limit)
            wired.supply.switch(wired.channel, True)
            mode = self._settled_mode(wired)
            return Fed(mode, wired.supply.trips(wired.channel) if mode is Mode.TRIPPED else ())

    def _settled_mode(self, wired: SupplyChannel) -> Mode:
        """Return the channel's mode once it holds its voltage, or what it is stuck at while that could be charging."""
        end = self._clock.seconds() + CHARGING_SECONDS
        while (mode := _MODES[wired.supply.mode(wired.channel)]) is Mode.CC and self._clock.seconds() < end:
            self._clock.wait(MODE_POLL_SECONDS)
        return mode

    def draw(self, ask: Draw) -> Drawn:
        """See Performer."""
        wired = self._wiring.loads[ask.terminal]
        with _told_as_bench_error():
            wired.load.set_current(wired.channel, ask.amps)
            wired.load.switch(wired.channel, ask.amps > 0.0)
        return drawn(wired.setting, ask.amps)

    def wait(self, ask: Wait) -> None:
        """See Performer; looks for an interrupt all along."""
        end = self._clock.seconds() + ask.seconds
        while (left := end - self._clock.seconds()) > 1e-9:
            self._interrupts.check()
            self.watchdogs.tend()
            self._clock.wait(min(left, WAIT_SLICE_SECONDS))

    def read(self, ask: Read) -> Reading:
        """See Performer."""
        self.watchdogs.tend()  # readings alone say nothing to a supply
        take = {
            Quantity.VOLTAGE: self._metering.volts,
            Quantity.RESISTANCE: self._metering.ohms,
            Quantity.RIPPLE: self._metering.ripple,
            Quantity.CURRENT: self._amps,
        }
        with _told_as_bench_error():
            return take[ask.quantity](ask)

    def _amps(self, ask: Read) -> Reading:
        wired = self._wiring.supplies.get(ask.terminal)
        if wired is None:
            raise Unreadable(f"no instrument reads a current at {ask.terminal}")
        told = wired.supply.measure(wired.channel)
        return amps_look(wired.readback, wired.name, wired.channel).reading(told.amps, self._clock.seconds())

    def abreast(self, ask: Abreast) -> bool:
        """See Together."""
        return self._metering.abreast(ask.terminals)

    def read_together(self, ask: ReadTogether) -> tuple[Reading | Unreadable, ...]:
        """See Together."""
        self.watchdogs.tend()
        with _told_as_bench_error():
            return self._metering.volts_together(ask.reads)

    def turn(self, ask: Turn) -> Turned:
        """See Performer."""
        return self._operator.turn(ask)

    def question(self, ask: Question) -> str:
        """See Performer."""
        return self._operator.answer(ask)

    def make_safe(self) -> SafeState:
        """See Performer."""
        tripped: list[str] = []

        def ask_what_tripped() -> tuple[str, ...]:  # only once everything is off
            tripped.extend(self._tripped())
            return ()

        switches: list[tuple[str, Callable[[], tuple[str, ...]]]] = [
            *((f"load at {name}", _off(w.load.make_safe, w.channel)) for name, w in self._wiring.loads.items()),
            *((f"supply at {name}", _off(w.supply.make_safe, w.channel)) for name, w in self._wiring.supplies.items()),
            ("protections", ask_what_tripped),
        ]
        safe = made_safe(switches, self._left_volts, self._terminals(), self._board.form.safe_below, self._clock)
        return replace(safe, tripped=tuple(tripped))

    def _tripped(self) -> Iterator[str]:
        """Yield the protections that have tripped, by input; a supply that can't be asked any more is passed over."""
        for name, wired in self._wiring.supplies.items():
            with suppress(DriverError):
                yield from (f"{name}: {trip}" for trip in wired.supply.trips(wired.channel))

    def _terminals(self) -> list[str]:
        return [name for name, form in self._board.form.terminals.items() if form.kind != "probe"]

    def _left_volts(self, terminal: str) -> float:
        with _told_as_bench_error():
            return self._metering.left_volts(terminal)


_MODES = {
    ChannelMode.CV: Mode.CV,
    ChannelMode.CC: Mode.CC,
    ChannelMode.TRIPPED: Mode.TRIPPED,
    ChannelMode.OFF: Mode.TRIPPED,  # switched on and found off: whatever did it, it is no constant voltage
}


def protection_volts(board: Board, terminal: str, highest_volts: float) -> float:
    """Return an input's over-voltage protection, a magnitude.

    A tenth and half a volt above the profile's highest point, never above the board's ceiling.
    """
    return min(board.form.terminals[terminal].never_above or 0.0, 1.1 * highest_volts + 0.5)


def _off(make_safe: Callable[[int], tuple[str, ...]], channel: int) -> Callable[[], tuple[str, ...]]:
    return lambda: make_safe(channel)


@contextmanager
def _told_as_bench_error() -> Iterator[None]:
    try:
        yield
    except DriverError as error:
        raise BenchError(str(error)) from error
