"""Read the bench file: which instruments are there, how good they are, and which of them reaches which terminal."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Annotated

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from drivers import InstrumentKind, dialect, dialect_names
from station.asks import GND
from station.board import Board
from station.datasheet import CurrentRowForm, ResistanceRowForm, RippleRowForm, VoltageRowForm
from station.document import Document, Path_, parse_document, read_text
from station.errors import InputError, Problem
from station.forms import AmpsValue, Form, HertzValue, RatioValue, VoltsValue, fill, nearest

__all__ = ["BenchFile", "BenchForm", "Hooked", "MeterForm", "SupplyForm", "WireForm", "load_bench_file"]
__all__ += ["parse_bench_file"]

KINDS: dict[str, InstrumentKind] = {"supplies": "supply", "meters": "meter", "loads": "load"}
_PLACE = re.compile(r"(\S+(?: \S+)*?)(?: (\d{1,3}))?")


def _day(text: object) -> date:
    try:
        return date.fromisoformat(str(text))
    except ValueError:
        raise ValueError(f"'{text}' is not a date; write year-month-day, such as 2027-03-31") from None


Day = Annotated[date, BeforeValidator(_day), WithJsonSchema({"type": "string", "format": "date"})]


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
    """A supply, with the accuracy of its current readback."""

    channels: dict[int, ChannelForm] = Field(min_length=1)
    current: CurrentRowForm


class LoadForm(InstrumentForm):
    """An electronic load."""

    channels: dict[int, ChannelForm] = Field(min_length=1)


class MeterForm(InstrumentForm):
    """A multimeter; `resolution` is a share of the range, by power-line cycles."""

    voltage: list[VoltageRowForm] = Field(min_length=1)
    resistance: list[ResistanceRowForm] = Field(default_factory=list)
    ripple: RippleRowForm | None = None
    resolution: dict[float, RatioValue] = Field(min_length=1)
    inputs: int | None = Field(None, ge=1, le=999)  # of the scanner in front of it; none: one pair of leads


class WireForm(Form):
    """What reaches one terminal of the board."""

    supply: HookedValue | None = None
    plus_at: str | None = None  # GND: the channel is turned round, as a negative input needs it
    load: HookedValue | None = None
    meter: HookedValue | None = None
    turned_meter: HookedValue | None = None  # a scanner channel with its leads turned round, for ohms: plus at GND
    by_hand: bool = False  # the operator moves the meter's probe here
    sense: bool = False  # sense leads of its own, so that what is read is what is at the board


class BenchForm(Form):
    """The keys at the top of a bench file."""

    bench: str = Field(min_length=1)
    mains: HertzValue = 50.0
    supplies: dict[str, SupplyForm] = Field(min_length=1)
    meters: dict[str, MeterForm] = Field(min_length=1)
    loads: dict[str, LoadForm] = Field(default_factory=dict)
    wiring: dict[str, WireForm] = Field(min_length=1)

    def instruments(self) -> dict[str, InstrumentForm]:
        """Every instrument by its name."""
        return {**self.supplies, **self.meters, **self.loads}


@dataclass(frozen=True)
class BenchFile:
    """A checked bench file, with the places of its values for what is found wrong later."""

    form: BenchForm
    path: Path
    text: str
    document: Document

    def misfits(self, board: Board) -> list[Problem]:
        """Return what keeps this bench from testing a board: a terminal that nothing reaches, a channel too small."""
        return [self.document.problem(*found) for found in _misfits(self.form, board)]


def load_bench_file(path: Path) -> BenchFile:
    """Return the bench in a file; InputError holds all that is wrong with it."""
    return parse_bench_file(read_text(path), path)


def parse_bench_file(text: str, path: Path) -> BenchFile:
    """Return the bench in a text; InputError holds all that is wrong with it."""
    document = parse_document(text, str(path))
    form, problems = fill(BenchForm, document.data, document, ())
    if form is not None:
        problems = [document.problem(*found) for found in (*_instrument_faults(form), *_wiring_faults(form))]
    if form is None or problems:
        raise InputError(problems)
    return BenchFile(form, path, text, document)


Found = tuple[Path_, str, str]


def _instrument_faults(form: BenchForm) -> Iterator[Found]:
    sections: dict[str, Mapping[str, InstrumentForm]] = {
        "supplies": form.supplies,
        "meters": form.meters,
        "loads": form.loads,
    }
    names: dict[str, str] = {}
    resources: dict[str, str] = {}
    for section, instruments in sections.items():
        for name, instrument in instruments.items():
            if name in names:
                yield (section, name), f"'{name}' is also one of the {names[name]}", "give each a name of its own"
            elif instrument.resource in resources:
                what = f"'{name}' has the address of '{resources[instrument.resource]}'"
                yield (section, name, "resource"), what, "give each instrument its own"
            kind = KINDS[section]
            fitting = [each for each in dialect_names() if dialect(each).instrument == kind]
            if instrument.dialect not in fitting:
                what = f"'{instrument.dialect}' is not a dialect of a {kind}"
                yield (section, name, "dialect"), what, nearest(instrument.dialect, fitting)
            names[name], resources[instrument.resource] = section, name


def _wiring_faults(form: BenchForm) -> Iterator[Found]:
    taken: dict[Hooked, str] = {}
    for terminal, wire in form.wiring.items():
        for key, hooked, known in _hooks(form, wire):
            where: Path_ = ("wiring", terminal, key)
            if hooked.instrument not in known:
                yield (
                    where,
                    f"there is no {key.removeprefix('turned ')} '{hooked.instrument}'",
                    nearest(hooked.instrument, known),
                )
                continue
            yield from ((where, *fault) for fault in _channel_faults(hooked, known[hooked.instrument], wire))
            if hooked in taken and not wire.by_hand:
                yield where, f"{_named(hooked)} is at {taken[hooked]} already", "wire each channel to one terminal"
            taken[hooked] = terminal
        if wire.plus_at not in (None, GND):
            yield ("wiring", terminal, "plus at"), f"'{wire.plus_at}' is not ground", f"write {GND}, or leave it out"


def _hooks(form: BenchForm, wire: WireForm) -> Iterator[tuple[str, Hooked, Mapping[str, InstrumentForm]]]:
    """Yield the keys of a wire that name an instrument, with what they name and what there is to name."""
    known: dict[str, Mapping[str, InstrumentForm]] = {"supply": form.supplies, "load": form.loads, "meter": form.meters}
    for key, hooked in (("supply", wire.supply), ("load", wire.load), ("meter", wire.meter)):
        if hooked is not None:
            yield key, hooked, known[key]
    if wire.turned_meter is not None:
        yield "turned meter", wire.turned_meter, form.meters


def _channel_faults(hooked: Hooked, instrument: InstrumentForm, wire: WireForm) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with a channel's number: a channel that is not there, none where one is needed."""
    if isinstance(instrument, MeterForm):
        if wire.by_hand:
            if hooked.channel is not None:
                yield f"{_named(hooked)} is an input, but the probe is moved by hand", f"write '{hooked.instrument}'"
        elif instrument.inputs is None:
            yield f"'{hooked.instrument}' has one pair of leads", "write 'by hand: true' beside it"
        elif not 1 <= (hooked.channel or 0) <= instrument.inputs:
            yield f"'{hooked.instrument}' has inputs 1 to {instrument.inputs}", f"write '{hooked.instrument} 1'"
        return
    channels = instrument.channels if isinstance(instrument, (SupplyForm, LoadForm)) else {}
    if hooked.channel not in channels:
        listed = ", ".join(f"'{hooked.instrument} {number}'" for number in channels)
        yield f"{_named(hooked)} is not one of its channels", f"write one of {listed}"


def _named(hooked: Hooked) -> str:
    return f"'{hooked.instrument}{'' if hooked.channel is None else f' {hooked.channel}'}'"


def _misfits(form: BenchForm, board: Board) -> Iterator[Found]:
    terminals = board.form.terminals
    for name in form.wiring:
        if name not in terminals:
            yield ("wiring", name), f"{board.name} has no terminal '{name}'", nearest(name, terminals)
    for name, terminal in terminals.items():
        wire = form.wiring.get(name)
        if wire is None or wire.meter is None:
            yield ("wiring", name), f"no meter reaches {name}", "write 'meter: dmm 1', or 'by hand: true' beside it"
        if terminal.kind == "input":
            yield from _input_misfits(form, name, wire, terminal.sign, terminal.never_above or 0.0)
        elif wire is not None and wire.supply is not None:
            yield ("wiring", name, "supply"), f"{name} is no input of the board", "feed inputs only"


def _input_misfits(form: BenchForm, name: str, wire: WireForm | None, sign: float, ceiling: float) -> Iterator[Found]:
    if wire is None or wire.supply is None:
        yield ("wiring", name), f"no supply feeds {name}", "write 'supply: psu 1'"
        return
    channel = form.supplies[wire.supply.instrument].channels[wire.supply.channel or 0]
    if sign < 0.0 and wire.plus_at != GND:
        yield ("wiring", name), f"{name} is below ground", f"turn its channel round and write 'plus at: {GND}'"
    elif sign > 0.0 and wire.plus_at == GND:
        yield ("wiring", name, "plus at"), f"{name} is above ground", "take 'plus at' out, or correct the board sheet"
    if wire.plus_at == GND and not channel.floating:
        what = f"{_named(wire.supply)} has its minus tied, so that its plus can't be ground"
        yield ("wiring", name, "supply"), what, "use a floating channel for a negative input"
