"""Read a terminal with the meter that reaches it, moved there by hand where no scanner does."""

from collections.abc import Callable, Sequence

from drivers import Meter, MeterReading, Overloaded
from station.asks import Quantity, Question, Read, Reading
from station.board import Board
from station.clock import Clock
from station.errors import Beyond, NotHere, Unreadable
from station.operators import Operator
from station.readings import leads, ohms_look, ripple_look, tested_range, volts_look
from station.uncertainty import less_leads
from station.wiring import MeterChannel, Wiring

__all__ = ["Metering", "expected_volts"]

PROBE_CAUTION = "The board may be live: hold the probe by its grip, one hand, and touch nothing else."


class Metering:
    """The meters of a bench, and where their probes are."""

    def __init__(self, board: Board, wiring: Wiring, clock: Clock, operator: Operator) -> None:
        self._board, self._wiring, self._clock, self._operator = board, wiring, clock, operator
        self._held: dict[Meter, str] = {}  # the terminal where the operator holds a probe

    def volts(self, ask: Read) -> Reading:
        """Take a voltage; Unreadable where it overloads every range, drivers.DriverError for trouble."""
        wired = self._reached(ask.terminal, ask.quantity)
        expected = expected_volts(self._board, ask.terminal)
        channel = self._connected(wired)
        return self._volts(
            ask,
            wired,
            lambda: wired.meter.read_volts(channel, expected_volts=expected, power_line_cycles=ask.effort),
        )

    def _volts(self, ask: Read, wired: MeterChannel, take: Callable[[], MeterReading]) -> Reading:
        try:
            told = take()
        except Overloaded as error:
            raise Unreadable(f"{ask.terminal} {ask.quantity.value}: {error}") from error
        look = volts_look(wired.sheet, told.range_volts, told.power_line_cycles_actual)
        return look.reading(told.volts, self._clock.seconds())

    def abreast(self, terminals: Sequence[str]) -> bool:
        """Tell whether each terminal is on a meter of its own, which can begin a reading, with no hand needed."""
        wired = [self._wiring.meters[name] for name in terminals if name in self._wiring.meters]
        apart = len({id(each.meter) for each in wired}) == len(terminals)
        return apart and all(each.meter.triggers and not each.by_hand for each in wired)

    def volts_together(self, asks: Sequence[Read]) -> tuple[Reading | Unreadable, ...]:
        """Begin the readings of terminals that are abreast, then fetch them: the meters integrate at the same time."""
        wired = [self._reached(ask.terminal, ask.quantity) for ask in asks]
        for ask, each in zip(asks, wired, strict=True):
            expected = expected_volts(self._board, ask.terminal)
            each.meter.begin_volts(self._connected(each), expected_volts=expected, power_line_cycles=ask.effort)
        return tuple(self._fetched(ask, each) for ask, each in zip(asks, wired, strict=True))

    def _fetched(self, ask: Read, wired: MeterChannel) -> Reading | Unreadable:
        try:
            return self._volts(ask, wired, wired.meter.end_volts)
        except Unreadable as error:
            return error

    def ohms(self, ask: Read) -> Reading:
        """Take a resistance at a test current, less that of the leads where the bench file has it.

        Raises Beyond where it is off the range, NotHere where nothing can take it.
        """
        terminal, turned = leads(ask)
        wired = self._reached(terminal, ask.quantity)
        channel = wired.turned if turned else wired.channel
        if channel is None:
            way = "with its leads turned round" if turned else "there"
            raise NotHere(f"no scanner channel reads ohms at {terminal} {way}")
        chosen = tested_range(wired.meter.traits.ranges_ohms, ask.test_amps)
        try:
            told = wired.meter.read_ohms(wired.connect(channel), test_amps=ask.test_amps, power_line_cycles=ask.effort)
        except Overloaded as error:
            end = error.sign * wired.meter.traits.over_range * chosen.ohms
            raise Beyond(f"{terminal} resistance: {error}", end) from error
        look = ohms_look(wired.sheet, chosen, told.power_line_cycles_actual)
        reading = look.reading(told.ohms, self._clock.seconds())
        return reading if wired.leads is None else less_leads(reading, wired.leads)

    def ripple(self, ask: Read) -> Reading:
        """Take what alternates, in the meter's own bandwidth; NotHere where no meter's accuracy of it is known."""
        wired = self._reached(ask.terminal, ask.quantity)
        look = ripple_look(wired.sheet)
        try:
            told = wired.meter.read_ripple(self._connected(wired))
        except Overloaded as error:
            raise Unreadable(f"{ask.terminal} {ask.quantity.value}: {error}") from error
        return look.reading(told.volts_rms, self._clock.seconds())

    def stop_testing(self) -> None:
        """Have no meter drive a test current: nothing is fed into an ohmmeter."""
        for meter in self._meters():
            meter.stop_testing()

    def left_volts(self, terminal: str) -> float:
        """Return the volts left at a terminal after a run, whatever state its end has left the meter's link in."""
        wired = self._wiring.meters[terminal]
        links = [wired.meter.session, *([] if wired.scanner is None else [wired.scanner.session])]
        for link in links:
            if not link.in_step:  # whatever ended the run may have been this one
                link.resynchronise()
        return self.volts(Read(terminal, Quantity.VOLTAGE, 0.02)).value

    @staticmethod
    def _connected(wired: MeterChannel) -> int | None:
        """Connect a channel into which no test current may flow; return which of the meter's own inputs to read."""
        if wired.scanner is not None:
            wired.meter.stop_testing()
        return wired.connect(wired.channel)

    def _meters(self) -> list[Meter]:
        return list({id(wired.meter): wired.meter for wired in self._wiring.meters.values()}.values())

    def _reached(self, terminal: str, quantity: Quantity) -> MeterChannel:
        """Return what reads a terminal, its probe there."""
        wired = self._wiring.meters.get(terminal)
        if wired is None:
            raise NotHere(f"no instrument reads a {quantity.value} at {terminal}")
        if wired.by_hand and self._held.get(wired.meter) != terminal:
            self._operator.answer(Question(f"Hold the probe to {terminal}, then say so", ("there",), PROBE_CAUTION))
            self._held[wired.meter] = terminal
        for other in self._meters():  # a second meter must not meet what the first one sends through the board
            if other is not wired.meter:
                other.stop_testing()
        return wired


def expected_volts(board: Board, terminal: str) -> float:
    """Return what a meter's range must have room for at a terminal; its sign does not matter.

    At a probe of which the sheet says nothing that is the most that any terminal of its board may see.
    """
    form = board.form.terminals[terminal]
    return form.nominal or form.never_above or max(each.never_above or 0.0 for each in board.terminals().values())
