"""Write the bench file of a simulated bench: what its instruments' data sheets would say, wired as it is wired.

The simulated side has figures of its own; nothing is shared with it but what a file can say.
"""

from collections.abc import Mapping
from functools import cache
from pathlib import Path

from drivers import AccuracyTable
from station.benchfile import BenchFile, parse_bench_file
from station.board import Board
from station.readings import MeterSheet
from station.wiring import meter_sheet, readback_accuracy

__all__ = ["simulated_file", "simulated_meter_sheet", "simulated_readback"]

TEXT = """\
# A simulated bench. Every figure below is invented; so is the board at its end.
bench: simulated bench for {board}
supplies:
  supply:
    resource: {supply}
    dialect: channel list
    identity: RAILBENCH,SIM-SUPPLY
    channels: {{{supply_channels}}}
    current: {{of reading: 0.1 %, counts: 5, digit: 0.1 mA, noise: 10 µA}}
meters:
  meter:
    resource: {meter}
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
    resolution: {{0.02: 10 ppm, 0.2: 3 ppm, 1: 1 ppm, 10: 0.3 ppm, 100: 0.1 ppm}}
loads:
  load:
    resource: {load}
    dialect: channel list load
    identity: RAILBENCH,SIM-LOAD
    channels: {{{load_channels}}}
wiring:
{wiring}
"""
ANYWHERE = {"supply": "supply", "meter": "meter", "load": "load"}


def simulated_file(board: Board, resources: Mapping[str, str], path: Path = Path("simulated bench")) -> BenchFile:
    """Return the bench file of a simulated bench with a board on it; `resources` by instrument."""
    inputs, outputs = board.terminals("input"), board.terminals("output")
    lines = _wiring(list(inputs), list(outputs), list(board.terminals("probe")), board)
    text = TEXT.format(
        board=board.name,
        **resources,
        supply_channels=_channels(len(inputs), "60 V", "5 A"),
        load_channels=_channels(len(outputs), "80 V", "20 A"),
        inputs=2 * len(lines),
        wiring="\n".join(lines),
    )
    return parse_bench_file(text, path)


def _channels(count: int, volts: str, amps: str) -> str:
    return ", ".join(f"{number}: {{up to: {volts}, amps: {amps}}}" for number in range(1, count + 1))


def _wiring(inputs: list[str], outputs: list[str], probes: list[str], board: Board) -> list[str]:
    """Return a line a terminal: inputs on supply channels, outputs on loads, all on the meter, both ways round."""
    reached = [*inputs, *outputs, *probes]
    lines = []
    for number, name in enumerate(reached, start=1):
        turned = ", plus at: GND" if board.form.terminals[name].sign < 0.0 else ""
        fed = f"supply: supply {inputs.index(name) + 1}{turned}, " if name in inputs else ""
        drawn = f"load: load {outputs.index(name) + 1}, " if name in outputs else ""
        meter = f"meter: meter {number}, turned meter: meter {number + len(reached)}"
        lines.append(f"  {name}: {{{fed}{drawn}{meter}}}")
    return lines


@cache
def _sheets() -> tuple[MeterSheet, AccuracyTable]:
    one = _channels(1, "60 V", "5 A")
    wiring = "  INP: {supply: supply 1, meter: meter 1}"
    text = TEXT.format(board="any", **ANYWHERE, supply_channels=one, load_channels=one, inputs=1, wiring=wiring)
    form = parse_bench_file(text, Path("any")).form
    return meter_sheet(form.meters["meter"]), readback_accuracy(form.supplies["supply"].current)


def simulated_meter_sheet() -> MeterSheet:
    """Return the data sheet of every simulated meter."""
    return _sheets()[0]


def simulated_readback() -> AccuracyTable:
    """Return the accuracy of every simulated supply's current readback."""
    return _sheets()[1]
