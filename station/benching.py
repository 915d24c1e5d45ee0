"""What the command bench does: look at a bench, say what it can measure, find instruments for a new bench file."""

import math
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rich.console import Console, RenderableType
from rich.text import Text

from drivers import DriverError, dialect, dialect_names, listed_resources, open_links
from station.bench_state import LEAST_RATIO, Grip, InstrumentState, grips, looked_at
from station.benchfile import BenchFile, load_bench_file
from station.errors import InputError
from station.exits import DONE, TROUBLE
from station.lock import locked
from station.quantities import format_value
from station.report.documents import print_json
from station.report.tables import new_table, said
from station.shipped import found_profile

__all__ = ["find_instruments", "look_at_bench"]


def look_at_bench(path: Path, profile: str | None, console: Console, *, as_json: bool) -> int:
    """Show the state of a bench, and how well it holds a profile's limits; 5 where an instrument is not as filed."""
    file = load_bench_file(path)
    held = _held(file, profile)
    with locked(file.form):
        states = []
        for state in looked_at(file.form, datetime.now(UTC).date()):
            console.print(f"{state.name}: {state.trouble or state.identity}", soft_wrap=True, highlight=False)
            states.append(state)
    if as_json:
        print_json(_document(file, states, held))
    else:
        said(*_view(file, states, held))
    return TROUBLE if any(state.trouble for state in states) else DONE


def _held(file: BenchFile, profile: str | None) -> list[Grip]:
    if profile is None:
        return []
    found = found_profile(profile)
    if misfits := [*file.misfits(found.board), *file.doubled(found.steps)]:
        raise InputError(misfits)
    return list(grips(file.form, found))


def _view(file: BenchFile, states: list[InstrumentState], held: list[Grip]) -> Iterator[RenderableType]:
    yield Text(file.form.bench, style="bold")
    seen = new_table("instrument", "who", "there and back", "state")
    for state in states:
        there = "–" if math.isnan(state.round_trip_seconds) else format_value(state.round_trip_seconds, "s", digits=2)
        seen.add_row(state.name, state.trouble or state.identity, there, "\n".join(state.facts))
    yield seen
    for state in states:
        yield from (Text(f"WARNING: {state.name}: {warning}", style="yellow") for warning in state.warnings)
    if held:
        yield from _holding(held)


def _holding(held: list[Grip]) -> Iterator[RenderableType]:
    """Return how well each limit is held, the worst first."""
    rows = new_table("limit", "doubt there (k = 2)", "ratio", "guard band")
    for grip in sorted(held, key=lambda grip: grip.ratio):
        unit = grip.line.limit.unit if grip.line.limit else ""
        doubt, guard = (format_value(value, unit, digits=2) for value in (grip.expanded, grip.guard))
        rows.add_row(f"{grip.line.title}: {grip.line.limit}", f"± {doubt}", f"{grip.ratio:.1f} : 1", guard)
    yield rows
    for grip in held:
        if grip.ratio < LEAST_RATIO:
            told = f"{grip.line.title} is held {grip.ratio:.1f} : 1 only, below {LEAST_RATIO:g} : 1"
            unit = grip.line.limit.unit if grip.line.limit else ""
            band = format_value(grip.guard, unit, digits=2)
            yield Text(f"WARNING: {told}; its guard band of {band} may leave good boards Undecided", style="yellow")


def _document(file: BenchFile, states: list[InstrumentState], held: list[Grip]) -> dict[str, Any]:
    return {
        "format": 1,
        "bench": file.form.bench,
        "instruments": [
            {
                "name": state.name,
                "resource": state.resource,
                "identity": state.identity,
                "seconds": None if math.isnan(state.round_trip_seconds) else state.round_trip_seconds,
                "facts": state.facts,
                "warnings": state.warnings,
                "trouble": state.trouble,
            }
            for state in states
        ],
        "limits": [
            {
                "line": grip.line.title,
                "limit": str(grip.line.limit),
                "expanded": grip.expanded,
                "guard": grip.guard,
                "ratio": grip.ratio,
            }
            for grip in held
        ],
    }


def find_instruments(console: Console) -> int:
    """List what VISA finds, with who answers there, and print the beginning of a bench file to stdout."""
    with open_links() as links:
        resources = listed_resources(links)
        if not resources:
            console.print("VISA finds nothing by itself; write each instrument's address as its manual tells it:")
            for example in ("TCPIP0::192.168.1.20::5025::SOCKET", "ASRL/dev/ttyUSB0::INSTR", "GPIB0::5::INSTR"):
                console.print(f"  {example}", highlight=False)
        who = {}
        for resource in resources:
            try:
                who[resource] = links.open(resource, name=resource).identify().fields
            except DriverError as error:
                who[resource] = ""
                console.print(f"{resource}: {error}", soft_wrap=True, highlight=False)
    said(Text("\n".join(_starter(who))))
    return DONE


def _starter(who: dict[str, str]) -> Iterator[str]:
    """Return the lines of a bench file to begin with; what is not known stands as a question."""
    kinds = ("supply", "meter", "load", "scanner")
    fitting = {kind: [name for name in dialect_names() if dialect(name).instrument == kind] for kind in kinds}
    yield "# The beginning of a bench file. Move each instrument to its section, and fill in what stands as '?'."
    for kind in kinds:
        yield f"# dialects of a {kind}: {', '.join(fitting[kind])}"
    yield "bench: ?"
    yield "supplies:   # or meters, loads, scanners"
    for number, (resource, identity) in enumerate(who.items() or [("?", "?")], start=1):
        yield f"  instrument{number}:"
        yield f"    resource: {resource}"
        yield "    dialect: ?"
        yield f"    identity: {','.join(identity.split(',')[:2]) or '?'}"
        yield "    channels: {1: {up to: 30 V, amps: 3 A}}"
        yield "    current: {of reading: 0.1 %, counts: 5, digit: 1 mA}   # its readback, from the data sheet"
        yield "    calibration: {certificate: ?, done: 2026-01-31, due: 2027-01-31}"
    yield "wiring:"
    yield "  INP: {supply: instrument1 1, meter: ? 1}"
