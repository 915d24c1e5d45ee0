"""Arm a supply's own communication watchdog: it switches its outputs off when it hears nothing for too long.

The only defence against a PC that dies without a word, its power included. It is off until it is armed, any message
feeds it, and what it switched off stays off.
"""

import logging

from drivers.conversation import Conversation
from drivers.dialects.dialect import Step

__all__ = ["arm", "disarm"]

logger = logging.getLogger(__name__)

_UNDEFINED_HEADER = -113


def arm(talk: Conversation, channel: int, seconds: float) -> bool:
    """Set the delay, then arm, both read back; False where the dialect or the supply itself knows no watchdog.

    Raises InstrumentError for a delay the supply does not take.
    """
    if not seconds > 0.0:
        raise ValueError(f"a watchdog was to bite after {seconds} s; write more than 0")
    if Step.WATCHDOG not in talk.dialect.settings or Step.WATCHDOG_DELAY not in talk.dialect.settings:
        return False
    if talk.standing(Step.WATCHDOG_DELAY, channel) is None:
        # Asking an instrument for what it does not know costs a time-out: its complaint comes first.
        command = talk.tell(Step.WATCHDOG_DELAY, channel, float(seconds))
        entries = talk.session.drain_errors()
        if entries and all(entry.number == _UNDEFINED_HEADER for entry in entries):
            logger.info("%s: it has no watchdog", talk.session.where())
            return False
        if entries:
            raise talk.complaint(command, entries)
    talk.put(Step.WATCHDOG_DELAY, float(seconds), channel)
    talk.put(Step.WATCHDOG, True, channel)
    return True


def disarm(talk: Conversation, channel: int) -> None:
    """Disarm it and read that back; only for a supply that has one."""
    talk.put(Step.WATCHDOG, False, channel)
