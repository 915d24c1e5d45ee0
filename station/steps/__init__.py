"""The kinds of steps that a profile can write; importing this package registers them all."""

from station.steps import asking, measuring, overloading, powering, sweeping, trimming
from station.steps.kinds import KINDS, Setup, StepForm, step_kind

__all__ = [
    "KINDS",
    "Setup",
    "StepForm",
    "asking",
    "measuring",
    "overloading",
    "powering",
    "step_kind",
    "sweeping",
    "trimming",
]
