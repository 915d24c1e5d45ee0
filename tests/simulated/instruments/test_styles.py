"""How simulated supplies are spoken to, byte for byte, without any driver: the styles beside the channel list."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulated.clock import VirtualClock
from simulated.instruments import Load, Quirks, Supply
from simulated.instruments.channels import Style
from tests.simulated.instruments.wiring import ResistorOnSupply, StiffRailOnLoad, Talk

PLAIN = Quirks()


class Bench:
    def __init__(self, style: Style, quirks: Quirks = PLAIN) -> None:
        self.clock = VirtualClock()
        self.ports = [ResistorOnSupply(100.0), ResistorOnSupply(50.0)]
        self.supply = Supply("N,S,1,1", self.ports, self.clock, 1, style=style, quirks=quirks)
        self.talk = Talk(self.supply.connection())

    def set(self) -> list[tuple[bool, float, float]]:
        return [(each.on, each.volts_set, each.limit_amps) for each in self.supply.outputs()]


OFF = (False, 0.0, 0.1)


@pytest.mark.parametrize(
    ("style", "messages"),
    [
        ("selected by number", ["INST:NSEL 2", "CURR 1", "VOLT 5", "OUTP ON"]),
        ("selected by name", ["INST OUT2", "CURR 1", "VOLT 5", "OUTP ON"]),
        ("selected by name", ["INSTRUMENT:SELECT OUT2;:CURR 1;:VOLT 5;:OUTP ON"]),
        ("channel suffix", ["SOUR2:CURR 1", "SOUR2:VOLT 5", "OUTP2 ON"]),
        ("channel prefix", ["CH2:CURR 1", "CH2:VOLT 5", "OUTP CH2,ON"]),
        ("short tokens", ["I2 1.000", "V2 5.000", "OP2 1"]),
    ],
)
def test_the_manuals_sequence_sets_one_channel(style: Style, messages: list[str]) -> None:
    bench = Bench(style)
    bench.talk.tell(*messages)
    assert bench.set() == [OFF, (True, 5.0, 1.0)]


@pytest.mark.parametrize(
    ("style", "messages"),
    [
        ("selected by name on one switch", ["INST OUT2", "CURR 1", "VOLT 5", "OUTP ON"]),
        ("serial words", ["ISET2:1.000", "VSET2:5.00", "OUT1"]),
    ],
)
def test_a_common_switch_switches_both(style: Style, messages: list[str]) -> None:
    bench = Bench(style)
    bench.talk.tell(*messages)
    assert bench.set() == [(True, 0.0, 0.1), (True, 5.0, 1.0)]
    bench.talk.tell("OUT0" if style == "serial words" else "INST OUT1;:OUTP OFF")
    assert bench.set() == [OFF, (False, 5.0, 1.0)]


def test_a_missing_suffix_is_channel_1_and_one_too_high_is_none() -> None:
    bench = Bench("channel suffix")
    bench.talk.tell("VOLT 3", "SOUR3:VOLT 5", "OUTP3 ON")
    assert bench.talk.errors() == [-114, -114]
    assert bench.set() == [(False, 3.0, 0.1), OFF]


def test_a_selection_lasts_for_every_talker_until_the_next_one() -> None:
    bench = Bench("selected by number")
    bench.talk.tell("INST:NSEL 2")
    another = Talk(bench.supply.connection())
    another.tell("VOLT 5")
    bench.supply.select(1)  # the knob
    another.tell("VOLT 3")
    assert [each[1] for each in bench.set()] == [3.0, 5.0]
    assert bench.talk.ask("INST:NSEL?") == "1"


def test_after_a_selection_out_of_range_the_rest_of_the_line_is_done_all_the_same() -> None:
    bench = Bench("selected by number")
    bench.talk.tell("INST:NSEL 3;:VOLT 5")
    assert bench.talk.errors() == [-222]
    assert [each[1] for each in bench.set()] == [5.0, 0.0]


def test_a_name_is_answered_in_another_spelling() -> None:
    bench = Bench("selected by name")
    bench.talk.tell("INST OUT2")
    assert bench.talk.ask("INST?") == "OUTP2"
    bench.talk.tell("INST P25V")
    assert bench.talk.errors() == [-141]


@pytest.mark.parametrize(("ohms", "condition"), [(50.0, "2"), (1.0, "1")])
@pytest.mark.parametrize("style", ["selected by name", "channel suffix"])
def test_the_bench_supplys_register_is_crossed(style: Style, ohms: float, condition: str) -> None:
    bench = Bench(style)
    bench.ports[1].ohms = ohms
    messages = {"selected by name": ["INST OUT2", "CURR 1", "VOLT 5", "OUTP ON"]}
    bench.talk.tell(*messages.get(style, ["SOUR2:CURR 1", "SOUR2:VOLT 5", "OUTP2 ON"]))
    assert bench.talk.ask("STAT:QUES:INST:ISUM2:COND?") == condition
    assert bench.talk.ask("STAT:QUES:INST:ISUM1:COND?") == "0"


def test_prefixes_answer_in_words_and_one_hexadecimal_word() -> None:
    bench = Bench("channel prefix")
    bench.ports[1].ohms = 1.0
    bench.talk.tell("CH2:CURR 1", "CH2:VOLT 5", "OUTP CH2,ON")
    assert bench.talk.ask("OUTP? CH2") == "ON"
    assert bench.talk.ask("OUTP? CH1") == "OFF"
    assert bench.talk.ask("SYST:STAT?") == "0x0002"
    bench.talk.tell("OVP CH2,0.5")
    assert bench.talk.ask("SYST:STAT?") == "0x0200"
    bench.talk.tell("OUTP CH2,OFF")  # that clears it
    assert bench.talk.ask("SYST:STAT?") == "0x0000"


def test_a_plain_supply_answers_its_words_and_ignores_all_others() -> None:
    bench = Bench("serial words", Quirks(units=True))
    bench.talk.tell("VSET1:5.00", "ISET1:1.000", "OUT1", "VOLT 9", "SYST:ERR?", "*OPC?", "VSET3:9.00", "VSET1:99.00")
    assert bench.talk.ask("VSET1?") == "5.00"
    assert bench.talk.ask("VOUT1?").endswith("V")
    assert float(bench.talk.ask("VOUT1?")[:-1]) == pytest.approx(5.0, abs=0.01)
    assert float(bench.talk.ask("IOUT1?")[:-1]) == pytest.approx(0.05, abs=0.001)
    assert bench.talk.ask("*IDN?") == "N,S,1,1"


def test_short_tokens_have_a_limit_register() -> None:
    bench = Bench("short tokens")
    bench.talk.tell("V1 5", "I1 1", "OP1 1")
    assert bench.talk.ask("LSR1?") == "1"
    bench.ports[0].ohms = 1.0
    assert bench.talk.ask("LSR1?") == "2"
    bench.talk.tell("OVP1 0.5")
    assert bench.talk.ask("LSR1?") == "4"
    bench.talk.tell("OP1 0", "TRIPRST")
    assert bench.talk.ask("LSR1?") == "0"


def test_both_values_may_come_for_either() -> None:
    bench = Bench("channel prefix", Quirks(shows_both=True))
    bench.talk.tell("CH1:CURR 1", "CH1:VOLT 5", "OUTP CH1,ON")
    for question in ("MEAS:VOLT? CH1", "MEAS:CURR? CH1"):
        volts, amps, held = bench.talk.ask(question).split()
        assert (volts[-1], amps[-1], held) == ("V", "A", "CV")


def test_what_comes_while_it_is_busy_is_dropped_without_a_word() -> None:
    bench = Bench("selected by number", Quirks(gap_seconds=0.1))
    bench.talk.tell("VOLT 5", "VOLT 6")
    assert bench.set()[0][1] == 5.0
    bench.clock.advance(0.1)
    bench.talk.tell("VOLT 7")
    assert bench.set()[0][1] == 7.0


@pytest.mark.parametrize("style", ["single channel", "short tokens"])
def test_a_supply_that_is_local_hears_nothing_until_it_is_told(style: Style) -> None:
    quirks = Quirks(remote="SYST:REM")
    supply = Supply("N,S,1,1", [ResistorOnSupply()], VirtualClock(), 1, style=style, quirks=quirks)
    talk, message = Talk(supply.connection()), "VOLT 5" if style == "single channel" else "V1 5"
    talk.tell(message)
    assert supply.outputs()[0].volts_set == 0.0
    talk.tell("syst:rem", message)
    assert supply.outputs()[0].volts_set == 5.0


@pytest.mark.parametrize("style", ["serial words", "short tokens"])
def test_a_plain_supply_drops_them_too(style: Style) -> None:
    bench = Bench(style, Quirks(gap_seconds=0.1))
    first, second = ("VSET1:5.00", "VSET1:6.00") if style == "serial words" else ("V1 5", "V1 6")
    bench.talk.tell(first, second)
    assert bench.set()[0][1] == 5.0


def test_the_watchdog_is_asked_for_in_whole_seconds() -> None:
    bench = Bench("selected by number")
    assert bench.talk.ask("OUTP:PROT:WDOG:DEL?;:OUTP:PROT:WDOG?") == "60;0"
    bench.talk.tell("OUTP:PROT:WDOG:DEL 0.4", "OUTP:PROT:WDOG:DEL 3601")
    assert bench.talk.errors() == [-222, -222]
    bench.talk.tell("OUTP:PROT:WDOG:DEL 2", "OUTP:PROT:WDOG ON", "VOLT 5", "OUTP ON")
    bench.clock.advance(1.9)
    assert bench.set()[0][0]
    bench.clock.advance(0.2)
    assert not bench.set()[0][0]
    assert bench.talk.ask("STAT:QUES:COND?") == "2048"


STYLES: tuple[Style, ...] = ("serial words", "short tokens", "channel prefix", "channel suffix", "selected by name")
WORDS = st.sampled_from(
    [
        "VSET1:",
        "ISET9:",
        "OUT1",
        "V1 ",
        "OP1 1",
        "CH2:VOLT ",
        "OUTP CH1,",
        "OUTP2 ",
        "INST OUT2",
        "?",
        "9" * 400,
        "\n",
        ";",
    ]
)


@given(st.sampled_from(STYLES), st.lists(st.one_of(WORDS.map(str.encode), st.binary(max_size=8)), max_size=12))
def test_whatever_comes_is_heard_without_breaking_down(style: Style, pieces: list[bytes]) -> None:
    bench = Bench(style)
    for piece in pieces:
        answer = bench.talk.connection.receive(piece)
        assert answer == b"" or answer.endswith(b"\n")
    assert all(0.0 <= each.volts_set <= 32.0 for each in bench.supply.outputs())


def test_a_style_without_selection_has_no_knob() -> None:
    with pytest.raises(ValueError, match="no channel to select"):
        Bench("channel suffix").supply.select(2)


def test_a_selected_load_acts_on_its_input() -> None:
    rails = [StiffRailOnLoad(), StiffRailOnLoad()]
    load = Load("N,L,1,1", rails, VirtualClock(), 1, style="selected by number")
    talk = Talk(load.connection())
    talk.tell("CHAN 2", "CURR 0.5", "INP ON", "CHAN 3")
    assert talk.errors() == [-222]
    assert talk.ask("CHAN?") == "2"
    assert [(each.on, each.amps_set) for each in load.inputs()] == [(False, 0.0), (True, 0.5)]
