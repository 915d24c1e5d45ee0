"""The kinds of steps that a profile can write; importing this package registers them all."""

from station.steps import (
    asking,
    dropping,
    measuring,
    overloading,
    powering,
    rectifying,
    rejecting,
    resisting,
    soaking,
    sweeping,
    trimming,
)
from station.steps.kinds import KINDS, Setup, StepForm, step_kind

__all__ = [
    "KINDS",
    "Setup",
    "StepForm",
    "asking",
    "dropping",
    "measuring",
    "overloading",
    "powering",
    "rectifying",
    "rejecting",
    "resisting",
    "soaking",
    "step_kind",
    "sweeping",
    "trimming",
]
