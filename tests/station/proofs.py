"""Make up proofs, with good defaults for what a test does not care about."""

from dataclasses import replace
from typing import Any

from station.coverage import Course
from station.likelihood import Left
from station.proof import Advice, FaultFound, Healthy, Proof
from station.proportions import Estimate

MADE_UP = Proof(
    profile="twin/full",
    revision="A",
    title="Twin regulator",
    seed=1,
    healthy=Healthy(5000, 2, 3, 0, Estimate(0.0004, 0.00005, 0.0014), (("load sweep: OUTP load regulation", 2),)),
    faults=(),
    coverage=Estimate(0.861, 0.849, 0.872),
    coverage_of_visible=Estimate(0.93, 0.92, 0.941),
    steps=("ramp", "no load", "load sweep"),
    step_seconds=(6.0, 2.5, 31.5),
    as_written=Course((0, 1, 2), (6.0, 8.5, 40.0), (0.40, 0.78, 0.861)),
    fastest=Course((1, 0, 2), (2.5, 8.5, 40.0), (0.70, 0.78, 0.861)),
    idle_lines=("load sweep: OUTN load regulation",),
    waiting_steps=("soak",),
    left_out=(Left("insulator missing", 0.02),),
    advice=(Advice("read the voltage at TP3 with no load", 0.031, "TP3: {voltage: 5.1 V .. 5.9 V}"),),
    boards=46600,
    seconds=183.0,
)


def found(
    fault: str,
    *,
    weight: float = 0.1,
    caught: int = 0,
    passed: int = 0,
    unsolved: int = 0,
    visible: bool = True,
    reason: str = "",
    harm: tuple[str, ...] = (),
) -> FaultFound:
    """Return a fault whose caught boards all failed at 'no load'."""
    first = (("no load", caught),) if caught else ()
    fault_class = "open or missing joint" if fault.endswith("open") else "solder bridge"
    return FaultFound(fault, fault_class, weight, caught, passed, 0, unsolved, first, visible, reason, harm)


def escape(fault: str, *, weight: float = 0.1, passed: int = 100) -> FaultFound:
    """Return a fault of which that many of a hundred boards passed."""
    reason = "within limits: OUTP voltage moves by 3.1 mV, its limit leaves 75 mV"
    harm = ("ripple at OUTP above its rating",)
    return found(fault, weight=weight, caught=100 - passed, passed=passed, reason=reason, harm=harm)


def made_up(*faults: FaultFound, **changes: Any) -> Proof:
    """Return a made-up proof of these faults."""
    return replace(MADE_UP, faults=faults, **changes)
