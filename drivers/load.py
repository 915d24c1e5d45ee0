"""Draw a constant current from a board with an electronic load, its input off until it is told otherwise."""

import time
from collections.abc import Callable

from drivers.conversation import Conversation
from drivers.dialects.dialect import Dialect, Step
from drivers.errors import NotPrepared
from drivers.safety import make_safe
from drivers.scpi import Identity
from drivers.session import Session
from drivers.supply import Measured

__all__ = ["Load"]


class Load:
    """An electronic load with one or more channels, numbered from 1, in constant current.

    Raises what a supply's driver raises. The first thing a channel is ever told is to switch its input off: after a
    reset some loads are on. After trouble it is not switched off unasked, because a reading taken then would pass for
    one under load: NotPrepared is raised until `prepare`.
    """

    def __init__(self, session: Session, dialect: Dialect, *, wait: Callable[[float], None] = time.sleep) -> None:
        self.session = session
        self._talk = Conversation(session, dialect, "load", wait)
        self._prepared: set[int] = set()

    def identify(self) -> Identity:
        """Ask who it is."""
        return self.session.identify()

    def prepare(self, channel: int) -> None:
        """Switch a channel's input off, choose constant current and program 0 A, all read back."""
        self._talk.forget(channel=channel)
        self._talk.put(Step.INPUT, False, channel)
        self._talk.put(Step.FUNCTION, "CURR", channel)
        self._talk.put(Step.CURRENT, 0.0, channel)
        self._prepared.add(channel)

    def set_current(self, channel: int, amps: float) -> None:
        """Set the current to draw and read it back; the input stays as it is.

        Raises ValueError for a negative current.
        """
        if not amps >= 0.0:
            raise ValueError(f"a load was to draw {amps} A; write 0 or more")
        self._prepare_once(channel)
        self._talk.put(Step.CURRENT, float(amps), channel)

    def switch(self, channel: int, on: bool) -> None:
        """Switch a channel's input and read its state back."""
        self._prepare_once(channel)
        self._talk.put(Step.INPUT, on, channel)

    def _prepare_once(self, channel: int) -> None:
        if channel not in self._prepared:
            self.prepare(channel)
        elif self._talk.standing(Step.FUNCTION, channel) is None:
            raise NotPrepared(
                self.session.where(),
                f"what channel {channel} was set to is in doubt after trouble on its link",
                "prepare the channel again, which switches its input off",
            )

    def measure(self, channel: int) -> Measured:
        """Ask what is at the terminals: volts, and amps drawn."""
        volts, amps = self._talk.measured((Step.MEASURED_VOLTS, Step.MEASURED_AMPS), channel)
        return Measured(volts, amps)

    def make_safe(self, channel: int) -> tuple[str, ...]:
        """Switch a channel's input off, program 0 A and verify both; return what could not be verified, in words."""
        return make_safe(self._talk, channel, switch=Step.INPUT, level=Step.CURRENT)
