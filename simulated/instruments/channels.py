"""Commands that act on channels, and the ways in which families of instruments name them.

'channel list': `VOLT 5,(@1)`, `VOLT? (@1,2)`, `VOLT? MAX,(@1)`. 'single channel': `VOLT 5`, `VOLT?`, `VOLT? MAX`.
'selected ...': the same on the channel selected before. 'channel suffix': `SOUR2:VOLT 5`, `OUTP2 ON`. 'channel
prefix': `CH1:VOLT 5`, `OUTP CH1,ON`. A handler sees channel numbers from 1 in all of them.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from simulated.instruments.answers import joined, nr1, nr3
from simulated.instruments.binding import HeaderSuffix, Implied, Selected
from simulated.instruments.grammar import Element
from simulated.instruments.parameters import (
    Boolean,
    ChannelList,
    Choice,
    Limit,
    Numeric,
    Parameter,
    WhenGiven,
)
from simulated.instruments.tree import Command, command

__all__ = ["Channels", "Style", "channels_in", "event", "named_channels", "reading", "setting", "switch"]

Style = Literal[
    "channel list",
    "single channel",
    "selected by number",
    "selected by name",
    "selected by name on one switch",
    "channel suffix",
    "channel prefix",
    "serial words",
    "short tokens",
]
_FIRST_WORD = re.compile(r"^(\[?:?[A-Z][A-Za-z]*)")


@dataclass(frozen=True)
class Channels:
    """How commands name their channels, and how they answer.

    The parameter stands last, or first with `in_front`. `suffixes`, such as '<1:2>', go behind a header's first word.
    With `units` numbers are answered with their unit, with `words` switches as ON and OFF.
    """

    parameter: Parameter[tuple[int, ...]]
    in_front: bool = False
    suffixes: str = ""
    units: bool = False
    words: bool = False

    def pattern(self, pattern: str) -> str:
        """Return a header's pattern with the suffixes in it."""
        return _FIRST_WORD.sub(rf"\g<1>{self.suffixes}", pattern)

    def number(self, value: float, unit: str) -> str:
        """Return a number as it is answered."""
        return f"{value:.4f}{unit}" if self.units else nr3(value)

    def position(self, on: bool) -> str:
        """Return a switch's position as it is answered."""
        return ("ON" if on else "OFF") if self.words else nr1(on)


def channels_in(style: Style, count: int, *, units: bool = False) -> Channels:
    """Return how a style names its channels; ValueError if it cannot name all of them."""
    if count >= 1 and style == "channel list":
        return Channels(ChannelList(1, count), units=units)
    if count == 1 and style == "single channel":
        return Channels(Implied((1,)), units=units)
    if count >= 1 and style.startswith("selected"):
        return Channels(Selected(), units=units)
    if count >= 1 and style in ("channel suffix", "channel prefix"):
        return Channels(HeaderSuffix(), suffixes=f"<1:{count}>", units=units)
    raise ValueError(f"an instrument of style '{style}' cannot have {count} channels; write one port a channel")


def named_channels(count: int, *, units: bool) -> Channels:
    """Return how 'channel prefix' names channels in front of a value: CH1, CH2."""
    return Channels(_NamedChannel(count), in_front=True, units=units, words=True)


@dataclass(frozen=True)
class _NamedChannel:
    count: int
    kinds = Choice(()).kinds

    def read(self, element: Element) -> tuple[int, ...]:
        word = Choice(tuple(f"CH{number}" for number in range(1, self.count + 1))).read(element)
        return (int(word.removeprefix("CH")),)


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
        return joined(channels.number(get(channel) if limit is None else limit, numeric.unit) for channel in which)

    header, limit = channels.pattern(pattern), WhenGiven(Limit(numeric))
    if channels.in_front:
        return (
            command(header, lambda which, value: put_all(value, which), channels.parameter, numeric),
            command(f"{header}?", lambda which, limit: get_all(limit, which), channels.parameter, limit),
        )
    return (
        command(header, put_all, numeric, channels.parameter),
        command(f"{header}?", get_all, limit, channels.parameter),
    )


def switch(
    pattern: str, channels: Channels, *, put: Callable[[int, bool], None], get: Callable[[int], bool]
) -> tuple[Command, Command]:
    """Return the command and the query of an ON/OFF setting."""

    def put_all(value: bool, which: tuple[int, ...]) -> None:
        for channel in which:
            put(channel, value)

    def get_all(which: tuple[int, ...]) -> str:
        return joined(channels.position(get(channel)) for channel in which)

    header = channels.pattern(pattern)
    query = command(f"{header}?", get_all, channels.parameter)
    if channels.in_front:
        return command(header, lambda which, on: put_all(on, which), channels.parameter, Boolean()), query
    return command(header, put_all, Boolean(), channels.parameter), query


def reading(pattern: str, unit: str, channels: Channels, get: Callable[[int], float]) -> Command:
    """Return a query that measures."""

    def get_all(which: tuple[int, ...]) -> str:
        return joined(channels.number(get(channel), unit) for channel in which)

    return command(channels.pattern(pattern.removesuffix("?")) + "?", get_all, channels.parameter)


def event(pattern: str, channels: Channels, do: Callable[[int], None]) -> Command:
    """Return a command that has no query and takes nothing but its channels."""

    def do_all(which: tuple[int, ...]) -> None:
        for channel in which:
            do(channel)

    return command(channels.pattern(pattern), do_all, channels.parameter)
