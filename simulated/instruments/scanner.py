"""A simulated scanner that is an instrument of its own: what hangs on the channel that is closed reaches the meter."""

from simulated.clock import VirtualClock
from simulated.instruments.acquisition import Multiplexer
from simulated.instruments.meter import route_commands
from simulated.instruments.scpi import Connection, Interpreter
from simulated.instruments.status import Status
from simulated.ports import MeterPort

__all__ = ["Scanner"]


class Scanner:
    """A scanner with so many channels on a port, (@101) and up; for the meter behind it, it is a port itself."""

    def __init__(self, identity: str, port: MeterPort, inputs: int, clock: VirtualClock) -> None:
        self._multiplexer = Multiplexer(port, inputs, clock)
        self._interpreter = Interpreter(
            identity,
            route_commands(self._multiplexer),
            clock=clock,
            status=Status(),
            reset=self._multiplexer.open_all,
        )

    def connection(self) -> Connection:
        """Return a new talker to this scanner."""
        return self._interpreter.connection()

    def connected_input(self) -> int | None:
        """Return the channel that is closed, from 1."""
        with self._interpreter.lock:
            return self._multiplexer.closed

    def volts(self, channel: int) -> float:
        """See MeterPort; whatever is the meter's own input, one pair of leads comes from here."""
        with self._interpreter.lock:
            return self._multiplexer.volts()

    def ripple_volts(self, channel: int) -> float:
        """See MeterPort."""
        with self._interpreter.lock:
            return self._multiplexer.ripple_volts()

    def drive(self, channel: int | None, *, amps: float, most_volts: float) -> None:
        """See MeterPort."""
        with self._interpreter.lock:
            self._multiplexer.drive(0.0 if channel is None else amps)
