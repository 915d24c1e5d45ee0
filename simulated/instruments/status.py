"""The status system every SCPI instrument has: error queue, standard event register, status byte, registers.

IEEE 488.2 chapter 11 and SCPI-1999 Vol. 2 chapter 20; state only, commands for it are in `mandatory`.
"""

from collections import deque

from simulated.instruments.errors import ScpiError

__all__ = ["RegisterSet", "Status"]

_BITS_15 = 0x7FFF  # bit 15 of a SCPI register is always 0 (S2 20.1.3)
_POWER_ON = 128
_OPERATION_COMPLETE = 1


class RegisterSet:
    """CONDition -> transition filters -> EVENt -> ENABle -> one summary bit."""

    def __init__(self) -> None:
        self.condition = 0
        self.event = 0
        self.preset()

    def preset(self) -> None:
        """Do what STATus:PRESet does to this set."""
        self.enable = 0
        self.positive = _BITS_15
        self.negative = 0

    def follow(self, condition: int) -> None:
        """Take over the present condition and latch the transitions that the filters let through."""
        rising, falling = condition & ~self.condition, self.condition & ~condition
        self.event |= (rising & self.positive) | (falling & self.negative)
        self.condition = condition

    def read_event(self) -> int:
        """Return the latched events and clear them."""
        events, self.event = self.event, 0
        return events

    @property
    def summary(self) -> bool:
        """True while an enabled event is latched."""
        return bool(self.event & self.enable)


class Status:
    """Error queue, standard events and one OPERation and QUEStionable set a channel."""

    def __init__(self, *, channels: int = 1, queue_depth: int = 20) -> None:
        self.operation = tuple(RegisterSet() for _ in range(channels))
        self.questionable = tuple(RegisterSet() for _ in range(channels))
        self.event_enable = 0
        self.service_enable = 0
        self.answer_waiting = False  # held by whoever runs a message: MAV
        self._events = _POWER_ON
        self._queue: deque[str] = deque()
        self._depth = queue_depth

    def report(self, error: ScpiError) -> None:
        """Queue an error; when the queue is full its last entry becomes -350 and newer errors are lost."""
        self._events |= error.event_bit  # also for an error that the full queue drops (S2 21.8.9)
        if len(self._queue) < self._depth:
            self._queue.append(error.entry())
            return
        overflow = ScpiError(-350)
        self._events |= overflow.event_bit
        self._queue[-1] = overflow.entry()

    def next_error(self) -> str:
        """Return the oldest error and remove it."""
        return self._queue.popleft() if self._queue else '0,"No error"'

    def all_errors(self) -> str:
        """Return all errors joined by commas and remove them."""
        entries = ",".join(self._queue)
        self._queue.clear()
        return entries or '0,"No error"'

    def error_count(self) -> int:
        """Return how many errors are queued."""
        return len(self._queue)

    def complete_operation(self) -> None:
        """Do what *OPC does in an instrument whose commands are all sequential."""
        self._events |= _OPERATION_COMPLETE

    def read_events(self) -> int:
        """Return the standard event register and clear it."""
        events, self._events = self._events, 0
        return events

    def clear(self) -> None:
        """Do what *CLS does: events and queue go, enables and filters stay."""
        self._events = 0
        self._queue.clear()
        for registers in (*self.operation, *self.questionable):
            registers.event = 0

    def preset(self) -> None:
        """Do what STATus:PRESet does."""
        for registers in (*self.operation, *self.questionable):
            registers.preset()

    def byte(self) -> int:
        """Return the status byte with the master summary in bit 6, as *STB? answers it."""
        bits = {
            128: any(registers.summary for registers in self.operation),
            32: bool(self._events & self.event_enable),
            16: self.answer_waiting,
            8: any(registers.summary for registers in self.questionable),
            4: bool(self._queue),
        }
        value = sum(bit for bit, is_set in bits.items() if is_set)
        return value | 64 if value & self.service_enable else value
