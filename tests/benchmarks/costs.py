"""Measure what the station costs beside its rivals, each pair in one run: ratios, not times, are what to compare.

    python -m tests.benchmarks.costs

- an ask: driving the full profile with stored answers, against one warm circuit solution of the board;
- a durable answer: recording one reading, against one bare sqlite3 insert with the same durability;
- a query: a driver's reading over the wire, against a bare socket's query of the same server.
"""

import socket
import sqlite3
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from station.asks import Quantity, Read, Reading
from station.envelope import Envelope
from station.opening import open_simulated
from station.program import compiled
from station.record import begin
from station.rehearsal import highest_volts
from station.replay import Replay
from station.run import NoRecord, run
from station.store import open_store
from tests.benches import full_profile

READ, READING = Read("OUTP", Quantity.VOLTAGE), Reading(15.0, 1e-3, 1e-3, "meter", 1.0, 12.5)


def seconds_each(work: Callable[[], object], times: int) -> float:
    """Return seconds per call, the best of five rounds."""
    rounds = []
    for _ in range(5):
        start = time.perf_counter()
        for _ in range(times):
            work()
        rounds.append((time.perf_counter() - start) / times)
    return min(rounds)


def told(what: str, ours: float, rival: float, unit: str) -> None:
    """Print one pair."""
    print(f"{what:<16} ours {ours * 1e6:9.1f} µs   rival {rival * 1e6:9.1f} µs   ratio {ours / rival:6.2f}   {unit}")


def asks() -> None:
    """Measure the Python of an ask."""
    profile = full_profile()
    answers: list[tuple[object, object]] = []
    with open_simulated(profile.board, highest_volts(profile), seed=1) as bench:
        envelope = Envelope(profile.board)
        run(compiled(profile), bench.performer, NoRecord(), envelope=envelope, told=lambda a, r: answers.append((a, r)))

    def replay() -> None:
        run(compiled(profile), Replay(answers), NoRecord(), envelope=envelope)  # type: ignore[arg-type]  # events too

    volts = 20.0

    def solve() -> None:
        nonlocal volts
        volts += 0.001
        bench.inside.board.feed("INP", volts=volts, limit_amps=0.15, on=True)
        bench.inside.board.volts("OUTP")

    told("ask", seconds_each(replay, 20) / len(answers), seconds_each(solve, 50), "rival: a solution, one board, warm")


def durable_answers() -> None:
    """Measure a durable answer."""
    with tempfile.TemporaryDirectory() as folder, open_store(Path(folder) / "r.sqlite") as store:
        record = begin(store, full_profile(), "D15-1", simulated=True, bench={}, software="benchmark")
        bare = sqlite3.connect(Path(folder) / "bare.sqlite")
        bare.execute("PRAGMA journal_mode=WAL")
        bare.execute("PRAGMA synchronous=FULL")
        bare.execute("CREATE TABLE answers (reply TEXT)")

        def rival() -> None:
            with bare:
                bare.execute("INSERT INTO answers VALUES (?)", (str(READING),))

        ours, theirs = seconds_each(lambda: record.answered(READ, READING), 200), seconds_each(rival, 200)
        bare.close()
    told("durable answer", ours, theirs, f"{1 / ours:.0f} durable answers a second")


def queries() -> None:
    """Measure a query over the wire."""
    profile = full_profile()
    with open_simulated(profile.board, highest_volts(profile), seed=1) as bench:
        bench.performer.read(READ)
        link = socket.create_connection(("127.0.0.1", bench.inside.servers["meter"].port))
        link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

        def rival() -> None:
            link.sendall(b"READ?\n")
            link.recv(200)

        ours, theirs = seconds_each(lambda: bench.performer.read(READ), 200), seconds_each(rival, 200)
        link.close()
    told("meter reading", ours, theirs, "READ? through pyvisa, driver and performer")


if __name__ == "__main__":
    asks()
    durable_answers()
    queries()
