"""The bench file: what is wrong with it is told by line, before anything is opened."""

from pathlib import Path

import pytest

from station.bench_forms import Hooked
from station.benchfile import BenchFile, parse_bench_file
from station.errors import InputError
from tests.station.boards import profile_of, twin

BENCH = """\
bench: north bench
supplies:
  psu:
    resource: TCPIP0::192.0.2.10::5025::SOCKET
    dialect: channel list
    identity: MAKER,DUAL-SUPPLY
    channels: {1: {up to: 32 V, amps: 3 A}, 2: {up to: 32 V, amps: 3 A}, 3: {up to: 6 V, amps: 5 A, floating: false}}
    current: {of reading: 0.1 %, counts: 5, digit: 0.1 mA, noise: 10 µA}
    calibration: {certificate: K-17, done: 2026-03-31, due: 2027-03-31}
meters:
  dmm:
    resource: TCPIP0::192.0.2.11::5025::SOCKET
    dialect: meter
    identity: MAKER,METER
    inputs: 20
    voltage:
      - {range: 10 V, of reading: 35 ppm, of range: 5 ppm, noise: 10 µV}
      - {range: 100 V, of reading: 45 ppm, of range: 6 ppm, noise: 100 µV}
    resolution: {0.02: 10 ppm, 1: 1 ppm, 10: 0.3 ppm}
loads:
  eload:
    resource: TCPIP0::192.0.2.12::5025::SOCKET
    dialect: channel list load
    identity: MAKER,LOAD
    channels: {1: {up to: 80 V, amps: 20 A}}
    current: {of reading: 0.05 %, counts: 5, digit: 1 mA}
wiring:
  INP:  {supply: psu 1, meter: dmm 1}
  INN:  {supply: psu 2, plus at: GND, meter: dmm 2}
  OUTP: {load: eload 1, meter: dmm 3}
  OUTN: {meter: dmm 4}
  TP1:  {meter: dmm, by hand: true}
"""


def bench_of(text: str = BENCH) -> BenchFile:
    return parse_bench_file(text, Path("bench.yaml"))


def problems(text: str) -> list[str]:
    """Return what is wrong with a bench file, for the board with two rails."""
    try:
        return [str(problem) for problem in bench_of(text).misfits(twin())]
    except InputError as error:
        return [str(problem) for problem in error.problems]


def test_a_bench_file_says_which_channel_reaches_which_terminal() -> None:
    bench = bench_of()
    assert bench.form.wiring["INN"].supply == Hooked("psu", 2)
    assert bench.form.wiring["TP1"].meter == Hooked("dmm", None) and bench.form.wiring["TP1"].by_hand
    assert bench.form.supplies["psu"].channels[3].floating is False
    assert bench.misfits(twin()) == []


def test_instruments_of_all_sections_go_by_one_name() -> None:
    assert list(bench_of().form.instruments()) == ["psu", "dmm", "eload"]


@pytest.mark.parametrize(
    ("wrong", "right", "told"),
    [
        (
            "dialect: channel list\n",
            "dialect: chanel list\n",
            "bench.yaml:5:5: 'chanel list' is not a dialect of a supply; write 'channel list'",
        ),
        ("eload:\n", "psu:\n", "bench.yaml:21:3: 'psu' is also one of the supplies; give each a name of its own"),
        (
            "192.0.2.11",
            "192.0.2.10",
            "bench.yaml:12:5: 'dmm' has the address of 'psu'; give each instrument its own",
        ),
        (
            "due: 2027-03-31",
            "due: 2026-03-01",
            "bench.yaml:9:5: calibration: it is due on 2026-03-01, before it was done; write the later date as 'due'",
        ),
        (
            "due: 2027-03-31",
            "due: 31.3.2027",
            "bench.yaml:9:56: due: '31.3.2027' is not a date; write year-month-day, such as 2027-03-31",
        ),
        ("INP:  {supply: psu 1,", "INP:  {supply: psx 1,", "bench.yaml:28:10: there is no supply 'psx'; write 'psu'"),
        (
            "INP:  {supply: psu 1,",
            "INP:  {supply: psu 4,",
            "bench.yaml:28:10: 'psu 4' is not one of its channels; write one of 'psu 1', 'psu 2', 'psu 3'",
        ),
        (
            "OUTN: {meter: dmm 4}",
            "OUTN: {meter: dmm 3}",
            "bench.yaml:31:10: 'dmm 3' is at OUTP already; wire each channel to one terminal",
        ),
        (
            "OUTN: {meter: dmm 4}",
            "OUTN: {meter: dmm 21}",
            "bench.yaml:31:10: 'dmm' has inputs 1 to 20; write 'dmm 1'",
        ),
        (
            "TP1:  {meter: dmm, by hand: true}",
            "TP1:  {meter: dmm 5, by hand: true}",
            "bench.yaml:32:10: 'dmm 5' is an input, but the probe is moved by hand; write 'dmm'",
        ),
        (
            "TP1:  {meter: dmm, by hand: true}",
            "TP9:  {meter: dmm, by hand: true}",
            "bench.yaml:32:3: twin has no terminal 'TP9'; write 'TP1'",
        ),
        (
            "supply: psu 2, plus at: GND",
            "supply: psu 2",
            "bench.yaml:29:3: INN is below ground; turn its channel round and write 'plus at: GND'",
        ),
        (
            "supply: psu 2, plus at: GND",
            "supply: psu 3, plus at: GND",
            "bench.yaml:29:10: 'psu 3' has its minus tied, so that its plus can't be ground; "
            "use a floating channel for a negative input",
        ),
        (
            "INP:  {supply: psu 1, meter",
            "INP:  {meter",
            "bench.yaml:28:3: no supply feeds INP; write 'supply: psu 1'",
        ),
        (
            "{range: 10 V, of reading: 35 ppm",
            "{range: 10 V, of reading: -35 ppm",
            "bench.yaml:17:23: of reading: '-35 ppm' does not fit; "
            "note that input should be greater than or equal to 0",
        ),
        (
            "counts: 5, digit: 1 mA",
            "counts: .nan, digit: 1 mA",
            "bench.yaml:26:35: counts: nan does not fit; note that input should be a finite number",
        ),
        (
            "range: 100 V",
            "range: 10000 mV",
            "bench.yaml:18:10: the 10 range stands here a second time; keep one of them",
        ),
        (
            "{range: 100 V,",
            "{range: 50 V,",
            "bench.yaml:16:5: INP is read on the 100 V range, which has no row here; "
            "write '- {range: 100 V, of reading: ...}'",
        ),
        (
            "0.02: 10 ppm, 1: 1 ppm",
            "1: 1 ppm",
            "bench.yaml:19:5: the resolution at 0.02 power-line cycles is missing, the shortest that is asked for; "
            "write '0.02: 10 ppm' or what the data sheet says",
        ),
        (
            "OUTN: {meter: dmm 4}",
            "OUTN: {meter: dmm 4, leads: at most 1 Ω}",
            "bench.yaml:31:24: leads: 'at most 1 Ω' is no lead resistance; write for example '0.15 Ω ± 0.05 Ω'",
        ),
        (
            "bench: north bench\n",
            "bench: north bench\nmains: 0 Hz\n",
            "bench.yaml:2:1: mains: '0 Hz' does not fit; note that input should be greater than or equal to 10",
        ),
    ],
)
def test_what_is_wrong_is_told_with_its_line_and_what_to_write(wrong: str, right: str, told: str) -> None:
    assert wrong in BENCH
    assert told in problems(BENCH.replace(wrong, right, 1))


def test_a_terminal_that_no_meter_reaches_is_told() -> None:
    text = BENCH.replace("  OUTN: {meter: dmm 4}\n", "")
    assert problems(text) == [
        "bench.yaml:27:1: no meter reaches OUTN; write 'meter: dmm 1', or 'by hand: true' beside it"
    ]


def test_leads_are_taken_off_once() -> None:
    bench = bench_of(BENCH.replace("OUTN: {meter: dmm 4}", "OUTN: {meter: dmm 4, leads: 0.15 Ω ± 0.05 Ω}"))
    own = profile_of("resistance: {leads: 0.2 Ω ± 0.1 Ω, OUTP: {at least: 1 kΩ}}").steps
    plain = profile_of("resistance: {OUTP: {at least: 1 kΩ}}").steps
    told = ["bench.yaml:31:24: the profile's step 'resistance' takes leads off as well; keep one of them"]
    assert [str(problem) for problem in bench.doubled(own)] == told
    assert bench.doubled(plain) == bench_of().doubled(own) == []
