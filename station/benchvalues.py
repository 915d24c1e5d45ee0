"""The values that only a bench file has: days, and instruments with the channel that a wire goes to."""

import re
from dataclasses import dataclass
from datetime import date
from typing import Annotated

from pydantic import BeforeValidator, WithJsonSchema

__all__ = ["Day", "Hooked", "HookedValue"]

_PLACE = re.compile(r"(\S+(?: \S+)*?)(?: (\d{1,3}))?")


def _day(text: object) -> date:
    try:
        return date.fromisoformat(str(text))
    except ValueError:
        raise ValueError(f"'{text}' is not a date; write year-month-day, such as 2027-03-31") from None


Day = Annotated[date, BeforeValidator(_day), WithJsonSchema({"type": "string", "format": "date"})]


@dataclass(frozen=True)
class Hooked:
    """An instrument, and the channel of it where it has several, as a wiring names them: 'psu 2'."""

    instrument: str
    channel: int | None


def _hooked(text: object) -> Hooked:
    match = _PLACE.fullmatch(str(text).strip())
    if match is None or not isinstance(text, str):
        raise ValueError(f"'{text}' names no instrument; write its name and channel, such as 'psu 1'")
    name, channel = match.groups()
    return Hooked(name, None if channel is None else int(channel))


HookedValue = Annotated[Hooked, BeforeValidator(_hooked), WithJsonSchema({"type": "string", "examples": ["psu 1"]})]
