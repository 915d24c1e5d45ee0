"""Look at a bench without touching what it does: who is there, in what state, how far away, how well calibrated.

And what it can measure of a profile: how many times smaller its doubt is than each limit.
"""

import math
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date

from drivers import DriverError, Links, Load, Meter, Mode, NotPrepared, Scanner, Supply, open_links
from station.bench_forms import BenchForm
from station.board import Board
from station.calibration import calibration_note
from station.errors import BenchError
from station.judge import EFFORTS
from station.lines import Line
from station.metering import expected_volts
from station.profile import Profile
from station.program import compiled
from station.quantities import Limit, format_value
from station.readings import MeterSheet, amps_look, volts_look
from station.uncertainty import measured
from station.wiring import current_accuracy, identified, meter_sheet, opened

__all__ = ["LEAST_RATIO", "Grip", "InstrumentState", "grips", "looked_at"]

LEAST_RATIO = 4.0  # of a limit's half-width to the expanded uncertainty; common practice (4:1), no source
LIVE_VOLTS = 1.0  # at the terminals of a supply that can't say whether it is on; common practice, no source


@dataclass
class InstrumentState:
    """What was found of one instrument; `trouble` where it could not be looked at, or is another one."""

    name: str
    resource: str
    identity: str = ""
    round_trip_seconds: float = math.nan
    facts: list[str] = field(default_factory=list)  # of each channel, in words
    warnings: list[str] = field(default_factory=list)
    trouble: str = ""


def looked_at(form: BenchForm, today: date) -> Iterator[InstrumentState]:
    """Yield the state of each instrument of a bench, none of which is set to anything."""
    with open_links() as links:
        for name, instrument in form.instruments().items():
            state = InstrumentState(name, instrument.resource)
            try:
                _look(state, links, form)
            except (DriverError, BenchError) as error:
                state.trouble = str(error)
            if name in form.measuring() and (note := calibration_note(instrument.calibration, today)):
                state.warnings.append(note)
            yield state


def _look(state: InstrumentState, links: Links, form: BenchForm) -> None:
    driver = opened(state.name, form, links, time.sleep)
    state.identity = identified(state.name, driver, form)
    began = time.perf_counter()
    driver.identify()
    state.round_trip_seconds = time.perf_counter() - began
    for error in driver.session.drain_errors():
        state.warnings.append(f"its error queue held: {error}")
    if isinstance(driver, Supply):
        _look_at_supply(state, driver, form)
    elif isinstance(driver, Load):
        _look_at_load(state, driver, form)
    else:
        assert isinstance(driver, (Meter, Scanner))


def _look_at_supply(state: InstrumentState, supply: Supply, form: BenchForm) -> None:
    for channel in form.supplies[state.name].channels:
        trips, at = supply.trips(channel), supply.measure(channel)
        mode = _mode_told(supply, channel)
        on = at.volts > LIVE_VOLTS if mode is None else mode is not Mode.OFF
        shown = f"{format_value(at.volts, 'V', digits=4)}, {format_value(at.amps, 'A', digits=3)}"
        held = "can't say whether it is on" if mode is None else mode.value
        state.facts.append(f"channel {channel}: {held}, {shown}")
        if trips:
            state.warnings.append(f"channel {channel} is tripped: {', '.join(trips)}")
        elif on:
            state.warnings.append(f"channel {channel} is on: look what hangs on it before a run switches it off")


def _mode_told(supply: Supply, channel: int) -> Mode | None:
    """Return a channel's mode; None where the supply can't say, and nobody has told it anything yet."""
    try:
        return supply.mode(channel)
    except NotPrepared:
        return None


def _look_at_load(state: InstrumentState, load: Load, form: BenchForm) -> None:
    for channel in form.loads[state.name].channels:
        at = load.measure(channel)
        shown = f"{format_value(at.volts, 'V', digits=4)}, {format_value(at.amps, 'A', digits=3)}"
        state.facts.append(f"channel {channel}: {shown}")


@dataclass(frozen=True)
class Grip:
    """How well a bench holds one limit: its expanded uncertainty there at best, and the guard band that results.

    `ratio` is the limit's half-width over the expanded uncertainty (the test uncertainty ratio).
    """

    line: Line
    expanded: float
    guard: float
    ratio: float


def grips(form: BenchForm, profile: Profile) -> Iterator[Grip]:
    """Yield how well a bench holds each two-sided limit that one reading is judged against."""
    for line in compiled(profile).lines():
        limit, look = line.limit, _looks(form, profile.board, line)
        if limit is None or limit.low is None or limit.high is None or look is None:
            continue
        u = look(float(max(limit.low, limit.high, key=abs)))
        half = float(limit.high - limit.low) / 2.0
        yield Grip(line, 2.0 * u, profile.rule.guard(u), half / (2.0 * u) if u else math.inf)


def _looks(form: BenchForm, board: Board, line: Line) -> Callable[[float], float] | None:
    """Return what the standard uncertainty of a line's reading is at a value, None where it is no single reading."""
    wire, limit = form.wiring.get(line.terminal), line.limit
    if wire is None or limit is None:
        return None
    if limit.unit == "V" and wire.meter is not None and _is_plain(line, limit):
        sheet = meter_sheet(form.meters[wire.meter.instrument])
        return lambda volts: _volts_u(sheet, board, line.terminal, volts)
    if limit.unit == "A" and wire.supply is not None and "current" in line.name:
        supply = wire.supply.instrument
        look = amps_look(current_accuracy(form.supplies[supply].current), supply, 1)
        return lambda amps: measured(look.reading(amps, 0.0)).u
    return None


def _is_plain(line: Line, limit: Limit) -> bool:
    return line.name in ("voltage", "trimmed", "before trim") and limit.unit == "V"


def _volts_u(sheet: MeterSheet, board: Board, terminal: str, volts: float) -> float:
    cycles = max(each for each in sheet.resolution if each <= EFFORTS[-1])
    look = volts_look(sheet, sheet.range_volts(expected_volts(board, terminal)), cycles)
    return measured(look.reading(volts, 0.0)).u
