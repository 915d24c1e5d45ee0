"""The forms behind a bench file: instruments, how good they are, and which of them reaches which terminal."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from station.datasheet import CurrentRowForm, ResistanceRowForm, RippleRowForm, Share, VoltageRowForm
from station.dialectfile import placed
from station.forms import AmpsValue, Form, HertzValue, LeadsValue, VoltsValue

__all__ = ["BenchForm", "Hooked", "InstrumentForm", "LoadForm", "MeterForm", "ScannerForm"]
__all__ += ["SupplyForm", "WireForm"]

_PLACE = re.compile(r"(\S+(?: \S+)*?)(?: (\d{1,3}))?")


def _day(text: object) -> date:
    try:
        return date.fromisoformat(str(text))
    except ValueError:
        raise ValueError(f"'{text}' is not a date; write year-month-day, such as 2027-03-31") from None


Day = Annotated[date, BeforeValidator(_day), WithJsonSchema({"type": "string", "format": "date"})]


Cycles = Annotated[float, Field(gt=0.0)]  # power-line cycles


@dataclass(frozen=True)
class Hooked:
    """An instrument, and the channel of it where it has several, as a wiring names them: 'psu 2'."""

    instrument: str
    channel: int | None


def _hooked(text: object) -> Hooked:
    match = _PLACE.fullmatch(str(text).strip())
    if match is None or not isinstance(text, str):
        raise ValueError(f"'{text}' names no instrument; write its name and channel, such as 'psu 1'")
    name, channel = match.groups()
    return Hooked(name, None if channel is None else int(channel))


HookedValue = Annotated[Hooked, BeforeValidator(_hooked), WithJsonSchema({"type": "string", "examples": ["psu 1"]})]


class CalibrationForm(Form):
    """When an instrument was calibrated, and until when that counts."""

    certificate: str = Field(min_length=1)
    done: Day
    due: Day

    @model_validator(mode="after")
    def _in_order(self) -> "CalibrationForm":
        if self.due <= self.done:
            raise ValueError(f"it is due on {self.due}, before it was done; write the later date as 'due'")
        return self


class ChannelForm(Form):
    """A channel's most; `floating` where neither of its ends is tied to another channel or to earth."""

    up_to: VoltsValue = Field(gt=0.0)
    amps: AmpsValue = Field(gt=0.0)
    floating: bool = True


class InstrumentForm(Form):
    """What every instrument of a bench has; `identity` is how its reply to *IDN? begins."""

    resource: str = Field(min_length=1)
    dialect: str
    identity: str = Field(min_length=1)
    calibration: CalibrationForm | None = None


class SupplyForm(InstrumentForm):
    """A supply, with the accuracy of its current readback.

    `unprotected` lets a board be fed by one without protections of its own: only the station then ends a fault.
    """

    channels: dict[int, ChannelForm] = Field(min_length=1)
    current: CurrentRowForm
    unprotected: bool = False


class LoadForm(InstrumentForm):
    """An electronic load, with the accuracy of the current it is set to."""

    channels: dict[int, ChannelForm] = Field(min_length=1)
    current: CurrentRowForm


class MeterForm(InstrumentForm):
    """A multimeter; `resolution` is a share of the range, by power-line cycles."""

    voltage: list[VoltageRowForm] = Field(min_length=1)
    resistance: list[ResistanceRowForm] = Field(default_factory=list)
    ripple: RippleRowForm | None = None
    resolution: dict[Cycles, Share] = Field(min_length=1)
    inputs: int | None = Field(None, ge=1, le=999)  # of the scanner in front of it; none: one pair of leads


class ScannerForm(InstrumentForm):
    """A scanner that is an instrument of its own, in front of a meter with one pair of leads."""

    inputs: int = Field(ge=1, le=999)


class WireForm(Form):
    """What reaches one terminal of the board."""

    supply: HookedValue | None = None
    plus_at: str | None = None  # GND: the channel is turned round, as a negative input needs it
    load: HookedValue | None = None
    meter: HookedValue | None = None
    turned_meter: HookedValue | None = None  # a scanner channel with its leads turned round, for ohms: plus at GND
    scanner: HookedValue | None = None  # its channel is what reaches this terminal; the meter is behind it
    turned_scanner: HookedValue | None = None  # its channel with the leads turned round, for ohms
    by_hand: bool = False  # the operator moves the meter's probe here
    leads: LeadsValue | None = None  # the meter's, there and back; taken off the ohms that are read through them


class BenchForm(Form):
    """The keys at the top of a bench file."""

    bench: str = Field(min_length=1)
    mains: HertzValue = Field(50.0, ge=10.0, le=1000.0)
    supplies: dict[str, SupplyForm] = Field(default_factory=dict)  # none where nothing is fed: a raw supply is tested
    meters: dict[str, MeterForm] = Field(min_length=1)
    loads: dict[str, LoadForm] = Field(default_factory=dict)
    scanners: dict[str, ScannerForm] = Field(default_factory=dict)
    wiring: dict[str, WireForm] = Field(min_length=1)

    def instruments(self) -> dict[str, InstrumentForm]:
        """Every instrument by its name."""
        return {**self.supplies, **self.meters, **self.loads, **self.scanners}

    def measuring(self) -> dict[str, InstrumentForm]:
        """Those whose calibration counts: a scanner only connects."""
        return {name: each for name, each in self.instruments().items() if name not in self.scanners}

    def beside(self, folder: Path) -> "BenchForm":
        """Return the same with dialect files where they lie, so that any process finds them."""

        def moved(instruments: Mapping[str, InstrumentForm]) -> dict[str, InstrumentForm]:
            return {
                name: each.model_copy(update={"dialect": placed(each.dialect, folder)})
                for name, each in instruments.items()
            }

        sections = ("supplies", "meters", "loads", "scanners")
        return self.model_copy(update={section: moved(getattr(self, section)) for section in sections})
