"""Write a proof as a self-contained page: both figures, two pictures, every escape, every fault, and advice."""

import math
from dataclasses import dataclass

from station.coverage import Course
from station.proof import FaultFound, Proof
from station.report.pages import template
from station.report.proof_pictures import class_bars, coverage_picture
from station.report.proof_words import (
    advice_text,
    counted,
    escapes_text,
    estimate_text,
    firsts_text,
    healthy_text,
    scope_text,
    share_text,
    stopped_text,
    unsolved_text,
)
from station.report.wording import seconds_text

__all__ = ["proof_html"]


@dataclass(frozen=True)
class _FaultRow:
    """A fault in words."""

    fault: str
    share: str
    caught: str
    passed: str
    undecided: str
    unsolved: str
    first: str
    visible: str
    reason: str
    harm: str


@dataclass(frozen=True)
class _StepRow:
    """A step in words; `place` is its number in the order that gains fastest."""

    number: int
    step: str
    seconds: str
    adds: str
    reached: str
    place: int
    adds_there: str


def proof_html(proof: Proof) -> str:
    """Return the page. It asks for nothing from elsewhere, and runs nothing."""
    healthy = proof.healthy
    return template("proof.html").render(
        proof=proof,
        stopped=stopped_text(proof),
        coverage=estimate_text(proof.coverage) if proof.faults else "not known",
        coverage_of_visible=estimate_text(proof.coverage_of_visible) if proof.faults else "not known",
        visible=counted(sum(fault.visible for fault in proof.faults), "fault"),
        universe=counted(len(proof.faults), "fault"),
        scope=scope_text(proof),
        healthy=healthy_text(healthy),
        causes=[(line, counted(boards, "board")) for line, boards in healthy.causes],
        escaping=escapes_text(proof),
        escapes=[_row(fault) for fault in proof.escapes],
        classes=_classes(proof),
        unsolved=unsolved_text(proof),
        steps=_steps(proof),
        bench=seconds_text(math.fsum(proof.step_seconds)),
        picture=coverage_picture(proof),
        bars=class_bars(proof),
        left_out=[(left.name, share_text(left.weight, 2)) for left in proof.left_out],
        advice=[(advice_text(each), each.write) for each in proof.advice],
        made=f"{counted(proof.boards, 'board')} in {seconds_text(proof.seconds)}, seed {proof.seed}",
    )


def _row(fault: FaultFound) -> _FaultRow:
    return _FaultRow(
        fault.fault,
        share_text(fault.weight, 2),
        share_text(fault.caught / fault.boards) if fault.boards else "–",
        f"{fault.passed} of {fault.boards}" if fault.boards else "–",
        f"{fault.undecided or '–'}",
        f"{fault.unsolved or '–'}",
        firsts_text(fault) or "–",
        "yes" if fault.visible else "no",
        fault.reason or "–",
        "; ".join(fault.harm) or "none found",
    )


def _classes(proof: Proof) -> dict[str, list[_FaultRow]]:
    """Return every fault under its class, in the universe's order."""
    classes: dict[str, list[_FaultRow]] = {}
    for fault in proof.faults:
        classes.setdefault(fault.fault_class, []).append(_row(fault))
    return classes


def _steps(proof: Proof) -> list[_StepRow]:
    """Return the steps as written, with what each adds there and in the order that gains fastest."""
    adds, adds_there = _gains(proof.as_written), _gains(proof.fastest)
    places = {step: place for place, step in enumerate(proof.fastest.order, start=1)}
    reached = dict(zip(proof.as_written.order, proof.as_written.coverage, strict=True))
    return [
        _StepRow(
            at + 1,
            proof.steps[at],
            f"{proof.step_seconds[at]:.1f} s",
            share_text(adds[at]),
            share_text(reached[at]),
            places[at],
            share_text(adds_there[at]),
        )
        for at in proof.as_written.order
    ]


def _gains(course: Course) -> dict[int, float]:
    before = (0.0, *course.coverage)[: len(course.coverage)]
    return {step: now - then for step, now, then in zip(course.order, course.coverage, before, strict=True)}
