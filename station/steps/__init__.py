"""The kinds of steps that a profile can write; importing this package registers them all."""

from station.steps import (
    asking,
    budgeting,
    dropping,
    measuring,
    overloading,
    powering,
    rectifying,
    rejecting,
    repeating,
    resisting,
    soaking,
    sweeping,
    trimming,
)
from station.steps.kinds import KINDS, BoundStep, Setup, StepForm, step_kind

__all__ = [
    "KINDS",
    "BoundStep",
    "Setup",
    "StepForm",
    "asking",
    "budgeting",
    "dropping",
    "measuring",
    "overloading",
    "powering",
    "rectifying",
    "rejecting",
    "repeating",
    "resisting",
    "soaking",
    "step_kind",
    "sweeping",
    "trimming",
]
