"""Bring one channel of a supply or load to rest and say what of it could not be verified.

First the bare writes, which wait for nothing and need no link in step; then, resynchronising if that must be, the
read-back: state off, level 0, and no current measured. A write that succeeded may sit in a dead socket, so only the
read-back counts. A switch that can't be read back leaves level and current to count.
"""

import logging
from collections.abc import Iterator

from drivers.conversation import Conversation
from drivers.dialects.dialect import Step
from drivers.errors import DriverError

__all__ = ["make_safe"]

logger = logging.getLogger(__name__)

# Far above any readback's offset, far below what could hurt; common practice, no source.
_STILL_DELIVERING_AMPS = 0.02


def make_safe(talk: Conversation, channel: int, *, switch: Step, level: Step) -> tuple[str, ...]:
    """Switch off and set the level to 0, then verify; return the problems in words, () for verified.

    Raises ValueError for a channel the dialect does not have, and nothing else.
    """
    talk.forget(channel=channel)
    messages = (*talk.parting(switch, channel, False), *talk.parting(level, channel, 0.0))
    unsaid = [failure for failure in map(talk.session.last_words, messages) if failure is not None]
    problems: tuple[str, ...]
    try:
        problems = _verify(talk, channel, switch, level)
    except DriverError as error:
        problems = (*(str(failure) for failure in unsaid), f"could not be verified: {error}")
    talk.forget(channel=channel)
    for problem in problems:
        logger.info("%s: channel %d not verified safe: %s", talk.session.where(), channel, problem)
    return problems


def _verify(talk: Conversation, channel: int, switch: Step, level: Step) -> tuple[str, ...]:
    """Return what does not read back as safe; raises DriverError if it cannot be read back.

    One reply may get lost without leaving the bench unverified, two may not.
    """
    if talk.session.in_step:
        try:
            return tuple(_unverified(talk, channel, switch, level))
        except DriverError as error:
            logger.info("while making safe: %s", error)
    talk.session.resynchronise()
    return tuple(_unverified(talk, channel, switch, level))


def _unverified(talk: Conversation, channel: int, switch: Step, level: Step) -> Iterator[str]:
    """Yield what does not read back as safe; what was lost on the way is said once more."""
    where = talk.session.where()
    for step, wanted in ((switch, False), (level, 0.0)):
        if not talk.dialect.settings[step].ask:
            talk.tell(step, channel, wanted)  # nobody can say that it was heard, so it is said on a link in step
            continue
        stands = talk.read_back(step, channel)
        if not talk.dialect.settings[step].fits(wanted, stands):
            talk.tell(step, channel, wanted)
            stands = talk.read_back(step, channel)
        if not talk.dialect.settings[step].fits(wanted, stands):
            yield f"{where}: channel {channel} still has its {step} at {stands}"
    talk.wait(talk.dialect.settings[switch].settle_seconds)
    (amps,) = talk.measured((Step.MEASURED_AMPS,), channel)
    if abs(amps) > _STILL_DELIVERING_AMPS:
        yield f"{where}: channel {channel} reads off but still carries {amps:g} A"
