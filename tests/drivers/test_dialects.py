import pickle
from dataclasses import replace
from typing import Any

import pytest

from drivers import InstrumentError, QueuedError, UnknownDialect, Where, dialect, dialect_names
from drivers.dialects import Bit, Compare, Dialect, Regulation, Selection, Setting, Step
from drivers.dialects.wording import Value


@pytest.mark.parametrize(
    ("name", "step", "value", "sent", "asked"),
    [
        ("channel list", Step.OUTPUT, True, "OUTP ON,(@2)", "OUTP? (@2)"),
        ("channel list", Step.VOLTAGE, 5.0, "VOLT 5,(@2)", "VOLT? (@2)"),
        ("channel list", Step.CURRENT_LIMIT, 0.1, "CURR 0.1,(@2)", "CURR? (@2)"),
        ("channel list", Step.OVER_VOLTAGE, 6.0, "VOLT:PROT 6,(@2)", "VOLT:PROT? (@2)"),
        ("channel list load", Step.INPUT, False, "INP OFF,(@2)", "INP? (@2)"),
        ("selected by number", Step.VOLTAGE, 5.0, "VOLT 5", "VOLT?"),
        ("selected by number load", Step.CURRENT, 0.5, "CURR 0.5", "CURR?"),
        ("channel suffix", Step.VOLTAGE, 5.0, "SOUR2:VOLT 5", "SOUR2:VOLT?"),
        ("channel suffix", Step.OVER_VOLTAGE, 6.0, "SOUR2:VOLT:PROT 6", "SOUR2:VOLT:PROT?"),
        ("channel suffix", Step.OUTPUT, True, "OUTP2 ON", "OUTP2?"),
        ("channel prefix", Step.VOLTAGE, 5.0, "CH2:VOLT 5", "CH2:VOLT?"),
        ("channel prefix", Step.OVER_VOLTAGE, 6.0, "OVP CH2,6", "OVP? CH2"),
        ("channel prefix", Step.OVER_VOLTAGE_ON, True, "OVP:STAT CH2,ON", "OVP:STAT? CH2"),
        ("channel prefix", Step.OUTPUT, False, "OUTP CH2,OFF", "OUTP? CH2"),
        ("serial words", Step.VOLTAGE, 5.0, "VSET2:5.00", "VSET2?"),
        ("serial words", Step.CURRENT_LIMIT, 1.0, "ISET2:1.000", "ISET2?"),
        ("serial words", Step.OUTPUT, True, "OUT1", ""),
        ("serial words", Step.OUTPUT, False, "OUT0", ""),
        ("channel list", Step.WATCHDOG_DELAY, 5.0, "OUTP:PROT:WDOG:DEL 5", "OUTP:PROT:WDOG:DEL?"),
        ("channel list", Step.WATCHDOG, True, "OUTP:PROT:WDOG ON", "OUTP:PROT:WDOG?"),
    ],
)
def test_each_family_names_a_channel_in_its_place(name: str, step: Step, value: Value, sent: str, asked: str) -> None:
    assert dialect(name).command(step, 2, value) == sent
    assert dialect(name).asking(step, 2) == asked


def test_an_action_has_its_channel_behind_the_header() -> None:
    assert dialect("channel list").command(Step.CLEAR_TRIPS, 2) == "OUTP:PROT:CLE (@2)"
    assert dialect("single channel").command(Step.CLEAR_TRIPS, 1) == "OUTP:PROT:CLE"
    assert dialect("channel suffix").command(Step.CLEAR_TRIPS, 2) == "OUTP2:PROT:CLE"


@pytest.mark.parametrize(
    ("name", "selecting"),
    [
        ("selected by number", ("INST:NSEL 2", "2")),
        ("selected by name", ("INST OUT2", "OUT2")),
        ("selected by number load", ("CHAN 2", "2")),
        ("channel list", None),
    ],
)
def test_a_channel_is_selected_by_number_or_by_name(name: str, selecting: tuple[str, str] | None) -> None:
    assert dialect(name).selecting(2) == selecting


@pytest.mark.parametrize(
    ("reply", "names_it"),
    [("OUT2", True), ("OUTP2", True), ('"out2"', True), ("OUT1", False), ("OUTP1", False), ("2", False), ("", False)],
)
def test_a_name_may_be_answered_in_another_spelling(reply: str, names_it: bool) -> None:
    selection = dialect("selected by name").selection
    assert selection is not None
    assert selection.names(reply, "OUT2", 2) is names_it


@pytest.mark.parametrize(
    ("reply", "names_it"), [("2", True), ("+2", True), ("2.0", True), ("1", False), ("OUT2", False)]
)
def test_a_number_may_be_answered_in_another_form(reply: str, names_it: bool) -> None:
    assert Selection("INST:NSEL {channel}", "INST:NSEL?").names(reply, "2", 2) is names_it


def test_units_are_joined_from_the_root_with_one_colon() -> None:
    assert Dialect.joined(("INST:NSEL 2", "VOLT?", ":CURR?", "*OPC?")) == "INST:NSEL 2;:VOLT?;:CURR?;*OPC?"
    assert Dialect.joined((":INST:NSEL 2", ":VOLT?")) == ":INST:NSEL 2;:VOLT?"


@pytest.mark.parametrize(
    ("name", "lacking"),
    [("single channel", ()), ("channel prefix", ()), ("serial words", (Step.OVER_VOLTAGE, Step.OVER_CURRENT))],
)
def test_a_dialect_says_which_protections_it_has_no_words_for(name: str, lacking: tuple[Step, ...]) -> None:
    assert dialect(name).lacking == lacking


@pytest.mark.parametrize(
    ("name", "channel", "words"),
    [
        ("single channel", 2, "write 1, the only one"),
        ("selected by name", 5, "asked for channel 5; write 1 to 4"),
        ("selected by name on one switch", 3, "asked for channel 3; write 1 to 2"),
        ("serial words", 3, "asked for channel 3; write 1 to 2"),
        ("channel list", 0, "asked for channel 0; write 1 or more"),
    ],
)
def test_a_channel_that_the_dialect_cannot_name_is_never_spoken_to(name: str, channel: int, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        dialect(name).command(Step.VOLTAGE, channel, 5.0)


@pytest.mark.parametrize("name", dialect_names())
def test_every_message_is_short_enough_for_small_input_buffers(name: str) -> None:
    spoken = dialect(name)
    channel = 1 if spoken.one_channel else len(spoken.channel_names) or spoken.common_switch or 12
    for step, setting in spoken.settings.items():
        value = "CURR" if setting.form == "word" else 1234.567891234
        assert len(spoken.command(step, channel, value)) < 80


@pytest.mark.parametrize(
    ("asked", "near"), [("chanel list", "write 'channel list'"), ("Single Channel", "write 'single channel'")]
)
def test_an_unknown_dialect_is_answered_with_the_nearest(asked: str, near: str) -> None:
    with pytest.raises(UnknownDialect, match=f"^'{asked}' is not a dialect; {near}$"):
        dialect(asked)


def test_a_dialect_like_none_is_answered_with_all_of_them() -> None:
    with pytest.raises(UnknownDialect, match="write one of 'channel list', 'single channel', "):
        dialect("xyz")


def test_a_supply_with_crossed_status_bits_is_only_other_data() -> None:
    crossed = Regulation(Bit("STAT:QUES:COND?", 1), Bit("STAT:QUES:COND?", 0), ())
    assert replace(dialect("single channel"), regulation=crossed).regulation == crossed


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"settings": {}}, "has no words for current limit, output, voltage; write them"),
        ({"actions": {Step.CLEAR_TRIPS: "OUTP:PROT:CLE {name}"}}, "needs the channels' names; write them"),
        ({"actions": {Step.CLEAR_TRIPS: "OUTP:PROT:CLE {channel"}}, "has a brace that closes no place"),
        ({"actions": {Step.CLEAR_TRIPS: "OUTP:PROT:CLE {value.__class__}"}}, "has a place"),
        ({"actions": {Step.CLEAR_TRIPS: "OUTP:PROT:CLE {outlet}"}}, "has a place {'outlet'}; write {value}, "),
        ({"actions": {Step.CLEAR_TRIPS: "OUTP:PROT:CLE\nOUTP ON"}}, "is not one line of ASCII"),
        ({"regulation": None}, "needs a regulation if, and only if, it is for a supply"),
    ],
)
def test_a_dialect_that_cannot_work_is_refused_when_made(change: dict[str, Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        replace(dialect("channel list"), **change)


@pytest.mark.parametrize(
    ("setting", "sent", "stands", "fits"),
    [
        (Setting("V {value}", "V?", resolution=1e-3), 5.0, 5.001, True),
        (Setting("V {value}", "V?", resolution=1e-3), 5.0, 5.0011, False),
        (Setting("V {value}", "V?", resolution=1e-3), 5.0, 4.9989, False),
        (Setting("V {value}", "V?", compare=Compare.AT_LEAST), 5.0, 10.0, True),
        (Setting("V {value}", "V?", compare=Compare.AT_LEAST), 5.0, 1.0, False),
        (Setting("V {value}", "V?", compare=Compare.AS_REPORTED), 5.0, 1.0, True),
        (Setting("O {value}", "O?", form="switch"), True, False, False),
        (Setting("F {value}", "F?", form="word"), "CURR", "VOLT", False),
    ],
)
def test_a_read_back_fits_as_far_as_the_instrument_resolves_it(
    setting: Setting, sent: Value, stands: Value, fits: bool
) -> None:
    assert setting.fits(sent, stands) is fits


def test_only_the_output_switch_may_have_no_read_back() -> None:
    settings = dialect("single channel").settings
    silent = replace(settings[Step.VOLTAGE], ask="")
    with pytest.raises(ValueError, match="the voltage of 'single channel' can't be read back; write how it is asked"):
        replace(dialect("single channel"), settings={**settings, Step.VOLTAGE: silent})


@pytest.mark.parametrize(
    ("bit", "register", "channel", "says"),
    [
        (Bit("S?", 8), 256, 2, True),  # a register a channel
        (Bit("S?", 0, stride=1), 0b10, 2, True),  # one register for all
        (Bit("S?", 0, stride=1), 0b10, 1, False),
        (Bit("S?", 0, when_clear=True), 0, 1, True),  # constant voltage where constant current has the bit
    ],
)
def test_a_bit_says_yes_where_its_family_has_it(bit: Bit, register: int, channel: int, says: bool) -> None:
    assert bit.says(register, channel) is says


def test_a_mode_is_shown_by_two_bits_or_by_none() -> None:
    with pytest.raises(ValueError, match="write both bits or none"):
        Regulation(Bit("S?", 1), None)


def test_an_error_survives_being_pickled() -> None:
    error = InstrumentError(Where("supply", "X", "VOLT 9"), "it complained", "look", (QueuedError(-222, "Out"),))
    again = pickle.loads(pickle.dumps(error))
    assert (str(again), again.entries) == ("supply (X): it complained; look", error.entries)
