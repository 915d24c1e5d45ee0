"""The kinds of steps that a profile can write; importing this package registers them all."""

from station.steps import asking, measuring, powering, sweeping, trimming
from station.steps.kinds import KINDS, Setup, StepForm, step_kind

__all__ = ["KINDS", "Setup", "StepForm", "asking", "measuring", "powering", "step_kind", "sweeping", "trimming"]
