"""Give a proof as a plain JSON document: shares as fractions 0..1, times in seconds, boards as counts."""

from typing import Any

from station.coverage import Course
from station.proof import FaultFound, Proof
from station.proportions import Estimate
from station.report.proof_words import unsolved_boards

__all__ = ["proof_document"]

FORMAT = 1


def proof_document(proof: Proof) -> dict[str, Any]:
    """Return a proof as one object.

    `coverage`, `coverage_of_visible` and `false_fail_rate` are objects of `value`, `low` and `high`, fractions 0..1.
    `healthy`, `false_fails` and `undecided` count boards without a fault; `unsolved` counts all boards, healthy and
    faulty, that have no circuit solution, and `unsolved_by_fault` names them. `seconds` is what the proof took; a
    step's `bench_seconds` is what one board takes there.
    """
    healthy = proof.healthy
    return {
        "format": FORMAT,
        "profile": proof.profile,
        "revision": proof.revision,
        "board": proof.title,
        "simulated": True,
        "seed": proof.seed,
        "stopped": proof.stopped,
        "coverage": _estimate(proof.coverage),
        "coverage_of_visible": _estimate(proof.coverage_of_visible),
        "healthy": healthy.boards,
        "false_fails": healthy.false_fails,
        "undecided": healthy.undecided,
        "unsolved": sum(number for _, number in unsolved_boards(proof)),
        "unsolved_by_fault": [{"fault": name, "boards": number} for name, number in unsolved_boards(proof)],
        "false_fail_rate": _estimate(healthy.rate),
        "false_fail_lines": [{"line": line, "boards": number} for line, number in healthy.causes],
        "escapes": [_escape(fault) for fault in proof.escapes],
        "faults": [_fault(fault) for fault in proof.faults],
        "steps": [
            {"step": step, "bench_seconds": seconds}
            for step, seconds in zip(proof.steps, proof.step_seconds, strict=True)
        ],
        "as_written": _course(proof, proof.as_written),
        "fastest": _course(proof, proof.fastest),
        "idle_lines": list(proof.idle_lines),
        "waiting_steps": list(proof.waiting_steps),
        "left_out": [{"name": left.name, "weight": left.weight} for left in proof.left_out],
        "advice": [{"text": each.text, "gain": each.gain, "write": each.write} for each in proof.advice],
        "boards": proof.boards,
        "seconds": proof.seconds,
    }


def _estimate(estimate: Estimate) -> dict[str, float]:
    return {"value": estimate.value, "low": estimate.low, "high": estimate.high}


def _escape(fault: FaultFound) -> dict[str, Any]:
    return {
        "fault": fault.fault,
        "weight": fault.weight,
        "passed": fault.passed,
        "boards": fault.boards,
        "reason": fault.reason,
        "harm": list(fault.harm),
    }


def _fault(fault: FaultFound) -> dict[str, Any]:
    return {
        **_escape(fault),
        "class": fault.fault_class,
        "caught": fault.caught,
        "undecided": fault.undecided,
        "unsolved": fault.unsolved,
        "visible": fault.visible,
        "first_failed": [{"step": step, "boards": number} for step, number in fault.first],
    }


def _course(proof: Proof, course: Course) -> list[dict[str, Any]]:
    """Return the steps in one order, each with the bench time and the coverage reached after it."""
    steps = zip(course.order, course.seconds, course.coverage, strict=True)
    return [
        {"step": proof.steps[at], "bench_seconds": seconds, "coverage": coverage} for at, seconds, coverage in steps
    ]
