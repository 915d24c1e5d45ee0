"""Open the instruments of a bench file and say which of them reaches which terminal.

Each must be who the file says before anything is set: another supply at an old address is found here.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from drivers import AccuracyRow, AccuracyTable, Links, Load, Meter, Scanner, Supply
from station.asks import GND
from station.bench_forms import BenchForm, Hooked, MeterForm, SupplyForm, WireForm
from station.datasheet import CurrentRowForm
from station.dialectfile import spoken
from station.errors import BenchError
from station.quantities import Limit
from station.readings import MeterSheet

__all__ = [
    "LoadChannel",
    "MeterChannel",
    "SupplyChannel",
    "Wiring",
    "current_accuracy",
    "identified",
    "meter_sheet",
    "opened",
    "wired",
]


@dataclass(frozen=True)
class SupplyChannel:
    """A supply channel on an input; `turned` where its plus is at GND, as a negative input needs it."""

    name: str  # the bench's, of the supply
    supply: Supply
    channel: int
    turned: bool
    readback: AccuracyTable


@dataclass(frozen=True)
class LoadChannel:
    """A load channel on an output; `setting` says how well it keeps the current it is set to."""

    load: Load
    channel: int
    setting: AccuracyTable


@dataclass(frozen=True)
class MeterChannel:
    """What reads a terminal: an input of the scanner, or the one pair of leads (None) that is moved `by_hand`.

    `turned` is the scanner's input with the leads turned round: plus at GND, for ohms. `leads` are their ohms.
    `scanner` is None where it is a card in the meter.
    """

    meter: Meter
    channel: int | None
    sheet: MeterSheet
    turned: int | None = None
    by_hand: bool = False
    leads: Limit | None = None
    scanner: Scanner | None = None

    def connect(self, channel: int | None) -> int | None:
        """Have a scanner of its own connect a channel; return which of the meter's own inputs is to be read."""
        if self.scanner is None or channel is None:
            return channel
        self.scanner.reach(channel)
        return None


@dataclass(frozen=True)
class Wiring:
    """Which instrument reaches which terminal, and who the instruments say they are."""

    supplies: Mapping[str, SupplyChannel]
    loads: Mapping[str, LoadChannel]
    meters: Mapping[str, MeterChannel]
    identities: Mapping[str, str]


Driver = Supply | Load | Meter | Scanner


def wired(form: BenchForm, links: Links, wait: Callable[[float], None]) -> Wiring:
    """Open and identify every instrument; drivers.DriverError for a link's trouble, BenchError for another's name."""
    drivers = {name: opened(name, form, links, wait) for name in form.instruments()}
    identities = {name: identified(name, driver, form) for name, driver in drivers.items()}
    supplies, loads, meters = dict[str, SupplyChannel](), dict[str, LoadChannel](), dict[str, MeterChannel]()
    for terminal, wire in form.wiring.items():
        if wire.supply is not None:
            supply, readback = drivers[wire.supply.instrument], form.supplies[wire.supply.instrument].current
            assert isinstance(supply, Supply)
            turned, table = wire.plus_at == GND, current_accuracy(readback)
            supplies[terminal] = SupplyChannel(wire.supply.instrument, supply, _number(wire.supply), turned, table)
        if wire.load is not None:
            load = drivers[wire.load.instrument]
            assert isinstance(load, Load)
            setting = current_accuracy(form.loads[wire.load.instrument].current)
            loads[terminal] = LoadChannel(load, _number(wire.load), setting)
        if wire.meter is not None:
            meters[terminal] = _meter_channel(wire, wire.meter, form, drivers)
    return Wiring(supplies, loads, meters, identities)


def _meter_channel(wire: WireForm, hooked: Hooked, form: BenchForm, drivers: Mapping[str, "Driver"]) -> MeterChannel:
    """Return how a wire's meter reads its terminal: through its own inputs, or a scanner in front of it."""
    meter, scanner = drivers[hooked.instrument], wire.scanner and drivers[wire.scanner.instrument]
    assert isinstance(meter, Meter) and (scanner is None or isinstance(scanner, Scanner))
    straight, turned = (wire.scanner, wire.turned_scanner) if wire.scanner else (hooked, wire.turned_meter)
    return MeterChannel(
        meter,
        straight.channel,
        _sheet(form, hooked.instrument),
        turned=None if turned is None else turned.channel,
        by_hand=wire.by_hand,
        leads=wire.leads,
        scanner=scanner,
    )


def opened(name: str, form: BenchForm, links: Links, wait: Callable[[float], None]) -> Driver:
    """Open the link to an instrument and return its driver; nothing is said to it."""
    instrument = form.instruments()[name]
    words = spoken(instrument.dialect)
    session = links.open(instrument.resource, name=name, termination=words.manners.termination)
    if isinstance(instrument, SupplyForm):
        return Supply(session, words, wait=wait, unprotected=instrument.unprotected)
    if words.instrument == "load":
        return Load(session, words, wait=wait)
    if words.instrument == "scanner":
        return Scanner(session, words, wait=wait)
    return Meter(session, words, wait=wait, mains_hz=form.mains)


def _number(hooked: Hooked) -> int:
    assert hooked.channel is not None, f"the bench file's check let '{hooked.instrument}' through without a channel"
    return hooked.channel


def identified(name: str, driver: Driver, form: BenchForm) -> str:
    """Return who an instrument says it is; BenchError if that is not who the file says (blanks after commas aside)."""
    found, wanted = driver.identify(), form.instruments()[name].identity
    if not _squeezed(found.fields).startswith(_squeezed(wanted)):
        address = form.instruments()[name].resource
        raise BenchError(
            f"{name} ({address}) says it is '{found.fields}', but the bench file has '{wanted}'; "
            "check its address, or write in the bench file who is there now"
        )
    return str(found)


def _squeezed(text: str) -> str:
    return re.sub(r"\s*,\s*", ",", text.strip().casefold())


def meter_sheet(form: MeterForm) -> MeterSheet:
    """Return a meter's data sheet as the bench file has it."""
    volts = (AccuracyRow("voltage", r.range, r.of_reading, r.of_range, noise_rms=r.noise) for r in form.voltage)
    ohms = (AccuracyRow("resistance", r.range, r.of_reading, r.of_range, noise_rms=r.noise) for r in form.resistance)
    ripple = [] if form.ripple is None else [_without_range("ripple", form.ripple)]
    return MeterSheet(AccuracyTable((*volts, *ohms, *ripple)), dict(form.resolution))


def _sheet(form: BenchForm, name: str) -> MeterSheet:
    return replace(meter_sheet(form.meters[name]), name=name)


def current_accuracy(form: CurrentRowForm) -> AccuracyTable:
    """Return the accuracy of a supply's readback or a load's setting as the bench file has it."""
    return AccuracyTable((_without_range("current", form),))


def _without_range(function: str, form: CurrentRowForm) -> AccuracyRow:
    return AccuracyRow(function, 0.0, form.of_reading, counts=form.counts, digit=form.digit, noise_rms=form.noise)
