"""Arm a supply's own communication watchdog: it switches its outputs off when it hears nothing for too long.

The only defence against a PC that dies without a word, its power included. It is off until it is armed, any message
feeds it, and what it switched off stays off.
"""

import logging

from drivers.conversation import Conversation
from drivers.dialects.dialect import Step
from drivers.dialects.wording import Value

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
    if not _knows(talk, Step.WATCHDOG_DELAY, float(seconds), channel):
        return False
    talk.put(Step.WATCHDOG_DELAY, float(seconds), channel)
    talk.put(Step.WATCHDOG, True, channel)
    return True


def disarm(talk: Conversation, channel: int) -> None:
    """Disarm it, whoever armed it, and read that back; nothing is done where there is none."""
    if Step.WATCHDOG in talk.dialect.settings and _knows(talk, Step.WATCHDOG, False, channel):
        talk.put(Step.WATCHDOG, False, channel)


def _knows(talk: Conversation, step: Step, value: Value, channel: int) -> bool:
    """Say a setting of the watchdog unless it is known to stand, and return whether the supply knows it at all.

    Asking an instrument for what it does not know costs a time-out: its complaint comes first.
    """
    if talk.standing(step, channel) is not None:
        return True
    command = talk.tell(step, channel, value)
    entries = talk.session.drain_errors()
    if entries and all(entry.number == _UNDEFINED_HEADER for entry in entries):
        logger.info("%s: it has no watchdog", talk.session.where())
        return False
    if entries:
        raise talk.complaint(command, entries)
    return True
