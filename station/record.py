"""Write one run into the store, fact by fact, each on disk before the next ask is answered."""

import json
import os
import time
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any

from station.asks import Ask, Event, Judged, Read, Reading, SafeState, StepEnded, StepStarted
from station.lines import Judgement, Outcome
from station.profile import Profile
from station.store import Store, answers, judgements, readings, runs, steps
from station.transcript import written_ask, written_reply

__all__ = ["RunRecord", "begin", "close_left_open", "judgement_facts"]


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def new_id() -> str:
    """Return a UUID version 7 (RFC 9562, 5.7, method 3 of 6.2): ordered by time to a quarter of a microsecond."""
    milliseconds, nanoseconds = divmod(time.time_ns(), 1_000_000)
    fraction = nanoseconds * 4096 // 1_000_000
    random = int.from_bytes(os.urandom(8), "big") & ((1 << 62) - 1)
    return str(uuid.UUID(int=milliseconds << 80 | 0x7 << 76 | fraction << 64 | 0x2 << 62 | random))


class RunRecord:
    """One run in the store; every method commits before it returns, and raises StoreError where it can't."""

    def __init__(self, store: Store, identity: str) -> None:
        self._store, self.id = store, identity
        self._sequence = self._position = 0
        self._step = -1

    def answered(self, ask: Ask[Any], reply: object) -> None:
        """Keep an answer (or the Unreadable in its place), with its columns where it is a reading."""
        self._sequence += 1
        row = {"run": self.id, "sequence": self._sequence}
        told = {"step": self._step, "ask": written_ask(ask), "reply": written_reply(reply), "told": _now()}
        rows = [(answers, {**row, **told})]
        if isinstance(ask, Read) and isinstance(reply, Reading):
            rows.append((readings, {**row, **_columns(ask, reply)}))
        self._store.append(*rows)

    def noted(self, event: Event) -> None:
        """Keep a step's begin and end, and a judgement; what was only said is not kept."""
        if isinstance(event, StepStarted):
            self._step = event.index
            begun = {"title": event.title, "started": _now(), "ended": None}
            self._store.append((steps, {"run": self.id, "position": event.index, **begun}))
        elif isinstance(event, StepEnded):
            this = (steps.c.run == self.id) & (steps.c.position == event.index)
            with self._store.writing() as connection:
                connection.execute(steps.update().where(this).values(ended=_now()))
        elif isinstance(event, Judged):
            self._position += 1
            facts = judgement_facts(event.judgement)
            self._store.append((judgements, {"run": self.id, "position": self._position, **facts}))

    def ended(self, outcome: Outcome, cause: str, safe: SafeState) -> None:
        """Close the run."""
        closing: dict[str, Any] = {
            "ended": _now(),
            "outcome": outcome.value,
            "cause": cause,
            "safe": json.dumps(asdict(safe)),
        }
        closing["bench_seconds"] = safe.seconds
        with self._store.writing() as connection:
            connection.execute(runs.update().where(runs.c.id == self.id).values(**closing))


def close_left_open(store: Store, run: str, cause: str, problems: Sequence[str]) -> None:
    """Close a run whose station is gone as Aborted, with what could not be verified; one that has ended stays."""
    safe = SafeState(verified=not problems, problems=tuple(problems))
    closing = {"ended": _now(), "outcome": Outcome.ABORTED.value, "cause": cause, "safe": json.dumps(asdict(safe))}
    with store.writing() as connection:
        still_open = (runs.c.id == run) & runs.c.outcome.is_(None)
        connection.execute(runs.update().where(still_open).values(**closing))


def begin(
    store: Store,
    profile: Profile,
    serial: str,
    *,
    simulated: bool,
    bench: Mapping[str, Any],
    software: str,
    texts: Mapping[str, str] = MappingProxyType({}),
) -> RunRecord:
    """Open a run in the store, with the texts it is run from; StoreError where it can't be written.

    `texts` are those of its bench by what they are; like what the netlist includes, `bench` refers to them by hash.
    """
    record = RunRecord(store, new_id())
    with store.writing() as connection:
        hashes = {
            "profile_sha256": store.keep_text(connection, profile.text),
            "board_sha256": store.keep_text(connection, profile.board.text),
            "netlist_sha256": store.keep_text(connection, profile.board.netlist),
        }
        referred = {
            "included": {name: store.keep_text(connection, text) for name, text in profile.board.included},
            "texts": {name: store.keep_text(connection, text) for name, text in texts.items()},
        }
        facts = {**bench, **{key: hashed for key, hashed in referred.items() if hashed}}
        connection.execute(
            runs.insert().values(
                id=record.id,
                serial=serial,
                profile=profile.name,
                revision=profile.revision,
                board=profile.board.name,
                simulated=simulated,
                bench=json.dumps(facts, ensure_ascii=False),
                software=software,
                started=_now(),
                **hashes,
            )
        )
    return record


def _columns(ask: Read, reading: Reading) -> dict[str, Any]:
    return {
        "terminal": ask.terminal,
        "quantity": ask.quantity.value,
        "value": reading.value,
        "u_random": reading.u_random,
        "u_common": reading.u_common,
        "effort": reading.effort,
        "source": reading.source,
    }


def judgement_facts(judgement: Judgement) -> dict[str, Any]:
    """Return a judgement as plain values by the words that columns and JSON documents use."""
    line = judgement.line
    return {
        "step": line.step,
        "name": line.name,
        "terminal": line.terminal,
        "limit": None if line.limit is None else str(line.limit),
        "unit": None if line.limit is None else line.limit.unit,
        "outcome": judgement.outcome.value,
        "value": judgement.value,
        "u": judgement.u,
        "conformity": judgement.conformity,
        "guard": judgement.guard,
        "effort": judgement.effort,
        "cause": judgement.cause,
    }
