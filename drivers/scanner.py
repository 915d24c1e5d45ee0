"""Connect one of many channels to a meter: with a scanner that is an instrument of its own, or a card in the meter."""

import time
from collections.abc import Callable

from drivers.conversation import Conversation
from drivers.dialects.dialect import Dialect, Step
from drivers.dialects.scanners import SCANNER
from drivers.scpi import Identity
from drivers.session import Session

__all__ = ["Scanner", "close_only"]

FIRST_SLOT = 100  # channel 1 of the card in slot 1 is 101
MOST_CARD_CHANNELS = 99


class Scanner:
    """A scanner in front of a meter, one channel of it closed at a time; raises what `drivers.errors` lists."""

    def __init__(
        self, session: Session, dialect: Dialect = SCANNER, *, wait: Callable[[float], None] = time.sleep
    ) -> None:
        self.session = session
        self._talk = Conversation(session, dialect, "scanner", wait)

    def identify(self) -> Identity:
        """Ask who it is."""
        return self.session.identify()

    def reach(self, channel: int) -> None:
        """Close one channel and open all others; returns when its relay reads back closed and has settled.

        `channel` is 1 to 99 for the card in the first slot, or the full number from 101.
        """
        if channel < 1:
            raise ValueError(f"the scanner was to close channel {channel}; write 1 or more")
        close_only(self._talk, channel, FIRST_SLOT)


def close_only(talk: Conversation, channel: int, first_slot: int) -> None:
    """Close one channel of a scanner unless it is known to be closed; the channel that was closed before opens."""
    number = channel + first_slot if channel <= MOST_CARD_CHANNELS else channel
    if talk.standing(Step.CHANNEL, number) is None:
        talk.forget(Step.CHANNEL)  # closing this one opens the one that was closed
        talk.put(Step.CHANNEL, True, number)
