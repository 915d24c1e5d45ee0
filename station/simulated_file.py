"""Write the bench file of a simulated bench: what its instruments' data sheets would say, wired as it is wired.

The simulated side has figures of its own; nothing is shared with it but what a file can say.
"""

from collections.abc import Mapping
from functools import cache
from pathlib import Path

from drivers import AccuracyTable
from station.benchfile import BenchFile, parse_bench_file
from station.board import Board
from station.dialectfile import spoken
from station.readings import MeterSheet
from station.wiring import current_accuracy, meter_sheet

__all__ = ["DIALECTS", "simulated_file", "simulated_load_accuracy", "simulated_meter_sheet", "simulated_readback"]

TEXT = """\
# A simulated bench. Every figure below is invented; so is the board at its end.
bench: simulated bench for {board}
supplies:
{supplies}
meters:
{meters}
loads:
{loads}
wiring:
{wiring}
"""
METER = """\
  {name}:
    resource: {resource}
    dialect: meter
    identity: RAILBENCH,SIM-METER
    inputs: {inputs}
    voltage:
      - {{range: 0.1 V, of reading: 50 ppm, of range: 35 ppm, noise: 0.3 µV}}
      - {{range: 1 V, of reading: 40 ppm, of range: 7 ppm, noise: 1 µV}}
      - {{range: 10 V, of reading: 35 ppm, of range: 5 ppm, noise: 10 µV}}
      - {{range: 100 V, of reading: 45 ppm, of range: 6 ppm, noise: 100 µV}}
      - {{range: 1000 V, of reading: 45 ppm, of range: 10 ppm, noise: 1 mV}}
    resistance:
      - {{range: 100 Ω, of reading: 100 ppm, of range: 40 ppm, noise: 0.0003 Ω}}
      - {{range: 1 kΩ, of reading: 100 ppm, of range: 10 ppm, noise: 0.003 Ω}}
      - {{range: 10 kΩ, of reading: 100 ppm, of range: 10 ppm, noise: 0.03 Ω}}
      - {{range: 100 kΩ, of reading: 100 ppm, of range: 10 ppm, noise: 0.3 Ω}}
      - {{range: 1 MΩ, of reading: 100 ppm, of range: 10 ppm, noise: 3 Ω}}
    ripple: {{of reading: 0.06 %, counts: 300, digit: 0.1 µV, noise: 2 µV}}
    resolution: {{0.02: 10 ppm, 0.2: 3 ppm, 1: 1 ppm, 10: 0.3 ppm, 100: 0.1 ppm}}"""
SUPPLY = """\
  {name}:
    resource: {resource}
    dialect: {dialect}
    identity: RAILBENCH,SIM-SUPPLY
    channels: {{{channels}}}{unprotected}
    current: {{of reading: 0.1 %, counts: 5, digit: 0.1 mA, noise: 10 µA}}"""
LOAD = """\
  {name}:
    resource: {resource}
    dialect: {dialect}
    identity: RAILBENCH,SIM-LOAD
    channels: {{{channels}}}
    current: {{of reading: 0.05 %, counts: 5, digit: 0.1 mA}}"""
ANYWHERE = {"supply": "supply", "meter": "meter", "load": "load"}
DIALECTS: Mapping[str, str] = {"supply": "channel list", "load": "channel list load"}


def simulated_file(
    board: Board,
    resources: Mapping[str, str],
    path: Path = Path("simulated bench"),
    dialects: Mapping[str, str] = DIALECTS,
) -> BenchFile:
    """Return the bench file of a simulated bench with a board on it; `resources` by instrument."""
    lines = _wiring(board, resources)
    inputs, outputs = board.terminals("input"), board.terminals("output")
    text = TEXT.format(
        board=board.name,
        meters=_meters(resources, 2 * len(lines)),
        supplies=_section(SUPPLY, "supply", resources, dialects, _channels(len(inputs), "60 V", "5 A")),
        loads=_section(LOAD, "load", resources, dialects, _channels(len(outputs), "80 V", "20 A")),
        wiring="\n".join(lines),
    )
    return parse_bench_file(text, path)


def _section(
    words: str, kind: str, resources: Mapping[str, str], dialects: Mapping[str, str], channels: list[str]
) -> str:
    """Return the instruments of a kind; where there are several of them, each has one channel."""
    names, named = _of_kind(kind, resources), {**DIALECTS, **dialects}[kind]
    own = ", ".join(channels if len(names) == 1 else channels[:1])
    unprotected = "\n    unprotected: true" if spoken(named).lacking else ""
    rest = {"dialect": named, "channels": own, "unprotected": unprotected}
    return "\n".join(words.format(name=name, resource=resources[name], **rest) for name in names) or "  {}"


def _meters(resources: Mapping[str, str], inputs: int) -> str:
    names = _of_kind("meter", resources)
    return "\n".join(METER.format(name=name, resource=resources[name], inputs=inputs) for name in names)


def _of_kind(kind: str, resources: Mapping[str, str]) -> list[str]:
    return [name for name in resources if name.split()[0] == kind]


def _channels(count: int, volts: str, amps: str) -> list[str]:
    return [f"{number}: {{up to: {volts}, amps: {amps}}}" for number in range(1, count + 1)]


def _place(kind: str, at: int, resources: Mapping[str, str]) -> str:
    """Return the instrument and channel at the board's input or output number `at`, from 0."""
    names = _of_kind(kind, resources)
    return f"{kind} {at + 1}" if len(names) == 1 else f"{names[at]} 1"


def _wiring(board: Board, resources: Mapping[str, str]) -> list[str]:
    """Return a line a terminal: inputs on supply channels, outputs on loads, all on a meter, both ways round.

    Several meters take turns within each kind of terminal: the rails of a pair are then on two of them.
    """
    inputs, outputs, probes = (list(board.terminals(kind)) for kind in ("input", "output", "probe"))
    reached, meters = [*inputs, *outputs, *probes], _of_kind("meter", resources)
    turns = [at % len(meters) for kind in (inputs, outputs, probes) for at in range(len(kind))]
    lines = []
    for number, name in enumerate(reached, start=1):
        turned = ", plus at: GND" if board.form.terminals[name].sign < 0.0 else ""
        fed = f"supply: {_place('supply', inputs.index(name), resources)}{turned}, " if name in inputs else ""
        drawn = f"load: {_place('load', outputs.index(name), resources)}, " if name in outputs else ""
        own = meters[turns[number - 1]]
        meter = f"meter: {own} {number}, turned meter: {own} {number + len(reached)}"
        lines.append(f"  {name}: {{{fed}{drawn}{meter}}}")
    return lines


@cache
def _sheets() -> tuple[MeterSheet, AccuracyTable, AccuracyTable]:
    one = _channels(1, "60 V", "5 A")
    supplies, loads = (
        _section(words, kind, ANYWHERE, DIALECTS, one) for words, kind in ((SUPPLY, "supply"), (LOAD, "load"))
    )
    wiring = "  INP: {supply: supply 1, meter: meter 1}"
    text = TEXT.format(board="any", meters=_meters(ANYWHERE, 1), supplies=supplies, loads=loads, wiring=wiring)
    form = parse_bench_file(text, Path("any")).form
    readback, setting = form.supplies["supply"].current, form.loads["load"].current
    return meter_sheet(form.meters["meter"]), current_accuracy(readback), current_accuracy(setting)


def simulated_meter_sheet() -> MeterSheet:
    """Return the data sheet of every simulated meter."""
    return _sheets()[0]


def simulated_readback() -> AccuracyTable:
    """Return the accuracy of every simulated supply's current readback."""
    return _sheets()[1]


def simulated_load_accuracy() -> AccuracyTable:
    """Return the accuracy of the current that every simulated load is set to."""
    return _sheets()[2]
