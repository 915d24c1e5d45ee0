"""Remember what a rehearsal showed of a profile: boards of a batch need not each wait for one of their own.

A memory is of these very texts and this very program; whatever is wrong with one, the rehearsal is held again.
"""

import hashlib
import json
import os
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import platformdirs
from pydantic import TypeAdapter, ValidationError

from station.hazards import Hazards
from station.profile import Profile

__all__ = ["Outlook", "foreseen"]

_ROOMS = ("station", "drivers", "simulated")


@dataclass(frozen=True)
class Outlook:
    """What is known of a run before it begins: how long it takes (seconds of bench time), and what can hurt in it."""

    seconds: float
    hazards: Hazards


_OUTLOOK: TypeAdapter[Outlook] = TypeAdapter(Outlook)


def foreseen(profile: Profile, rehearse: Callable[[], Outlook]) -> Outlook:
    """Return what is remembered of a profile, else what a rehearsal shows, which is remembered from then on."""
    path = platformdirs.user_cache_path("railbench") / "outlooks" / f"{_key(profile)}.json"
    known = _remembered(path)
    if known is None:
        known = rehearse()
        _remember(path, known)
    return known


def _key(profile: Profile) -> str:
    """Return a hash of all that a rehearsal depends on: the texts, and the program as it is installed."""
    board = profile.board
    texts = profile.text, board.text, board.netlist, *(text for pair in board.included for text in pair)
    return hashlib.sha256(json.dumps([*texts, _program()]).encode()).hexdigest()


def _program() -> list[Any]:
    """Return what changes whenever a file of the program does: how many there are, how large, and the newest."""
    root = Path(__file__).resolve().parents[1]
    facts = [path.stat() for room in _ROOMS for path in (root / room).rglob("*.py")]
    return [len(facts), sum(fact.st_size for fact in facts), max(fact.st_mtime_ns for fact in facts)]


def _remembered(path: Path) -> Outlook | None:
    try:
        return _OUTLOOK.validate_python(json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, ValidationError):
        return None


def _remember(path: Path, outlook: Outlook) -> None:
    """Keep an outlook, whole or not at all; a run does without a memory where none can be kept."""
    part = path.with_suffix(f".{os.getpid()}")
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(json.dumps(asdict(outlook)), encoding="utf-8")
        part.replace(path)
