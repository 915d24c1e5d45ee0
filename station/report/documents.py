"""Give a run as a plain JSON document: the vocabulary's words as keys, numbers in base units."""

import json
import sys
from collections.abc import Mapping
from typing import Any

from station.lines import Outcome
from station.profile import Profile
from station.record import judgement_facts
from station.rehearsal import Rehearsal
from station.store import StoredRun
from station.testing import Tested

__all__ = ["check_document", "head_document", "print_json", "run_document", "stored_document"]

FORMAT = 1


def print_json(document: object) -> None:
    """Write one JSON document to stdout."""
    sys.stdout.write(json.dumps(document, ensure_ascii=False, indent=1) + "\n")


def run_document(tested: Tested, profile: str, revision: str) -> dict[str, Any]:
    """Return a run that has just ended."""
    ended = tested.ended
    return {
        "format": FORMAT,
        "run": tested.id,
        "serial": tested.board.serial,
        "profile": profile,
        "revision": revision,
        "simulated": tested.simulated,
        "seed": tested.board.seed,
        "faults": list(tested.board.faults),
        "operator": tested.board.operator,
        "outcome": ended.outcome.value,
        "cause": str(ended.trouble or ""),
        "safe": {
            "verified": ended.safe.verified,
            "problems": list(ended.safe.problems),
            "tripped": list(ended.safe.tripped),
        },
        "bench_seconds": ended.safe.seconds,
        "lines": [judgement_facts(judgement) for judgement in ended.judgements],
    }


def head_document(head: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a list of runs says of one."""
    keys = ("serial", "profile", "revision", "outcome", "simulated", "started", "ended", "bench_seconds", "cause")
    return {"run": head["id"], **{key: head[key] for key in keys}}


def _texts(run: StoredRun) -> dict[str, str]:
    """Return the hash (SHA-256) of every text that a run was made from, by what it is; the record keeps them all."""
    texts = {"profile": "profile_sha256", "board sheet": "board_sha256", "netlist": "netlist_sha256"}
    included, of_bench = run.bench.get("included", {}), run.bench.get("texts", {})
    return {**{name: run.head[column] for name, column in texts.items()}, **included, **of_bench}


def stored_document(run: StoredRun) -> dict[str, Any]:
    """Return a run from the record."""
    lines = [{key: value for key, value in row.items() if key not in ("run", "position")} for row in run.judgements]
    safe = json.loads(run.head["safe"]) if run.head["safe"] else None
    answers = len(run.answers)
    return {
        "format": FORMAT,
        **head_document(run.head),
        "bench": {key: value for key, value in run.bench.items() if key not in ("included", "texts")},
        "texts": _texts(run),
        "safe": safe,
        "lines": lines,
        "answers": answers,
    }


def check_document(profile: Profile, rehearsal: Rehearsal) -> dict[str, Any]:
    """Return what a dry run showed."""
    return {
        "format": FORMAT,
        "profile": profile.name,
        "revision": profile.revision,
        "board": profile.board.name,
        "bench_seconds": rehearsal.seconds,
        "highest_volts": rehearsal.widest_volts,
        "steps": [
            {
                "step": step.setup.title,
                "bench_seconds": rehearsal.step_seconds.get(step.setup.title, 0.0),
                "lines": [line.title for line in step.lines],
            }
            for step in profile.steps
        ],
        "notes": list(profile.notes),
        "nominal_passes": rehearsal.ended.outcome is Outcome.PASSED,
    }
