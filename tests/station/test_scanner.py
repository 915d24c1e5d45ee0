"""A scanner that is an instrument of its own, in front of a meter with one pair of leads."""

from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import pytest

import simulated.instruments as on_the_bench
from drivers import DriverError, SettingMismatch, open_links
from simulated.clock import VirtualClock
from simulated.instruments.scanner import Scanner
from simulated.server import Instrument, Manners, Server, open_server
from station.asks import GND, Quantity, Question, Read, Turn, Turned
from station.benchfile import parse_bench_file
from station.clock import SimulatedClock
from station.errors import NotHere
from station.metering import Metering
from station.wiring import wired
from tests.simulated.instruments.wiring import KnownVolts, ResistorOnSupply
from tests.station.boards import twin
from tests.station.test_benchfile import BENCH, problems

WIRED = """\
wiring:
  INP:  {supply: psu 1, meter: dmm, scanner: mux 1}
  INN:  {supply: psu 2, plus at: GND, meter: dmm, scanner: mux 2}
  OUTP: {meter: dmm, scanner: mux 3, turned scanner: mux 13}
  OUTN: {meter: dmm, scanner: mux 4}
  TP1:  {meter: dmm, scanner: mux 5}
"""
MUX = """\
scanners:
  mux:
    resource: TCPIP0::192.0.2.13::5025::SOCKET
    dialect: scanner
    identity: MAKER,MUX
    inputs: 20
"""
OHMS = """\
    resistance: [{range: 1 kΩ, of reading: 100 ppm, of range: 10 ppm}]
    ripple: {of reading: 0.06 %, counts: 300, digit: 0.1 µV, noise: 2 µV}
"""
SCANNED = BENCH[: BENCH.index("loads:")].replace("    inputs: 20\n", OHMS) + MUX + WIRED


class Nobody:
    def turn(self, ask: Turn) -> Turned:
        raise AssertionError(ask)

    def answer(self, ask: Question) -> str:
        raise AssertionError(ask)


@dataclass
class Bench:
    metering: Metering
    port: KnownVolts
    scanner: Scanner
    server: Server


@pytest.fixture
def bench() -> Iterator[Bench]:
    clock = VirtualClock()
    port = KnownVolts({1: 22.0, 2: -22.0, 3: 15.0, 4: -15.0, 5: 0.0}, {3: 1e-3}, {5: 470.0, 13: 220.0})
    scanner = Scanner("MAKER,MUX,1,1", port, 20, clock)
    meter = on_the_bench.Meter("MAKER,METER,1,1", scanner, 1, clock, 1)
    meter.connection().receive(b"ROUT:CLOS (@101)\n")  # it has one pair of leads: always connected
    supply = on_the_bench.Supply("MAKER,DUAL-SUPPLY,1,1", [ResistorOnSupply()] * 3, clock, 1, style="channel list")
    with ExitStack() as stack:
        instruments: dict[int, Instrument] = {10: supply, 11: meter, 13: scanner}
        servers = {number: stack.enter_context(open_server(each)) for number, each in instruments.items()}
        text = SCANNED
        for number, server in servers.items():
            text = text.replace(f"TCPIP0::192.0.2.{number}::5025::SOCKET", server.resource)
        file, links = parse_bench_file(text, Path("bench.yaml")), stack.enter_context(open_links())
        metering = Metering(twin(), wired(file.form, links, clock.advance), SimulatedClock(clock), Nobody())
        yield Bench(metering, port, scanner, servers[13])


def volts(bench: Bench, terminal: str) -> float:
    return bench.metering.volts(Read(terminal, Quantity.VOLTAGE)).value


def ohms(bench: Bench, plus: str, minus: str) -> float:
    return bench.metering.ohms(Read(plus, Quantity.RESISTANCE, 1.0, minus, 1e-3)).value


def test_each_terminal_is_read_through_its_channel(bench: Bench) -> None:
    told = {name: volts(bench, name) for name in ("INP", "INN", "OUTP", "OUTN", "INP")}
    assert told == pytest.approx({"INP": 22.0, "INN": -22.0, "OUTP": 15.0, "OUTN": -15.0}, abs=0.01)
    assert bench.scanner.connected_input() == 1


def test_ohms_are_read_either_way_round_and_no_test_current_meets_the_next_terminal(bench: Bench) -> None:
    assert ohms(bench, "TP1", GND) == pytest.approx(470.0, abs=1.0)
    assert ohms(bench, GND, "OUTP") == pytest.approx(220.0, abs=1.0)
    seen: list[int | None] = []
    drive = bench.port.drive

    def watched(channel: int | None, *, amps: float, most_volts: float) -> None:
        seen.append(channel)
        drive(channel, amps=amps, most_volts=most_volts)

    bench.port.drive = watched  # type: ignore[method-assign]
    assert volts(bench, "INP") == pytest.approx(22.0, abs=0.01)
    assert seen == [None]  # ended before channel 1 was closed
    with pytest.raises(NotHere, match="no scanner channel reads ohms at TP1 with its leads turned round"):
        ohms(bench, GND, "TP1")


def test_ripple_is_read_through_it(bench: Bench) -> None:
    told = bench.metering.ripple(Read("OUTP", Quantity.RIPPLE))
    assert told.value == pytest.approx(1e-3, abs=1e-4) and bench.scanner.connected_input() == 3


def test_a_channel_that_does_not_close_is_not_read(bench: Bench) -> None:
    bench.scanner._multiplexer.close = lambda number: None  # type: ignore[method-assign]
    with pytest.raises(SettingMismatch, match=r"mux .* after 'ROUT:CLOS:EXCL \(@103\)' its channel reads back as"):
        volts(bench, "OUTP")


def test_what_is_left_is_read_although_the_scanners_link_got_out_of_step(bench: Bench) -> None:
    bench.server.misbehave(Manners(drop_answer=1))
    with pytest.raises(DriverError, match=r"mux .* no reply"):
        volts(bench, "OUTP")
    assert bench.metering.left_volts("OUTP") == pytest.approx(15.0, abs=0.01)


@pytest.mark.parametrize(
    ("right", "wrong", "told"),
    [
        ("scanner: mux 4}", "scanner: mux 3}", "'mux 3' is at OUTP already; wire each channel to one terminal"),
        ("scanner: mux 4}", "scanner: mux 21}", "'mux' has inputs 1 to 20; write 'mux 1'"),
        ("scanner: mux 4}", "scanner: mix 4}", "there is no scanner 'mix'; write 'mux'"),
        ("{meter: dmm, scanner: mux 4}", "{scanner: mux 4}", "'mux 4' leads to no meter"),
        (
            "{meter: dmm, scanner: mux 4}",
            "{meter: dmm 1, scanner: mux 4}",
            "'dmm 1' has inputs, and is behind a scanner",
        ),
        ("{meter: dmm, scanner: mux 4}", "{meter: dmm}", "'dmm' has one pair of leads; write 'by hand: true' or"),
        ("scanner: mux 4}", "turned scanner: mux 4}", "'mux 4' is not on the scanner that reaches OUTN"),
        ("dialect: scanner", "dialect: meter", "'meter' is not a dialect of a scanner; write one of scanner"),
    ],
)
def test_what_is_wrong_with_a_scanner_is_told(right: str, wrong: str, told: str) -> None:
    assert right in SCANNED and problems(SCANNED) == []
    assert any(told in problem for problem in problems(SCANNED.replace(right, wrong, 1)))
