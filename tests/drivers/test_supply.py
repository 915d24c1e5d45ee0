import re
from collections.abc import Callable

import pytest

from drivers import (
    BadReply,
    DriverError,
    InstrumentError,
    Measured,
    Mode,
    NoReply,
    NotPrepared,
    SettingMismatch,
    Supply,
    UnknownDialect,
    dialect,
)
from tests.drivers.conftest import Called
from tests.drivers.line_server import NO_ERROR, Act, Answers, LineServer

SupplyThat = Callable[..., tuple[LineServer, Supply]]
NOTHING: Answers = {}

STATUS = "OUTP? (@1);:STAT:OPER:COND? (@1);:STAT:QUES:COND? (@1)"
MEASURE = "MEAS:VOLT? (@1);:MEAS:CURR? (@1)"
AT_REST: Answers = {
    "OUTP? (@1)": b"0\n",
    "VOLT? (@1)": b"0.000\n",
    "CURR? (@1)": b"0.100\n",
    "VOLT:PROT? (@1)": b"28.00\n",
    "OUTP:PROT:DEL? (@1)": b"0.500\n",
    "CURR:PROT:STAT? (@1)": b"1\n",
    MEASURE: b"0.001;0.0002\n",
    "MEAS:CURR? (@1)": b"0.0002\n",
    STATUS: b"0;0;0\n",
}
PREPARING = [
    "OUTP? (@1)",
    MEASURE,
    "SYST:ERR?",
    "OUTP OFF,(@1)",
    "OUTP? (@1)",
    "VOLT 0,(@1)",
    "VOLT? (@1)",
    "VOLT:PROT 28,(@1)",
    "VOLT:PROT? (@1)",
    "OUTP:PROT:DEL 0.5,(@1)",
    "OUTP:PROT:DEL? (@1)",
    "CURR:PROT:STAT ON,(@1)",
    "CURR:PROT:STAT? (@1)",
    "OUTP OFF,(@1)",
    "OUTP? (@1)",
    "OUTP:PROT:CLE (@1)",
    "SYST:ERR?",
    STATUS,
]


@pytest.fixture
def supply_that(call: Called, waits: list[float]) -> SupplyThat:
    """Open a supply at rest whose answers differ by the given ones."""

    def opened(
        answers: Answers = NOTHING, *, spoken: str = "channel list", timeout_seconds: float = 0.2
    ) -> tuple[LineServer, Supply]:
        server, session = call({**AT_REST, **answers}, timeout_seconds=timeout_seconds)
        return server, Supply(session, dialect(spoken), wait=waits.append)

    return opened


def prepared(supply: Supply) -> Supply:
    supply.prepare(1, over_volts=28.0, over_amps_delay_seconds=0.5)
    return supply


def test_preparing_switches_off_first_and_reads_every_protection_back(supply_that: SupplyThat) -> None:
    server, supply = supply_that()
    found = supply.prepare(1, over_volts=28.0, over_amps_delay_seconds=0.5)
    assert server.told == PREPARING
    assert not found.on


def test_a_channel_found_on_is_reported_and_logged(supply_that: SupplyThat, caplog: pytest.LogCaptureFixture) -> None:
    _, supply = supply_that({"OUTP? (@1)": [b"1\n", b"0\n"], MEASURE: b"22.0;0.2\n"})
    found = supply.prepare(1, over_volts=28.0, over_amps_delay_seconds=0.5)
    assert (found.on, found.volts, found.amps) == (True, 22.0, 0.2)
    assert "channel 1 was found on, 22 V 0.2 A" in caplog.text


def test_the_limit_is_set_before_the_voltage_and_both_are_read_back(
    supply_that: SupplyThat, waits: list[float]
) -> None:
    server, supply = supply_that({"VOLT? (@1)": [b"0\n", b"+5.00000000E+00\n"]})
    prepared(supply)
    waits.clear()
    supply.set_output(1, volts=5.0, limit_amps=0.1)
    assert server.told[len(PREPARING) :] == ["CURR 0.1,(@1)", "CURR? (@1)", "VOLT 5,(@1)", "VOLT? (@1)"]
    assert waits == [0.02]


def test_what_stands_is_not_sent_again(supply_that: SupplyThat) -> None:
    server, supply = supply_that({"VOLT? (@1)": [b"0\n", b"5.000\n"]})
    prepared(supply)
    supply.set_output(1, volts=5.0, limit_amps=0.1)
    told = len(server.told)
    supply.set_output(1, volts=5.0, limit_amps=0.1)
    assert len(server.told) == told


def test_power_goes_on_after_everything_was_read_back(supply_that: SupplyThat) -> None:
    server, supply = supply_that({"VOLT? (@1)": [b"0\n", b"5.000\n"], "OUTP? (@1)": [b"0\n"] * 3 + [b"1\n"]})
    prepared(supply)
    supply.set_output(1, volts=5.0, limit_amps=0.1)
    supply.switch(1, True)
    assert server.told[-2:] == ["OUTP ON,(@1)", "OUTP? (@1)"]


def test_power_is_refused_before_the_protections_stand(supply_that: SupplyThat) -> None:
    server, supply = supply_that()
    supply.set_output(1, volts=0.0, limit_amps=0.1)
    with pytest.raises(NotPrepared, match=r"channel 1 was to go on, but its over-voltage level, .* had not been read"):
        supply.switch(1, True)
    assert "OUTP ON,(@1)" not in server.told


def test_power_is_refused_after_trouble_until_it_is_prepared_again(supply_that: SupplyThat) -> None:
    _, supply = supply_that({"MEAS:VOLT? (@2);:MEAS:CURR? (@2)": Act.KEEP_SILENT}, timeout_seconds=0.05)
    prepared(supply)
    supply.set_output(1, volts=0.0, limit_amps=0.1)
    with pytest.raises(NoReply):
        supply.measure(2)
    supply.session.resynchronise()
    with pytest.raises(NotPrepared, match="after any trouble, again"):
        supply.switch(1, True)


def test_a_setting_that_reads_back_differently_stops_before_power(supply_that: SupplyThat) -> None:
    server, supply = supply_that({"VOLT? (@1)": b"5.002\n"})
    with pytest.raises(SettingMismatch) as raised:
        supply.set_output(1, volts=5.0, limit_amps=0.1)
    assert str(raised.value) == (
        f"supply ({server.resource}): after 'VOLT 5,(@1)' its voltage reads back as 5.002 V, not 5.0 V; "
        "check its limits and ranges, and that nobody works its front panel"
    )


def test_a_setting_within_the_resolution_is_taken_as_set(supply_that: SupplyThat) -> None:
    _, supply = supply_that({"VOLT? (@1)": b"5.001\n"})
    supply.set_output(1, volts=5.0004, limit_amps=0.1)


def test_the_instruments_own_complaint_explains_a_mismatch(supply_that: SupplyThat) -> None:
    _, supply = supply_that({"SYST:ERR?": [b'-222,"Data out of range"\n', NO_ERROR]})
    with pytest.raises(InstrumentError, match=r"after 'VOLT 99,.*' its error queue holds -222,.Data out") as raised:
        supply.set_output(1, volts=99.0, limit_amps=0.1)
    assert [entry.number for entry in raised.value.entries] == [-222]


@pytest.mark.parametrize(
    ("volts", "limit_amps", "words"),
    [
        (-5.0, 0.1, "write volts of 0 or more"),
        (5.0, 0.0, "a limit above 0"),
        (float("nan"), 0.1, "write volts of 0 or more"),
        (float("inf"), 0.1, "would trip"),
        (28.0, 0.1, "28.0 V would trip the over-voltage protection at 28.0 V"),
    ],
)
def test_what_may_never_be_sent_is_refused(
    supply_that: SupplyThat, volts: float, limit_amps: float, words: str
) -> None:
    server, supply = supply_that()
    prepared(supply)
    told = len(server.told)
    with pytest.raises(ValueError, match=words):
        supply.set_output(1, volts=volts, limit_amps=limit_amps)
    assert len(server.told) == told


def test_measuring_is_one_message_with_two_answers(supply_that: SupplyThat) -> None:
    server, supply = supply_that({MEASURE: b"+4.99812000E+00;+1.02000000E-02\n"})
    assert supply.measure(1) == Measured(volts=4.99812, amps=0.0102)
    assert server.told == [MEASURE]


@pytest.mark.parametrize("reply", [b"4.998\n", b"4.998;9.9E37\n", b"4,998;0.01\n"])
def test_a_measurement_that_is_no_two_numbers_is_a_bad_reply(supply_that: SupplyThat, reply: bytes) -> None:
    _, supply = supply_that({MEASURE: reply})
    with pytest.raises(BadReply, match="in reply to 'MEAS"):
        supply.measure(1)


@pytest.mark.parametrize(
    ("status", "mode", "trips"),
    [
        (b"0;0;0\n", Mode.OFF, ()),
        (b"1;256;0\n", Mode.CV, ()),
        (b"1;1024;0\n", Mode.CC, ()),
        (b"ON;+256;+0\n", Mode.CV, ()),
        (b"1;0;2\n", Mode.TRIPPED, ("over-current",)),  # OUTP? stays 1 after a trip on some
        (b"0;0;17\n", Mode.TRIPPED, ("over-voltage", "over-temperature")),
    ],
)
def test_the_mode_is_read_from_the_status_bits(
    supply_that: SupplyThat, status: bytes, mode: Mode, trips: tuple[str, ...]
) -> None:
    _, supply = supply_that({STATUS: status})
    assert supply.mode(1) is mode
    assert supply.trips(1) == trips


@pytest.mark.parametrize(("status", "words"), [(b"1;0;0\n", "neither"), (b"1;1280;0\n", "both")])
def test_an_output_that_is_not_regulated_is_no_mode(supply_that: SupplyThat, status: bytes, words: str) -> None:
    _, supply = supply_that({STATUS: status})
    with pytest.raises(BadReply, match=f"is on and shows {words} of CV and CC"):
        supply.mode(1)


def test_clearing_a_trip_switches_off_first(supply_that: SupplyThat) -> None:
    server, supply = supply_that()
    supply.clear_trips(1)
    assert server.told == ["OUTP OFF,(@1)", "OUTP? (@1)", "OUTP:PROT:CLE (@1)", "SYST:ERR?", STATUS]


def test_a_trip_whose_cause_is_still_there_is_reported(supply_that: SupplyThat) -> None:
    _, supply = supply_that({STATUS: b"0;0;1\n"})
    with pytest.raises(BadReply, match="channel 1 stays tripped by over-voltage"):
        supply.clear_trips(1)


def test_making_safe_is_bare_writes_then_read_back(supply_that: SupplyThat) -> None:
    server, supply = supply_that()
    assert supply.make_safe(1) == ()
    assert server.told == ["OUTP OFF,(@1)", "VOLT 0,(@1)", "OUTP? (@1)", "VOLT? (@1)", "MEAS:CURR? (@1)"]


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        ({"OUTP? (@1)": b"1\n"}, "channel 1 still has its output at True"),
        ({"VOLT? (@1)": b"22.0\n"}, "channel 1 still has its voltage at 22.0"),
        ({"MEAS:CURR? (@1)": b"0.31\n"}, "reads off but still carries 0.31 A"),
        ({"OUTP? (@1)": b"maybe\n"}, "could not be verified: .*'maybe' is neither"),
        ({"OUTP? (@1)": Act.CLOSE}, "could not be verified: .*link was lost at 'OUTP"),
    ],
)
def test_what_cannot_be_verified_is_returned_in_words(supply_that: SupplyThat, answers: Answers, words: str) -> None:
    _, supply = supply_that(answers)
    (problem,) = supply.make_safe(1)
    assert re.search(words, problem)


def test_making_safe_works_out_of_step(supply_that: SupplyThat) -> None:
    server, supply = supply_that({MEASURE: Act.KEEP_SILENT}, timeout_seconds=0.05)
    with pytest.raises(NoReply):
        supply.measure(1)
    assert supply.make_safe(1) == ()
    off = ["OUTP OFF,(@1)", "OUTP OFF,(@1)", "VOLT 0,(@1)"]  # off on the old link, and all on a new one
    assert server.hears(MEASURE, *off, "*IDN?", "OUTP? (@1)", "VOLT? (@1)", "MEAS:CURR? (@1)")


def test_making_a_supply_safe_that_is_gone_never_raises(supply_that: SupplyThat) -> None:
    server, supply = supply_that()
    server.vanish()
    problems = supply.make_safe(1)
    assert any("'OUTP OFF,(@1)'" in problem or "opening the link" in problem for problem in problems)
    assert "could not be verified" in problems[-1]


def test_a_single_channel_supply_is_told_no_channels(supply_that: SupplyThat) -> None:
    server, supply = supply_that({"VOLT?": b"5.000\n", "CURR?": b"0.1\n"}, spoken="single channel")
    supply.set_output(1, volts=5.0, limit_amps=0.1)
    assert server.told == ["CURR 0.1", "CURR?", "VOLT 5", "VOLT?"]
    with pytest.raises(ValueError, match="asked for channel 2; write 1, the only one"):
        supply.measure(2)


def test_a_load_dialect_is_refused_for_a_supply(call: Called) -> None:
    _, session = call({})
    with pytest.raises(UnknownDialect, match="'channel list load' is the dialect of a load, not of a supply"):
        Supply(session, dialect("channel list load"))


def test_identity_is_four_facts(supply_that: SupplyThat) -> None:
    _, supply = supply_that()
    assert (supply.identify().maker, supply.identify().serial) == ("Nobody", "SN1")


def test_every_error_of_this_room_is_a_driver_error() -> None:
    assert all(issubclass(kind, DriverError) for kind in (BadReply, NoReply, NotPrepared, SettingMismatch))
