"""Switch a supply's channels on and off: each by a switch of its own, or all by one that they share.

Behind a common switch a channel that is to be off stays at 0 V, and gets its volts when it is switched on itself: no
channel is ever energised because another one was. Switching any of them off switches all off: that errs on the safe
side.
"""

from typing import Protocol

from drivers.conversation import Conversation
from drivers.dialects.dialect import Step

__all__ = ["Switching", "switching"]


class Switching(Protocol):
    """How channels get their volts and go on and off."""

    def set_volts(self, channel: int, volts: float) -> None:
        """Set a channel's volts, or keep them until it goes on."""

    def has_volts(self, channel: int) -> bool:
        """Return whether a channel's volts are set and read back, or kept, and beyond doubt."""

    def turn(self, channel: int, on: bool) -> None:
        """Switch a channel and read back what can be."""

    def idles(self, channel: int) -> bool:
        """Return whether a channel is known to be at 0 V behind a switch that is on, if at all, for another one."""


class _OwnSwitches:
    def __init__(self, talk: Conversation) -> None:
        self._talk = talk

    def set_volts(self, channel: int, volts: float) -> None:
        self._talk.put(Step.VOLTAGE, volts, channel)

    def has_volts(self, channel: int) -> bool:
        return self._talk.standing(Step.VOLTAGE, channel) is not None

    def turn(self, channel: int, on: bool) -> None:
        self._talk.put(Step.OUTPUT, on, channel)

    def idles(self, channel: int) -> bool:
        return False


class _CommonSwitch:
    def __init__(self, talk: Conversation) -> None:
        self._talk = talk
        self._volts: dict[int, float] = {}
        self._on: set[int] = set()
        self._channels = range(1, talk.dialect.common_switch + 1)

    def set_volts(self, channel: int, volts: float) -> None:
        self._volts[channel] = volts
        self._talk.put(Step.VOLTAGE, volts if self._holds(channel) else 0.0, channel)

    def has_volts(self, channel: int) -> bool:
        return channel in self._volts and self._talk.standing(Step.VOLTAGE, channel) is not None

    def turn(self, channel: int, on: bool) -> None:
        if not on:
            self._on.clear()
        else:
            for each in self._channels:
                if not self._holds(each):
                    self._talk.put(Step.VOLTAGE, 0.0, each)
        self._talk.forget(Step.OUTPUT)  # it may have been told through another channel
        self._talk.put(Step.OUTPUT, on, channel)
        for each in self._channels:
            self._talk.keep(Step.OUTPUT, on, each)
        if on:
            self._on.add(channel)
            self._talk.put(Step.VOLTAGE, self._volts[channel], channel)

    def idles(self, channel: int) -> bool:
        return channel not in self._on and self._talk.standing(Step.OUTPUT, channel) is not None

    def _holds(self, channel: int) -> bool:
        return channel in self._on and self._talk.standing(Step.VOLTAGE, channel) is not None


def switching(talk: Conversation) -> Switching:
    """Return how the channels of a supply that speaks this dialect are switched."""
    return _CommonSwitch(talk) if talk.dialect.common_switch else _OwnSwitches(talk)
