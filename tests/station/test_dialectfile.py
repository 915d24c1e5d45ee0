"""A dialect of one's own: what its file makes, and what is told of a wrong one."""

import re
from pathlib import Path

import pytest

from drivers import Mode, Supply, dialect, open_links
from drivers.dialects import Bit, Step
from simulated.clock import VirtualClock
from simulated.instruments import Quirks
from simulated.instruments import Supply as SimulatedSupply
from simulated.server import Manners, open_server
from station.benchfile import load_bench_file
from station.dialectfile import load_dialect, parse_dialect, placed, spoken
from station.errors import InputError
from tests.simulated.instruments.wiring import ResistorOnSupply
from tests.station.test_benchfile import BENCH

GUIDE = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
EXAMPLES: dict[str, str] = {
    found[1]: found[0] for found in re.findall(r"```yaml\n(dialect: ([^\n]*)\n.*?)```", GUIDE, re.DOTALL)
}
TOKENS, TRIPLE = EXAMPLES["short tokens"], EXAMPLES["our triple supply"]


def problems(text: str) -> list[str]:
    with pytest.raises(InputError) as raised:
        parse_dialect(text, "psu.yaml")
    return [str(problem) for problem in raised.value.problems]


def changed(old: str, new: str) -> str:
    assert old in TOKENS
    return TOKENS.replace(old, new)


def test_the_example_in_the_guide_feeds_a_simulated_supply_that_speaks_it() -> None:
    words, clock = parse_dialect(TOKENS, "tokens.yaml"), VirtualClock()
    ports = [ResistorOnSupply(ohms=100.0), ResistorOnSupply(ohms=100.0)]
    inside = SimulatedSupply("N,S,1,1", ports, clock, 1, style="short tokens", quirks=Quirks(units=True))
    manners = Manners(terminator=b"\r\n", first_answer_seconds=0.15)
    with open_server(inside, manners) as server, open_links() as links:
        session = links.open(server.resource, name="psu", timeout_seconds=0.1)
        supply = Supply(session, words, wait=clock.advance, unprotected=True)
        supply.prepare(2, over_volts=12.0, over_amps_delay_seconds=0.5)
        supply.set_output(2, volts=10.0, limit_amps=0.5)
        supply.switch(2, True)
        assert supply.mode(2) is Mode.CV
        assert supply.measure(2).amps == pytest.approx(0.1, abs=0.001)
        ports[1].ohms = 1.0
        assert supply.mode(2) is Mode.CC
        ports[1].ohms = 100.0
        supply.session.write("OVP2 0.5")
        assert supply.trips(2) == ("over-voltage",)
        supply.session.write("OVP2 12")
        supply.clear_trips(2)
        assert supply.mode(2) is Mode.OFF
        assert supply.make_safe(2) == ()
        assert [output.on for output in inside.outputs()] == [False, False]


def test_the_example_says_what_is_in_it() -> None:
    words = parse_dialect(TOKENS, "tokens.yaml")
    assert words.command(Step.OUTPUT, 2, True) == "OP2 1"
    assert words.command(Step.VOLTAGE, 1, 5.0) == "V1 5.000"
    assert words.asking(Step.MEASURED_VOLTS, 1) == "V1O?"
    assert words.settings[Step.CURRENT_LIMIT].resolution == pytest.approx(1e-4)
    assert words.settings[Step.OUTPUT].settle_seconds == pytest.approx(0.05)
    assert words.regulation is not None
    assert words.regulation.trips == (("over-voltage", Bit("LSR{channel}?", 2)),)
    assert words.manners.error_query == ""
    assert (words.manners.gap_seconds, words.manners.first_reply_seconds) == (0.01, 1.0)
    assert words.lacking == (Step.OVER_CURRENT,)


def test_a_file_may_say_only_what_differs_from_one_that_ships() -> None:
    words, base = parse_dialect(TRIPLE, "triple.yaml"), dialect("selected by name")
    assert words.selecting(2) == ("INST P25V", "P25V")
    assert words.settings == base.settings
    assert words.regulation == base.regulation
    assert (words.manners.remote, words.manners.local) == ("SYST:REM", "SYST:LOC")
    assert words.manners.error_query == "SYST:ERR?"


def test_a_setting_keeps_what_is_not_said_of_it() -> None:
    words = parse_dialect("dialect: x\nfor: supply\nlike: channel list\nsettings: {voltage: {settles in: 1 s}}", "x")
    voltage = words.settings[Step.VOLTAGE]
    assert (voltage.send, voltage.settle_seconds) == ("VOLT {value},(@{channel})", 1.0)


def test_a_load_and_a_meter_may_have_files_too() -> None:
    load = parse_dialect(
        "dialect: x\nfor: load\nlike: single channel load\n"
        "settings: {input: {send: 'LOAD:STAT {value}', ask: 'LOAD:STAT?'}}",
        "x",
    )
    assert load.command(Step.INPUT, 1, True) == "LOAD:STAT ON"
    meter = parse_dialect("dialect: y\nfor: meter\nlike: meter\nmeasured: {reading: {ask: 'FETC?'}}", "y")
    assert meter.asking(Step.READING, 1) == "FETC?"


def test_two_values_in_one_reply_have_their_places() -> None:
    text = "dialect: x\nfor: supply\nlike: channel prefix\nmeasured: {amps: {ask: 'MEAS? CH{channel}', place: 2}}"
    assert parse_dialect(text, "x").questions[Step.MEASURED_AMPS].parse("14.99V 00.02A CC") == 0.02


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("dialect: short", "dialct: short", "psu.yaml:1:1: 'dialct' is not a key known here; write 'dialect'"),
        (
            "for: supply",
            "for: psu",
            "psu.yaml:2:1: for: 'psu' is not known; write 'supply', 'load', 'meter' or 'scanner'",
        ),
        (
            "  voltage:  ",
            "  volts:  ",
            "psu.yaml:5:3: 'volts' is not something that is set on a supply; write 'voltage'",
        ),
        (
            'send: "V{channel} {value}"',
            'send: "V{channel}"',
            "psu.yaml:5:24: send: 'V{channel}' has no place for what is set; write {value} where it belongs",
        ),
        (
            'ask: "V{channel}?", resolution',
            'ask: "V{channel}? {value}", resolution',
            "psu.yaml:5:52: ask: 'V{channel}? {value}' asks for something, and nothing is set; take {value} out",
        ),
        (
            'send: "V{channel} {value}"',
            'send: "V{outlet} {value}"',
            "psu.yaml:5:24: send: 'V{outlet} {value}' has a place that is not known; "
            "write {value}, {channel} or {name}",
        ),
        (
            'send: "V{channel} {value}"',
            'send: "V{value.__class__}"',
            "psu.yaml:5:24: send: 'V{value.__class__}' has a place that is not known; "
            "write {value}, {channel} or {name}",
        ),
        (
            'send: "V{channel} {value}"',
            'send: "V{channel} {value}\\nOP1 1"',
            "is not one line of plain letters; write it without accents and line ends",
        ),
        ("on: 1,", 'on: "1;OP2 1",', "on: '1;OP2 1' is not one word; write up to 12 letters, digits and _"),
        (
            "resolution: 1 mV",
            "resolution: 1 mA",
            "psu.yaml:5:72: '1 mA' is in A; write a value in V",
        ),
        ("gap: 10 ms", "gap: 10", "psu.yaml:22:3: gap: '10' has no unit"),
        ("gap: 10 ms", "gap: 20 s", "psu.yaml:22:3: gap: '20 s' does not fit"),
        ("ends: LF", "ends: NUL", "ends: 'NUL' is not known; write 'LF', 'CR LF' or 'CR'"),
        ("bit: 0}", "bit: 99}", "bit: 99 does not fit"),
        (
            'send: "V{channel} {value}"',
            'send: "V {value}"',
            "psu.yaml:5:24: 'V {value}' names no channel; write {channel}",
        ),
        (
            'ask: "V{channel}?"',
            'ask: ""',
            "the voltage of 'short tokens' can't be read back; write how it is asked for",
        ),
        ("  constant voltage:", "  # constant voltage:", "write both bits or none"),
        ("  volts: {ask", "  # volts: {ask", "the dialect 'short tokens' has no words for measured volts; write them"),
        ('"OP{channel}?"', '"OP{name}?"', "needs the channels' names; write them"),
        (
            "for: supply",
            "for: supply\nlike: meter",
            "psu.yaml:3:1: 'meter' is not a dialect of a supply that ships; write",
        ),
        ("for: supply", "for: meter", "a meter's dialect starts from one that ships; write 'like: meter'"),
    ],
)
def test_what_is_wrong_is_told_by_line_with_what_to_write(old: str, new: str, told: str) -> None:
    found = problems(changed(old, new))
    assert any(told in problem for problem in found), found


@pytest.mark.parametrize(
    "text", ["", "dialect: x", "- a\n- b", "dialect: [x\n", "dialect: &a x\nfor: *a\n", "\tdialect: x"]
)
def test_what_is_no_dialect_is_told_without_a_traceback(text: str) -> None:
    assert all(problem.startswith("psu.yaml:") for problem in problems(text))


def test_a_name_that_ships_is_found_and_a_path_is_read(tmp_path: Path) -> None:
    (tmp_path / "tokens.yaml").write_text(TOKENS, encoding="utf-8")
    assert spoken("channel list") is dialect("channel list")
    assert placed("channel list", tmp_path) == "channel list"
    assert spoken(placed("tokens.yaml", tmp_path)).name == "short tokens"
    with pytest.raises(InputError, match="there is no such file"):
        load_dialect(tmp_path / "tokns.yaml")


def bench_with(tmp_path: Path, psu: str) -> Path:
    path = tmp_path / "bench.yaml"
    path.write_text(BENCH.replace("    dialect: channel list\n", f"    {psu}\n", 1), encoding="utf-8")
    return path


def test_a_bench_file_names_a_dialect_file_from_its_own_folder(tmp_path: Path) -> None:
    (tmp_path / "tokens.yaml").write_text(TOKENS, encoding="utf-8")
    bench = load_bench_file(bench_with(tmp_path, "dialect: tokens.yaml\n    unprotected: true"))
    assert spoken(bench.form.supplies["psu"].dialect).name == "short tokens"
    assert bench.texts() == {"bench file": bench.text, "dialect of psu": TOKENS}


@pytest.mark.parametrize(
    ("psu", "told"),
    [
        (
            "dialect: tokens.yaml",
            "bench.yaml:5:5: a supply that speaks 'short tokens' has no over-current",
        ),
        ("dialect: load.yaml", "bench.yaml:5:5: '{folder}/load.yaml' is not a dialect of a supply; write one of"),
        (
            "dialect: wrong.yaml",
            "bench.yaml:5:5: 'wrong.yaml' can't be spoken; {folder}/wrong.yaml:1:1: 'dialct'",
        ),
        ("dialect: none.yaml", "'none.yaml' can't be spoken; {folder}/none.yaml: there is no such file"),
        (
            "dialect: serial words",
            "bench.yaml:5:5: a supply that speaks 'serial words' has no over-voltage level",
        ),
        ("dialect: single channel", "'single channel' was asked for channel 2; write 1, the only one"),
        ("dialect: chanel list", "bench.yaml:5:5: 'chanel list' is not a dialect of a supply; write 'channel list'"),
    ],
)
def test_a_bench_file_tells_what_keeps_a_dialect_from_being_spoken(tmp_path: Path, psu: str, told: str) -> None:
    (tmp_path / "tokens.yaml").write_text(TOKENS, encoding="utf-8")
    (tmp_path / "load.yaml").write_text("dialect: x\nfor: load\nlike: single channel load", encoding="utf-8")
    (tmp_path / "wrong.yaml").write_text(TOKENS.replace("dialect:", "dialct:"), encoding="utf-8")
    with pytest.raises(InputError) as raised:
        load_bench_file(bench_with(tmp_path, psu))
    found = [str(problem) for problem in raised.value.problems]
    assert any(told.format(folder=tmp_path) in problem for problem in found), found
