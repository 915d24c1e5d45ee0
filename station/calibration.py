"""Say whether what an instrument read can be traced: its calibration, when it was done, and until when it counts."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

from station.bench_forms import CalibrationForm

__all__ = ["calibration_facts", "calibration_note", "untraceable"]

WARNED_DAYS = 30  # before a calibration is due


def calibration_note(calibration: CalibrationForm | None, today: date) -> str:
    """Return what is to be said of an instrument's calibration, '' where it is in order for some time."""
    if calibration is None:
        return "no calibration is given: its readings are traceable to nothing"
    if calibration.due < today:
        return f"its calibration {calibration.certificate} is past due since {calibration.due}"
    if calibration.due - today <= timedelta(days=WARNED_DAYS):
        return f"its calibration {calibration.certificate} is due on {calibration.due}"
    return ""


def calibration_facts(calibrations: Mapping[str, CalibrationForm | None]) -> dict[str, Any]:
    """Return the calibrations of a bench as the record keeps them, by instrument."""
    return {
        name: None if each is None else {"certificate": each.certificate, "done": str(each.done), "due": str(each.due)}
        for name, each in calibrations.items()
    }


def untraceable(bench: Mapping[str, Any], day: date) -> list[str]:
    """Return what could not be traced on the day of a test, from what the record keeps of its bench."""
    found = []
    for name, facts in bench.get("calibrations", {}).items():
        if facts is None:
            found.append(f"{name} had no calibration")
        elif date.fromisoformat(facts["due"]) < day:
            found.append(f"the calibration {facts['certificate']} of {name} was past due since {facts['due']}")
    return found
