"""What a bench file copies from an instrument's data sheet: how far it may be off, range by range."""

from typing import Annotated

from pydantic import Field

from station.forms import AmpsValue, Form, OhmsValue, RatioValue, VoltsValue

__all__ = ["CurrentRowForm", "ResistanceRowForm", "RippleRowForm", "Share", "VoltageRowForm"]

Share = Annotated[RatioValue, Field(ge=0.0, lt=1.0)]


class VoltageRowForm(Form):
    """The data sheet's accuracy of volts on one range; `noise` is one reading's at 1 power-line cycle."""

    range: VoltsValue = Field(gt=0.0)
    of_reading: Share = 0.0
    of_range: Share = 0.0
    noise: VoltsValue = Field(0.0, ge=0.0)


class ResistanceRowForm(Form):
    """The data sheet's accuracy of two-wire ohms on one range."""

    range: OhmsValue = Field(gt=0.0)
    of_reading: Share = 0.0
    of_range: Share = 0.0
    noise: OhmsValue = Field(0.0, ge=0.0)


class CurrentRowForm(Form):
    """The data sheet's accuracy of a current readback."""

    of_reading: Share = 0.0
    counts: float = Field(0.0, ge=0.0)
    digit: AmpsValue = Field(0.0, ge=0.0)
    noise: AmpsValue = Field(0.0, ge=0.0)


class RippleRowForm(CurrentRowForm):
    """The data sheet's accuracy of a.c. volts, at twice the mains frequency."""

    digit: VoltsValue = Field(0.0, ge=0.0)
    noise: VoltsValue = Field(0.0, ge=0.0)
