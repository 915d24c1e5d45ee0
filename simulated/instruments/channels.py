"""Commands that act on channels, in two styles: with a channel list at the end, or without on the only channel.

'channel list': `VOLT 5,(@1)`, `VOLT? (@1,2)`, `VOLT? MAX,(@1)`. 'single channel': `VOLT 5`, `VOLT?`, `VOLT? MAX`.
A handler sees channel numbers from 1 in both.
"""

from collections.abc import Callable
from typing import Literal

from simulated.instruments.answers import joined, nr1, nr3
from simulated.instruments.parameters import Boolean, ChannelList, Implied, Limit, Numeric, Parameter, WhenGiven
from simulated.instruments.tree import Command, command

__all__ = ["Channels", "Style", "channels_in", "event", "reading", "setting", "switch"]

Style = Literal["channel list", "single channel"]
Channels = Parameter[tuple[int, ...]]


def channels_in(style: Style, count: int) -> Channels:
    """Return the last parameter of every channel command; ValueError if the style cannot name all channels."""
    if style == "channel list" and count >= 1:
        return ChannelList(1, count)
    if style == "single channel" and count == 1:
        return Implied((1,))
    raise ValueError(f"an instrument of style '{style}' cannot have {count} channels; write one port a channel")


def setting(
    pattern: str,
    numeric: Numeric,
    channels: Channels,
    *,
    put: Callable[[int, float], None],
    get: Callable[[int], float],
) -> tuple[Command, Command]:
    """Return the command and the query of a numeric setting."""

    def put_all(value: float, which: tuple[int, ...]) -> None:
        for channel in which:
            put(channel, value)

    def get_all(limit: float | None, which: tuple[int, ...]) -> str:
        return joined(nr3(get(channel) if limit is None else limit) for channel in which)

    return (
        command(pattern, put_all, numeric, channels),
        command(f"{pattern}?", get_all, WhenGiven(Limit(numeric)), channels),
    )


def switch(
    pattern: str, channels: Channels, *, put: Callable[[int, bool], None], get: Callable[[int], bool]
) -> tuple[Command, Command]:
    """Return the command and the query of an ON/OFF setting."""

    def put_all(value: bool, which: tuple[int, ...]) -> None:
        for channel in which:
            put(channel, value)

    def get_all(which: tuple[int, ...]) -> str:
        return joined(nr1(get(channel)) for channel in which)

    return command(pattern, put_all, Boolean(), channels), command(f"{pattern}?", get_all, channels)


def reading(pattern: str, channels: Channels, get: Callable[[int], float]) -> Command:
    """Return a query that measures."""

    def get_all(which: tuple[int, ...]) -> str:
        return joined(nr3(get(channel)) for channel in which)

    return command(pattern, get_all, channels)


def event(pattern: str, channels: Channels, do: Callable[[int], None]) -> Command:
    """Return a command that has no query and takes nothing but its channels."""

    def do_all(which: tuple[int, ...]) -> None:
        for channel in which:
            do(channel)

    return command(pattern, do_all, channels)
