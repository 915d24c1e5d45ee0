"""What goes over the wire in each dialect, byte for byte, with an instrument that is only a table of replies.

The messages are those of the manuals' sequences: 5 V, 1 A, over-voltage 6 V.
"""

from collections.abc import Callable

import pytest

from drivers import BadReply, InstrumentError, Load, Measured, Mode, NotPrepared, SettingMismatch, Supply, dialect
from drivers.dialects import Step
from tests.drivers.conftest import Called
from tests.drivers.line_server import NO_ERROR, Act, Answers, LineServer

SupplyThat = Callable[..., tuple[LineServer, Supply]]


@pytest.fixture
def supply_that(call: Called, waits: list[float]) -> SupplyThat:
    def opened(spoken: str, answers: Answers, *, unprotected: bool = False) -> tuple[LineServer, Supply]:
        server, session = call(answers, timeout_seconds=0.1)
        return server, Supply(session, dialect(spoken), wait=waits.append, unprotected=unprotected)

    return opened


BY_NUMBER: Answers = {
    "INST:NSEL?": b"2\n",
    "INST:NSEL 2;:OUTP?;:INST:NSEL?": b"0;2\n",
    "INST:NSEL 2;:VOLT?;:INST:NSEL?": b"0.000;2\n",
    "INST:NSEL 2;:CURR?;:INST:NSEL?": b"1.000;2\n",
    "INST:NSEL 2;:VOLT:PROT?;:INST:NSEL?": b"6.00;2\n",
    "INST:NSEL 2;:OUTP:PROT:DEL?;:INST:NSEL?": b"0.500;2\n",
    "INST:NSEL 2;:CURR:PROT:STAT?;:INST:NSEL?": b"1;2\n",
    "INST:NSEL 2;:MEAS:VOLT?;:MEAS:CURR?;:INST:NSEL?": b"0.001;0.0002;2\n",
    "INST:NSEL 2;:MEAS:CURR?;:INST:NSEL?": b"0.0002;2\n",
    "INST:NSEL 2;:OUTP?;:STAT:OPER:COND?;:STAT:QUES:COND?;:INST:NSEL?": b"0;0;0;2\n",
}


def test_a_selected_supply_is_told_its_channel_in_every_line(supply_that: SupplyThat) -> None:
    server, supply = supply_that("selected by number", BY_NUMBER)
    supply.prepare(2, over_volts=6.0, over_amps_delay_seconds=0.5)
    assert server.told == [
        "INST:NSEL 2",  # once, to see that it can be selected at all
        "INST:NSEL?",
        "INST:NSEL 2;:OUTP?;:INST:NSEL?",
        "INST:NSEL 2;:MEAS:VOLT?;:MEAS:CURR?;:INST:NSEL?",
        "SYST:ERR?",
        "INST:NSEL 2;:OUTP OFF",
        "INST:NSEL 2;:OUTP?;:INST:NSEL?",
        "INST:NSEL 2;:VOLT 0",
        "INST:NSEL 2;:VOLT?;:INST:NSEL?",
        "INST:NSEL 2;:VOLT:PROT 6",
        "INST:NSEL 2;:VOLT:PROT?;:INST:NSEL?",
        "INST:NSEL 2;:OUTP:PROT:DEL 0.5",
        "INST:NSEL 2;:OUTP:PROT:DEL?;:INST:NSEL?",
        "INST:NSEL 2;:CURR:PROT:STAT ON",
        "INST:NSEL 2;:CURR:PROT:STAT?;:INST:NSEL?",
        "INST:NSEL 2;:OUTP OFF",
        "INST:NSEL 2;:OUTP?;:INST:NSEL?",
        "INST:NSEL 2;:OUTP:PROT:CLE",
        "SYST:ERR?",
        "INST:NSEL 2;:OUTP?;:STAT:OPER:COND?;:STAT:QUES:COND?;:INST:NSEL?",
    ]


def test_making_a_selected_supply_safe_waits_for_no_selection(supply_that: SupplyThat) -> None:
    server, supply = supply_that("selected by number", BY_NUMBER)
    assert supply.make_safe(2) == ()
    assert server.told[:2] == ["INST:NSEL 2;:OUTP OFF", "INST:NSEL 2;:VOLT 0"]


def test_a_reply_from_another_channel_is_refused(supply_that: SupplyThat) -> None:
    answers = {**BY_NUMBER, "INST:NSEL 2;:MEAS:VOLT?;:MEAS:CURR?;:INST:NSEL?": b"5.001;0.1000;1\n"}
    _, supply = supply_that("selected by number", answers)
    with pytest.raises(SettingMismatch, match="the channel selected is 1, not 2"):
        supply.measure(2)


def test_a_channel_that_is_not_there_is_found_before_anything_is_told_to_it(supply_that: SupplyThat) -> None:
    answers: Answers = {"INST:NSEL?": b"1\n", "SYST:ERR?": [b'-222,"Data out of range"\n', NO_ERROR]}
    server, supply = supply_that("selected by number", answers)
    with pytest.raises(InstrumentError, match=r"after 'INST:NSEL 3' its error queue holds -222"):
        supply.prepare(3, over_volts=6.0, over_amps_delay_seconds=0.5)
    assert server.told == ["INST:NSEL 3", "INST:NSEL?", "SYST:ERR?", "SYST:ERR?"]


NAMED: Answers = {
    "INST?": b"OUTP2\n",
    "INST OUT2;:VOLT?;:INST?": b"5.000;OUTP2\n",
    "INST OUT2;:CURR?;:INST?": b"1.000;OUTP2\n",
    "INST OUT2;:OUTP?;:STAT:QUES:INST:ISUM2:COND?;:INST?": b"1;2;OUTP2\n",
}


def test_a_named_channel_is_set_and_its_own_register_read(supply_that: SupplyThat) -> None:
    server, supply = supply_that("selected by name", NAMED)
    supply.set_output(2, volts=5.0, limit_amps=1.0)
    assert supply.mode(2) is Mode.CV
    assert server.told == [
        "INST OUT2",
        "INST?",
        "INST OUT2;:CURR 1",
        "INST OUT2;:CURR?;:INST?",
        "INST OUT2;:VOLT 5",
        "INST OUT2;:VOLT?;:INST?",
        "INST OUT2;:OUTP?;:STAT:QUES:INST:ISUM2:COND?;:INST?",
    ]


@pytest.mark.parametrize(
    ("condition", "mode", "trips"),
    [
        (b"1;1;OUTP2\n", Mode.CC, ()),  # voltage unregulated: constant current
        (b"1;512;OUTP2\n", Mode.TRIPPED, ("over-voltage",)),
        (b"1;1024;OUTP2\n", Mode.TRIPPED, ("over-current",)),
        (b"0;2048;OUTP2\n", Mode.TRIPPED, ("watchdog",)),
    ],
)
def test_a_bench_supplys_register_is_crossed(
    supply_that: SupplyThat, condition: bytes, mode: Mode, trips: tuple[str, ...]
) -> None:
    _, supply = supply_that(
        "selected by name", {**NAMED, "INST OUT2;:OUTP?;:STAT:QUES:INST:ISUM2:COND?;:INST?": condition}
    )
    assert (supply.mode(2), supply.trips(2)) == (mode, trips)


def test_a_suffix_is_behind_the_first_word(supply_that: SupplyThat) -> None:
    server, supply = supply_that(
        "channel suffix",
        {
            "SOUR2:VOLT?": b"5.000\n",
            "SOUR2:CURR?": b"1.000\n",
            "OUTP2?;:STAT:QUES:INST:ISUM2:COND?": b"1;2\n",
            "MEAS2:VOLT?;:MEAS2:CURR?": b"5.001;0.2500\n",
        },
    )
    supply.set_output(2, volts=5.0, limit_amps=1.0)
    assert supply.mode(2) is Mode.CV
    assert supply.measure(2) == Measured(5.001, 0.25)
    assert server.told == [
        "SOUR2:CURR 1",
        "SOUR2:CURR?",
        "SOUR2:VOLT 5",
        "SOUR2:VOLT?",
        "OUTP2?;:STAT:QUES:INST:ISUM2:COND?",
        "MEAS2:VOLT?;:MEAS2:CURR?",
    ]


PREFIXED: Answers = {
    "OUTP? CH1": b"OFF\r\n",
    "MEAS:VOLT? CH1": b"0.001V\r\n",
    "MEAS:CURR? CH1": b"0.0002A\r\n",
    "CH1:VOLT?": b"0.000V\r\n",
    "OVP? CH1": b"6.00V\r\n",
    "OVP:STAT? CH1": b"ON\r\n",
    "OCP:STAT? CH1": b"ON\r\n",
    "SYST:STAT?": b"0x0000\r\n",
}


def test_a_prefixed_supply_is_told_one_command_a_line(supply_that: SupplyThat) -> None:
    server, supply = supply_that("channel prefix", PREFIXED)
    found = supply.prepare(1, over_volts=6.0, over_amps_delay_seconds=0.5)
    assert not found.on
    assert server.told == [
        "OUTP? CH1",
        "MEAS:VOLT? CH1",
        "MEAS:CURR? CH1",
        "SYST:ERR?",
        "OUTP CH1,OFF",
        "OUTP? CH1",
        "CH1:VOLT 0",
        "CH1:VOLT?",
        "OVP CH1,6",
        "OVP? CH1",
        "OVP:STAT CH1,ON",
        "OVP:STAT? CH1",
        "OCP:STAT CH1,ON",
        "OCP:STAT? CH1",
        "OUTP CH1,OFF",  # which is all that clears a trip here
        "OUTP? CH1",
        "OUTP? CH1",
        "SYST:STAT?",
    ]


@pytest.mark.parametrize(
    ("word", "first", "second"),
    [
        (b"0x0000\n", Mode.CV, Mode.CV),
        (b"0x0002\n", Mode.CV, Mode.CC),
        (b"#H0001\n", Mode.CC, Mode.CV),
        (b"0x0200\n", Mode.CV, Mode.TRIPPED),
        (b"4096\n", Mode.TRIPPED, Mode.CV),
    ],
)
def test_one_status_word_tells_of_all_channels(supply_that: SupplyThat, word: bytes, first: Mode, second: Mode) -> None:
    _, supply = supply_that("channel prefix", {"OUTP? CH1": b"ON\n", "OUTP? CH2": b"ON\n", "SYST:STAT?": word})
    assert (supply.mode(1), supply.mode(2)) == (first, second)


SERIAL: Answers = {
    "VOUT1?": b"00.00\r\n",
    "IOUT1?": b"0.000\r\n",
    "VSET1?": [b"00.00\r\n", b"05.00\r\n"],
    "VSET2?": b"00.00\r\n",
    "ISET1?": b"1.000\r\n",
}


def test_a_serial_supply_without_protections_is_refused(supply_that: SupplyThat) -> None:
    server, supply = supply_that("serial words", SERIAL)
    with pytest.raises(NotPrepared, match="'serial words' has no over-voltage level and no over-current protection"):
        supply.prepare(1, over_volts=6.0, over_amps_delay_seconds=0.5)
    assert server.told == []


def test_a_serial_supply_is_fed_by_what_it_measures(supply_that: SupplyThat) -> None:
    server, supply = supply_that("serial words", SERIAL, unprotected=True)
    supply.prepare(1, over_volts=6.0, over_amps_delay_seconds=0.5)
    supply.set_output(1, volts=5.0, limit_amps=1.0)
    supply.switch(1, True)
    assert server.told == [
        "VOUT1?",  # is it live? It can't say whether it is on
        "IOUT1?",
        "OUT0",
        "VOUT1?",  # no read-back of the switch: any answer shows that it was heard
        "VSET1:0.00",
        "VSET1?",
        "OUT0",
        "VOUT1?",
        "ISET1:1.000",
        "ISET1?",
        "VSET2:0.00",  # the switch is for both: the other one must not go on with it
        "VSET2?",
        "OUT1",
        "VOUT1?",
        "VSET1:5.00",
        "VSET1?",
    ]


def test_the_ceiling_of_a_supply_without_protection_is_the_drivers(supply_that: SupplyThat) -> None:
    server, supply = supply_that("serial words", SERIAL, unprotected=True)
    supply.prepare(1, over_volts=6.0, over_amps_delay_seconds=0.5)
    told = len(server.told)
    with pytest.raises(ValueError, match=r"would trip the over-voltage protection at 6\.0 V"):
        supply.set_output(1, volts=6.0, limit_amps=1.0)
    assert len(server.told) == told


@pytest.mark.parametrize(
    ("volts", "amps", "mode"),
    [
        (b"05.00\n", b"0.310\n", Mode.CV),
        (b"04.98V\n", b"0.310A\n", Mode.CV),
        (b"05.00\n", b"0.999\n", Mode.CV),  # at its voltage it is not limited, however near the limit
        (b"06.20\n", b"0.000\n", Mode.CV),  # what hangs on it is still charged higher
        (b"02.10\n", b"1.000\n", Mode.CC),
        (b"02.10\n", b"0.995\n", Mode.CC),
        (b"00.00\n", b"0.000\n", Mode.TRIPPED),  # it was told to be on and delivers nothing
    ],
)
def test_without_a_status_the_mode_is_told_from_what_is_measured(
    supply_that: SupplyThat, volts: bytes, amps: bytes, mode: Mode
) -> None:
    answers = {**SERIAL, "VOUT1?": [b"00.00\n"] * 4 + [volts], "IOUT1?": [b"0.000\n", amps]}
    _, supply = supply_that("serial words", answers, unprotected=True)
    supply.prepare(1, over_volts=7.0, over_amps_delay_seconds=0.5)
    supply.set_output(1, volts=5.0, limit_amps=1.0)
    supply.switch(1, True)
    assert supply.mode(1) is mode
    assert supply.trips(1) == ()  # it can't say


def test_a_look_between_two_modes_is_taken_again(supply_that: SupplyThat, waits: list[float]) -> None:
    answers = {**SERIAL, "VOUT1?": [b"0\n"] * 4 + [b"4.10\n", b"5.00\n"], "IOUT1?": [b"0\n", b"0.4\n"]}
    _, supply = supply_that("serial words", answers, unprotected=True)
    supply.prepare(1, over_volts=7.0, over_amps_delay_seconds=0.5)
    supply.set_output(1, volts=5.0, limit_amps=1.0)
    supply.switch(1, True)
    assert supply.mode(1) is Mode.CV


def test_neither_its_voltage_nor_its_limit_is_no_mode(supply_that: SupplyThat) -> None:
    answers = {**SERIAL, "VOUT1?": [b"0\n"] * 4 + [b"4.10\n"], "IOUT1?": [b"0\n", b"0.4\n"]}
    _, supply = supply_that("serial words", answers, unprotected=True)
    supply.prepare(1, over_volts=7.0, over_amps_delay_seconds=0.5)
    supply.set_output(1, volts=5.0, limit_amps=1.0)
    supply.switch(1, True)
    with pytest.raises(BadReply, match=r"delivers 4\.1 V and 0\.4 A, set to 5 V and 1 A"):
        supply.mode(1)


def test_after_trouble_a_supply_without_status_has_no_mode(supply_that: SupplyThat) -> None:
    answers = {**SERIAL, "VOUT2?": Act.CLOSE}
    _, supply = supply_that("serial words", answers, unprotected=True)
    supply.prepare(1, over_volts=7.0, over_amps_delay_seconds=0.5)
    with pytest.raises(Exception, match="link was lost"):
        supply.measure(2)
    supply.session.resynchronise()
    with pytest.raises(NotPrepared, match="can't say what holds its output, and its output is in doubt"):
        supply.mode(1)


def test_making_a_serial_supply_safe_is_verified_by_volts_set_and_amps(supply_that: SupplyThat) -> None:
    server, supply = supply_that("serial words", {**SERIAL, "VSET1?": b"00.00\r\n"}, unprotected=True)
    assert supply.make_safe(1) == ()
    assert server.told == ["OUT0", "VSET1:0.00", "OUT0", "VSET1?", "IOUT1?"]


def test_a_serial_supply_that_still_delivers_is_not_safe(supply_that: SupplyThat) -> None:
    _, supply = supply_that("serial words", {**SERIAL, "IOUT1?": b"0.310A\r\n"}, unprotected=True)
    (problem,) = supply.make_safe(1)
    assert "reads off but still carries 0.31 A" in problem


def test_a_selected_load_is_told_its_input_in_every_line(call: Called, waits: list[float]) -> None:
    answers: Answers = {
        "CHAN?": b"2\n",
        "CHAN 2;:INP?;:CHAN?": b"0;2\n",
        "CHAN 2;:FUNC?;:CHAN?": b"CURR;2\n",
        "CHAN 2;:CURR?;:CHAN?": [b"0;2\n", b"0.5;2\n"],
    }
    server, session = call(answers)
    load = Load(session, dialect("selected by number load"), wait=waits.append)
    load.set_current(2, 0.5)
    assert server.told == [
        "CHAN 2",
        "CHAN?",
        "CHAN 2;:INP OFF",
        "CHAN 2;:INP?;:CHAN?",
        "CHAN 2;:FUNC CURR",
        "CHAN 2;:FUNC?;:CHAN?",
        "CHAN 2;:CURR 0",
        "CHAN 2;:CURR?;:CHAN?",
        "CHAN 2;:CURR 0.5",
        "CHAN 2;:CURR?;:CHAN?",
    ]


def test_the_steps_of_every_supply_dialect_are_words_of_its_family() -> None:
    """A dialect that lost a step would pass every exchange above that does not need it."""
    full = {Step.OVER_VOLTAGE, Step.OVER_CURRENT, Step.OVER_CURRENT_DELAY, Step.WATCHDOG, Step.WATCHDOG_DELAY}
    for name in ("channel list", "single channel", "selected by number", "selected by name", "channel suffix"):
        assert full <= set(dialect(name).settings)
