"""Write asks and answers as plain JSON values and read them back, so that a record can be replayed.

Floats survive exactly (JSON carries their shortest repr); enums are written by value.
"""

import json
import typing
from collections.abc import Mapping
from enum import Enum
from typing import Any

import msgspec

from station.abreast import Abreast
from station.asks import (
    Ask,
    Conditions,
    Draw,
    Drawn,
    Fed,
    Feed,
    Mode,
    Quantity,
    Question,
    Read,
    Reading,
    Toward,
    Turn,
    Turned,
    Wait,
)
from station.errors import Beyond, NotHere, Unreadable

__all__ = ["read_ask", "read_reply", "written_ask", "written_reply"]

_KINDS: tuple[type[Ask[Any]], ...] = (Feed, Draw, Wait, Read, Turn, Question, Abreast)
_ASKS: Mapping[str, type[Ask[Any]]] = {kind.__name__: kind for kind in _KINDS}
_FACTS: tuple[type[msgspec.Struct], ...] = (*_ASKS.values(), Reading, Conditions, Fed, Drawn)
_NAMES: Mapping[type[Any], tuple[str, ...]] = {kind: kind.__struct_fields__ for kind in _FACTS}
_worded = json.JSONEncoder(ensure_ascii=False).encode
_ENUMS: Mapping[str, type[Enum]] = {"quantity": Quantity, "mode": Mode, "toward": Toward}


def written_ask(ask: Ask[Any]) -> str:
    """Return an ask as JSON text; equal asks give equal texts."""
    return _worded({"ask": type(ask).__name__, **_fields(ask)})


def read_ask(text: str) -> Ask[Any]:
    """Return the ask in a JSON text."""
    data = json.loads(text)
    return _ASKS[data.pop("ask")](**_revived(data))


def written_reply(reply: object) -> str:
    """Return an answer (or the Unreadable that stood in for one) as JSON text."""
    if isinstance(reply, Unreadable):
        return _worded({"unreadable": str(reply), **_kind_of(reply)})
    if isinstance(reply, Enum):
        return _worded({"turned": reply.value})
    if reply is None or isinstance(reply, str | bool):
        return _worded({"said": reply})
    return _worded({"reply": type(reply).__name__, **_fields(reply)})


def read_reply(text: str) -> object:
    """Return the answer in a JSON text."""
    data = json.loads(text)
    if "unreadable" in data:
        return _unreadable(data["unreadable"], data)
    if "turned" in data:
        return Turned(data["turned"])
    if "said" in data:
        return data["said"]
    kind = data.pop("reply")
    if kind == "Reading":
        conditions = data.pop("conditions")
        pairs = {name: tuple((terminal, value) for terminal, value in conditions[name]) for name in ("fed", "drawn")}
        return Reading(**data, conditions=Conditions(**pairs))
    return {"Fed": Fed, "Drawn": Drawn}[kind](**_revived(data))


def _kind_of(error: Unreadable) -> dict[str, Any]:
    if isinstance(error, Beyond):
        return {"beyond": error.ohms}
    return {"here": False} if isinstance(error, NotHere) else {}


def _unreadable(cause: str, data: Mapping[str, Any]) -> Unreadable:
    if "beyond" in data:
        return Beyond(cause, data["beyond"])
    return NotHere(cause) if "here" in data else Unreadable(cause)


def _fields(fact: Any) -> dict[str, Any]:  # noqa: ANN401  any ask or answer of asks.py
    return {name: _plain(getattr(fact, name)) for name in _NAMES[type(fact)]}


def _plain(value: object) -> object:
    if isinstance(value, Enum):
        return value.value
    return _fields(value) if isinstance(value, Conditions) else value


def _revived(data: Mapping[str, Any]) -> dict[str, Any]:
    revived = {}
    for name, value in data.items():
        revived[name] = _ENUMS[name](value) if name in _ENUMS else tuple(value) if isinstance(value, list) else value
    return typing.cast(dict[str, Any], revived)
