"""Say what is wrong with a bench file: in itself, and for the board that it is to test."""

import math
from collections.abc import Iterator, Mapping

from drivers import InstrumentKind, fitting_range
from station.asks import GND
from station.bench_forms import (
    BenchForm,
    Hooked,
    InstrumentForm,
    LoadForm,
    MeterForm,
    ScannerForm,
    SupplyForm,
    WireForm,
)
from station.board import Board
from station.dialectfile import dialect_faults, spoken
from station.document import Path_
from station.forms import nearest
from station.judge import EFFORTS
from station.metering import expected_volts
from station.quantities import format_value

__all__ = ["faults", "misfits"]

_FEEDS = (SupplyForm, LoadForm)
KINDS: dict[str, InstrumentKind] = {"supplies": "supply", "meters": "meter", "loads": "load", "scanners": "scanner"}
Found = tuple[Path_, str, str]


def faults(form: BenchForm) -> Iterator[Found]:
    """Yield what is wrong with a bench file in itself."""
    yield from _instrument_faults(form)
    for name, meter in form.meters.items():
        yield from ((("meters", name, *where), what, instead) for where, what, instead in _sheet_faults(meter))
    yield from _wiring_faults(form)
    yield from _scanner_faults(form)


def _instrument_faults(form: BenchForm) -> Iterator[Found]:
    sections: dict[str, Mapping[str, InstrumentForm]] = {
        "supplies": form.supplies,
        "meters": form.meters,
        "loads": form.loads,
        "scanners": form.scanners,
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
            unprotected = isinstance(instrument, SupplyForm) and instrument.unprotected
            channels = instrument.channels if isinstance(instrument, (SupplyForm, LoadForm)) else ()
            for fault in dialect_faults(instrument.dialect, kind, channels, unprotected=unprotected):
                yield (section, name, "dialect"), *fault
            names[name], resources[instrument.resource] = section, name


def _sheet_faults(meter: MeterForm) -> Iterator[Found]:
    """Yield what is wrong with what the file copies from a meter's data sheet."""
    for function, rows in (("voltage", meter.voltage), ("resistance", meter.resistance)):
        ranges = [row.range for row in rows]
        for index, span in enumerate(ranges):
            if span in ranges[:index]:
                yield (function, index, "range"), f"the {span:g} range stands here a second time", "keep one of them"
    if min(meter.resolution) > EFFORTS[0]:
        what = f"the resolution at {EFFORTS[0]:g} power-line cycles is missing, the shortest that is asked for"
        yield ("resolution",), what, f"write '{EFFORTS[0]:g}: 10 ppm' or what the data sheet says"


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
            if hooked in taken and not (wire.by_hand or (hooked == wire.meter and wire.scanner)):
                yield where, f"{_named(hooked)} is at {taken[hooked]} already", "wire each channel to one terminal"
            taken[hooked] = terminal
        if wire.plus_at not in (None, GND):
            yield ("wiring", terminal, "plus at"), f"'{wire.plus_at}' is not ground", f"write {GND}, or leave it out"


def _hooks(form: BenchForm, wire: WireForm) -> Iterator[tuple[str, Hooked, Mapping[str, InstrumentForm]]]:
    """Yield the keys of a wire that name an instrument, with what they name and what there is to name."""
    named = (
        ("supply", wire.supply, form.supplies),
        ("load", wire.load, form.loads),
        ("meter", wire.meter, form.meters),
        ("turned meter", wire.turned_meter, form.meters),
        ("scanner", wire.scanner, form.scanners),
        ("turned scanner", wire.turned_scanner, form.scanners),
    )
    yield from ((key, hooked, known) for key, hooked, known in named if hooked is not None)


def _scanner_faults(form: BenchForm) -> Iterator[Found]:
    """Yield what keeps a scanner's common end from being one meter's leads."""
    behind: dict[str, str] = {}
    for terminal, wire in form.wiring.items():
        turned = wire.turned_scanner
        if turned is not None and (wire.scanner is None or wire.scanner.instrument != turned.instrument):
            what = f"{_named(turned)} is not on the scanner that reaches {terminal}"
            yield ("wiring", terminal, "turned scanner"), what, "use a channel of the same one"
        if wire.scanner is not None and wire.meter is not None:
            meter = behind.setdefault(wire.scanner.instrument, wire.meter.instrument)
            if meter != wire.meter.instrument:
                what = f"'{wire.scanner.instrument}' has '{meter}' behind it"
                yield ("wiring", terminal, "meter"), what, f"write 'meter: {meter}', or give each meter its own scanner"


def _channel_faults(hooked: Hooked, instrument: InstrumentForm, wire: WireForm) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with a channel's number: a channel that is not there, none where one is needed."""
    if isinstance(instrument, ScannerForm):
        if wire.by_hand or wire.meter is None:
            yield f"{_named(hooked)} leads to no meter", "write which one is behind it, and no 'by hand'"
        elif not 1 <= (hooked.channel or 0) <= instrument.inputs:
            yield f"'{hooked.instrument}' has inputs 1 to {instrument.inputs}", f"write '{hooked.instrument} 1'"
    elif isinstance(instrument, MeterForm):
        if wire.scanner is not None:
            if hooked.channel is not None or instrument.inputs is not None:
                yield f"{_named(hooked)} has inputs, and is behind a scanner", "write one of the two"
        elif wire.by_hand:
            if hooked.channel is not None:
                yield f"{_named(hooked)} is an input, but the probe is moved by hand", f"write '{hooked.instrument}'"
        elif instrument.inputs is None:
            yield f"'{hooked.instrument}' has one pair of leads", "write 'by hand: true' or 'scanner: ...' beside it"
        elif not 1 <= (hooked.channel or 0) <= instrument.inputs:
            yield f"'{hooked.instrument}' has inputs 1 to {instrument.inputs}", f"write '{hooked.instrument} 1'"
    elif hooked.channel not in (channels := instrument.channels if isinstance(instrument, _FEEDS) else {}):
        listed = ", ".join(f"'{hooked.instrument} {number}'" for number in channels)
        yield f"{_named(hooked)} is not one of its channels", f"write one of {listed}"


def _named(hooked: Hooked) -> str:
    return f"'{hooked.instrument}{'' if hooked.channel is None else f' {hooked.channel}'}'"


def misfits(form: BenchForm, board: Board) -> Iterator[Found]:
    """Yield what keeps a bench from testing a board: a terminal that nothing reaches, a channel the wrong way."""
    terminals = board.form.terminals
    for name in form.wiring:
        if name not in terminals:
            yield ("wiring", name), f"{board.name} has no terminal '{name}'", nearest(name, terminals)
    for name, terminal in terminals.items():
        wire = form.wiring.get(name)
        if wire is None or wire.meter is None:
            yield ("wiring", name), f"no meter reaches {name}", "write 'meter: dmm 1', or 'by hand: true' beside it"
        else:
            yield from _range_misfits(form, wire.meter.instrument, name, expected_volts(board, name))
        if terminal.kind == "input":
            yield from _input_misfits(form, name, wire, terminal.sign, terminal.never_above or 0.0)
        elif wire is not None and wire.supply is not None:
            yield ("wiring", name, "supply"), f"{name} is no input of the board", "feed inputs only"


def _range_misfits(form: BenchForm, meter: str, terminal: str, expected: float) -> Iterator[Found]:
    """Yield the range that a terminal is read on, where the file says nothing of the meter's accuracy there."""
    traits, known = spoken(form.meters[meter].dialect).meter, [row.range for row in form.meters[meter].voltage]
    assert traits is not None, f"the bench file's check let '{meter}' through with a dialect of something else"
    span = fitting_range(traits.ranges_volts, expected)
    if not any(math.isclose(span, each, rel_tol=1e-6) for each in known):
        shown = format_value(span, "V")
        what = f"{terminal} is read on the {shown} range, which has no row here"
        yield ("meters", meter, "voltage"), what, f"write '- {{range: {shown}, of reading: ...}}'"


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
