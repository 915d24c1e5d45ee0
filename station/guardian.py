"""Watch over the bench from a process of its own: should the station die without a goodbye, make the bench safe.

The guardian holds the list of outputs and a pipe to the station. It starts no output ever and talks to no instrument
while the station lives. What it can't do: act when the computer itself loses power; for that a supply's own
watchdog has to be armed, or a contactor has to be at hand.

    python -m station.guardian     reads one JSON document a line: whom to watch over, which run to close, goodbye
"""

import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from functools import cache
from typing import IO

from drivers import DriverError, Links, Load, Supply, open_links
from station.dialectfile import spoken
from station.errors import BenchError
from station.safety import CUT_BY_HAND

__all__ = ["Guardian", "Ward", "open_guardian"]

READY, GOODBYE = "ready", "goodbye"
START_SECONDS = 20.0  # an interpreter and a VISA library on a slow, busy machine
MOST_SECONDS = 120.0  # some instruments hold a dead client's connection for so long; from their manuals
FIRST_PAUSE_SECONDS, LONGEST_PAUSE_SECONDS = 0.1, 5.0  # between attempts

_words = cache(spoken)


@dataclass(frozen=True)
class Ward:
    """An instrument that can put energy into a board or out of it, and how to reach it anew."""

    name: str
    kind: str  # supply or load
    resource: str
    dialect: str
    channels: tuple[int, ...]


class Guardian:
    """The station's end of the pipe."""

    def __init__(self, process: "subprocess.Popen[str]", pipe: IO[str]) -> None:
        self._process, self._pipe = process, pipe

    @property
    def pid(self) -> int:
        """The guardian's process id."""
        return self._process.pid

    def keeps(self, store: str, run: str) -> None:
        """Say which run is to be closed as Aborted, in which record, should the station die."""
        self._tell({"store": store, "run": run})

    def dismiss(self) -> None:
        """Say goodbye: the bench is in good hands, or the operator has been told."""
        with suppress(BenchError):  # one that is gone needs no goodbye
            self._tell({GOODBYE: True})
        with suppress(OSError):
            self._pipe.close()
        self._process.wait()

    def _tell(self, what: object) -> None:
        try:
            self._pipe.write(f"{json.dumps(what)}\n")
            self._pipe.flush()
        except OSError as error:
            raise BenchError(f"the guardian of the bench is gone ({error}); start the run again") from error


@contextmanager
def open_guardian(wards: Iterable[Ward]) -> Iterator[Guardian]:
    """Have a guardian watch over instruments while the block runs; BenchError where none can be had.

    It is dismissed when the block ends, however it ends: whoever ends it has made the bench safe.
    """
    process = subprocess.Popen(
        [sys.executable, "-m", "station.guardian"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,  # what kills the station's group does not reach it
    )
    assert process.stdin is not None and process.stdout is not None
    guardian = Guardian(process, process.stdin)
    try:
        guardian._tell({"wards": [asdict(ward) for ward in wards]})
        if process.stdout.readline().strip() != READY:
            raise BenchError("the guardian of the bench did not start; nothing was powered")
        yield guardian
    finally:
        guardian.dismiss()
        process.stdout.close()


def main() -> None:
    """Watch over the bench until the station says goodbye, or is gone."""
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if hasattr(signal, name):  # Windows has no hang-up
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    plan: dict[str, object] = {}
    for line in sys.stdin:
        told = json.loads(line)
        if GOODBYE in told:
            return
        plan |= told
        if "wards" in told:
            for ward in told["wards"]:
                _words(ward["dialect"])  # while its file is as it was checked
            sys.stdout.write(f"{READY}\n")
            sys.stdout.flush()
    if "wards" in plan:
        _take_over(plan)


def _take_over(plan: dict[str, object]) -> None:
    began = time.monotonic()
    wards = [Ward(**{**each, "channels": tuple(each["channels"])}) for each in plan["wards"]]  # type: ignore[attr-defined]
    problems = made_safe(wards)
    seconds = time.monotonic() - began
    told = "outputs and loads verified off" if not problems else f"{CUT_BY_HAND}: {'; '.join(problems)}"
    cause = f"the station died without a goodbye; its guardian took over: {told} ({seconds:.1f} s)"
    with suppress(OSError):  # the terminal may be gone too
        sys.stderr.write(f"\nrailbench: {cause}\n")
    if "run" in plan:
        _close_run(str(plan["store"]), str(plan["run"]), cause, problems)


def made_safe(wards: Iterable[Ward], most_seconds: float = MOST_SECONDS) -> list[str]:
    """Switch everything off, loads first, again and again until it is verified; return what could not be, in words."""
    waiting = sorted(wards, key=lambda ward: ward.kind)  # 'load' before 'supply'
    end, pause = time.monotonic() + most_seconds, FIRST_PAUSE_SECONDS
    while True:
        problems: list[str] = []
        left: list[Ward] = []
        for ward in waiting:
            with open_links() as links:
                found = _switched_off(links, ward)
            if found:
                left.append(ward)
                problems += found
        waiting = left
        if not waiting or time.monotonic() >= end:
            return problems
        time.sleep(pause)
        pause = min(2.0 * pause, LONGEST_PAUSE_SECONDS)


def _switched_off(links: Links, ward: Ward) -> list[str]:
    """Return what could not be verified on one instrument, on a link of its own; its watchdog may rest once it is."""
    try:
        words = _words(ward.dialect)
        session = links.open(ward.resource, name=ward.name, termination=words.manners.termination)
        driver = Load(session, words) if ward.kind == "load" else Supply(session, words)
        problems = [f"{ward.name}: {problem}" for channel in ward.channels for problem in driver.make_safe(channel)]
        if not problems and isinstance(driver, Supply):
            with suppress(DriverError):  # left armed, it would show as a trip of an output that is off
                driver.disarm_watchdog(ward.channels[0])
        return problems
    except DriverError as error:
        return [f"{ward.name}: {error}"]


def _close_run(store: str, run: str, cause: str, problems: list[str]) -> None:
    """Close the run in the record; where even that fails, the terminal has been told."""
    from station.errors import StoreError
    from station.record import close_left_open
    from station.store import open_store

    try:
        with open_store(store, create=False) as record:
            close_left_open(record, run, cause, problems)
    except StoreError as error:
        with suppress(OSError):
            sys.stderr.write(f"railbench: the run could not be closed in the record: {error}\n")


if __name__ == "__main__":
    main()
