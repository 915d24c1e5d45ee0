"""Keep two runs from using one instrument at once; who holds it, and since when, is told to the second.

A lock lies in the user's own folder, one file an instrument's address. The system takes it back when its process ends,
however it ends, so that no lock outlives its run; instruments shared between computers are for their own locks.
"""

import getpass
import hashlib
import json
import os
import socket
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock, Timeout
from platformdirs import user_state_path

from station.bench_forms import BenchForm
from station.errors import BenchError

__all__ = ["account_name", "locked"]


def _folder() -> Path:
    return user_state_path("railbench") / "locks"


@contextmanager
def locked(form: BenchForm, folder: Path | None = None) -> Iterator[None]:
    """Hold every instrument of a bench while the block runs; BenchError, naming who has one, where one is held."""
    place = folder or _folder()
    with ExitStack() as held:
        for name, instrument in form.instruments().items():
            held.enter_context(_held(place, name, instrument.resource))
        yield


@contextmanager
def _held(folder: Path, name: str, resource: str) -> Iterator[None]:
    stem = hashlib.sha256(resource.casefold().encode()).hexdigest()[:24]
    lock, note = FileLock(folder / f"{stem}.lock"), folder / f"{stem}.json"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock.acquire(timeout=0)
        note.write_text(json.dumps(_holder(resource)), encoding="utf-8")
    except Timeout:
        raise BenchError(f"{name} ({resource}) is in use {_told(note)}; wait for that run, or end it") from None
    except OSError as error:
        raise BenchError(f"the bench can't be locked: {error}; check that {folder} is writable") from error
    try:
        yield
    finally:
        with suppress(OSError):
            note.unlink()
        lock.release()


def _holder(resource: str) -> dict[str, object]:
    since = datetime.now(UTC).isoformat(timespec="seconds")
    return {
        "resource": resource,
        "who": f"{account_name()} on {socket.gethostname()}",
        "process": os.getpid(),
        "since": since,
    }


def account_name() -> str:
    """Return the name of whoever is logged in, as far as the system knows."""
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # a user without a name, in a container
        return "a user without a name"


def _told(note: Path) -> str:
    """Return who holds an instrument, as far as the note beside its lock can be read."""
    try:
        found = json.loads(note.read_text(encoding="utf-8"))
        return f"by {found['who']}, process {found['process']}, since {found['since']}"
    except (OSError, ValueError, KeyError, TypeError):
        return "by another run"
