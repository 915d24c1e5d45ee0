import pickle
from collections.abc import Callable

import pytest

from drivers import BadReply, Meter, MeterReading, NoReply, OhmsReading, Overloaded, SettingMismatch
from tests.drivers.conftest import Called
from tests.drivers.line_server import Act, Answers, LineServer

MeterThat = Callable[..., tuple[LineServer, Meter]]
NOTHING: Answers = {}

IN_ORDER: Answers = {
    "ROUT:CLOS? (@101)": b"1\n",
    "VOLT:DC:RANG?": b"+1.00000000E+02\n",
    "VOLT:DC:NPLC?": [b"0.02\n", b"1\n"],
    "READ?": [b"+1.4E+01\n", b"+1.49987650E+01\n"],
}
SETTING_UP = ["SYST:ERR?", "CONF:VOLT:DC", "SYST:ERR?"]
ON_100_VOLTS = ["VOLT:DC:RANG 100", "VOLT:DC:RANG?", "VOLT:DC:NPLC 0.02", "VOLT:DC:NPLC?", "READ?"]
AT_1_CYCLE = ["VOLT:DC:NPLC 1", "VOLT:DC:NPLC?", "READ?"]


@pytest.fixture
def meter_that(call: Called, waits: list[float]) -> MeterThat:
    def opened(answers: Answers = NOTHING) -> tuple[LineServer, Meter]:
        server, session = call({**IN_ORDER, **answers}, timeout_seconds=0.05)
        return server, Meter(session, wait=waits.append)

    return opened


def test_a_reading_says_how_it_was_taken(meter_that: MeterThat) -> None:
    _, meter = meter_that()
    reading = meter.read_volts(1, expected_volts=15.0, power_line_cycles=1.0)
    assert reading == MeterReading(volts=14.998765, range_volts=100.0, power_line_cycles_actual=1.0, seconds=0.04)


def test_the_first_reading_on_a_range_is_thrown_away(meter_that: MeterThat, waits: list[float]) -> None:
    server, meter = meter_that()
    meter.read_volts(1, expected_volts=15.0)
    channel = ["ROUT:CLOS:EXCL (@101)", "ROUT:CLOS? (@101)"]
    assert server.told == [*channel, *SETTING_UP, *ON_100_VOLTS, *AT_1_CYCLE]
    assert waits == [0.02]  # the relay


def test_a_second_reading_alike_is_one_message(meter_that: MeterThat) -> None:
    server, meter = meter_that()
    meter.read_volts(1, expected_volts=15.0)
    told = len(server.told)
    meter.read_volts(1, expected_volts=14.0)
    assert server.told[told:] == ["READ?"]


def test_escalating_changes_the_integration_only(meter_that: MeterThat) -> None:
    server, meter = meter_that({"VOLT:DC:NPLC?": [b"0.02\n", b"10\n"]})
    meter.read_volts(1, expected_volts=15.0, power_line_cycles=0.02)
    told = len(server.told)
    assert meter.read_volts(1, expected_volts=15.0, power_line_cycles=10.0).seconds == pytest.approx(0.4)
    assert server.told[told:] == ["VOLT:DC:NPLC 10", "VOLT:DC:NPLC?", "READ?"]


def test_closing_another_channel_forgets_the_one_it_opens(meter_that: MeterThat) -> None:
    server, meter = meter_that({"ROUT:CLOS? (@102)": b"1\n"})
    for channel in (1, 102, 1, 1):
        meter.read_volts(channel, expected_volts=15.0)
    closed = [line for line in server.told if "EXCL" in line]
    assert closed == ["ROUT:CLOS:EXCL (@101)", "ROUT:CLOS:EXCL (@102)", "ROUT:CLOS:EXCL (@101)"]


def test_a_channel_that_does_not_close_is_not_read(meter_that: MeterThat) -> None:
    server, meter = meter_that({"ROUT:CLOS? (@101)": b"0\n"})
    with pytest.raises(SettingMismatch, match="its channel reads back as False, not True"):
        meter.read_volts(1)
    assert "READ?" not in server.told


def test_the_actual_integration_is_what_the_meter_says(meter_that: MeterThat) -> None:
    _, meter = meter_that({"VOLT:DC:NPLC?": [b"0.02\n", b"+5.0E+00\n"]})
    assert meter.read_volts(1, expected_volts=15.0, power_line_cycles=10.0).power_line_cycles_actual == 5.0


@pytest.mark.parametrize("reply", [b"0\n", b"-1\n", b"1E30\n"])
def test_an_integration_that_no_meter_has_is_a_bad_reply(meter_that: MeterThat, reply: bytes) -> None:
    _, meter = meter_that({"VOLT:DC:NPLC?": [b"0.02\n", reply]})
    with pytest.raises(BadReply, match=r"it integrates over .* power-line cycles, in reply to 'VOLT:DC:NPLC[?]'"):
        meter.read_volts(1, expected_volts=15.0, power_line_cycles=10.0)


@pytest.mark.parametrize(
    ("expected_volts", "range_sent"),
    [(0.05, "0.1"), (0.0, "0.1"), (-5.0, "10"), (9.9, "100"), (15.0, "100"), (None, "1000"), (2000.0, "1000")],
)
def test_the_smallest_range_with_room_is_used(
    meter_that: MeterThat, expected_volts: float | None, range_sent: str
) -> None:
    server, meter = meter_that({"VOLT:DC:RANG?": b"1000\n"})
    meter.read_volts(None, expected_volts=expected_volts)
    assert f"VOLT:DC:RANG {range_sent}" in server.told


def test_an_overload_is_taken_once_more_on_the_highest_range(meter_that: MeterThat) -> None:
    answers = {
        "VOLT:DC:RANG?": [b"10\n", b"1000\n"],
        "READ?": [b"9.9E+37\n", b"9.9E+37\n", b"22\n", b"21.98\n"],
    }
    server, meter = meter_that(answers)
    reading = meter.read_volts(None, expected_volts=5.0)
    assert (reading.volts, reading.range_volts) == (21.98, 1000.0)
    assert [line for line in server.told if "RANG " in line] == ["VOLT:DC:RANG 10", "VOLT:DC:RANG 1000"]


def test_a_reading_is_begun_and_fetched(meter_that: MeterThat) -> None:
    server, meter = meter_that({"FETC?": b"+1.49987650E+01\n"})
    meter.read_volts(1, expected_volts=15.0)
    told = len(server.told)
    meter.begin_volts(1, expected_volts=15.0)
    assert server.told[told:] == ["INIT", "SYST:ERR?"]  # a question on the same link: the meter is at work by now
    assert meter.end_volts() == MeterReading(14.998765, range_volts=100.0, power_line_cycles_actual=1.0, seconds=0.04)
    assert server.told[told + 2 :] == ["FETC?"]


def test_an_overload_that_is_fetched_is_taken_once_more_on_the_highest_range(meter_that: MeterThat) -> None:
    ranges = [b"10\n", b"1000\n"]
    server, meter = meter_that({"VOLT:DC:RANG?": ranges, "FETC?": b"9.9E37\n", "READ?": [b"1\n", b"1\n", b"+21.98\n"]})
    meter.begin_volts(1, expected_volts=5.0)
    reading = meter.end_volts()
    assert (reading.volts, reading.range_volts) == (21.98, 1000.0)
    assert [line for line in server.told if "RANG " in line] == ["VOLT:DC:RANG 10", "VOLT:DC:RANG 1000"]


@pytest.mark.parametrize("reply", [b"9.90000000E+37\n", b"-9.9E+37\n"])
def test_an_overload_on_the_highest_range_is_no_reading(meter_that: MeterThat, reply: bytes) -> None:
    _, meter = meter_that({"VOLT:DC:RANG?": b"1000\n", "READ?": reply})
    with pytest.raises(Overloaded, match="overload at channel 1 on its highest range, 1000 V"):
        meter.read_volts(1)


@pytest.mark.parametrize("reply", [b"9.91E+37\n", b"NAN\n", b"14,998\n", b"+1.0A\n"])
def test_what_is_no_number_is_a_bad_reply(meter_that: MeterThat, reply: bytes) -> None:
    _, meter = meter_that({"READ?": [b"14\n", reply]})
    with pytest.raises(BadReply, match=r"in reply to 'READ\?'"):
        meter.read_volts(1, expected_volts=15.0)


def test_a_range_below_the_one_asked_for_is_a_mismatch(meter_that: MeterThat) -> None:
    _, meter = meter_that({"VOLT:DC:RANG?": b"10\n"})
    with pytest.raises(SettingMismatch, match=r"its range reads back as 10.0 V, not 100.0 V"):
        meter.read_volts(1, expected_volts=15.0)


def test_after_trouble_everything_is_set_up_anew(meter_that: MeterThat) -> None:
    server, meter = meter_that({"READ?": [b"14\n", Act.KEEP_SILENT, b"15\n"], "VOLT:DC:NPLC?": b"1\n"})
    with pytest.raises(NoReply, match=r"within 0.09 s"):  # 0.05 s for the link, 0.04 s for the reading
        meter.read_volts(1, expected_volts=15.0)
    meter.session.resynchronise()
    told = len(server.told)
    meter.read_volts(1, expected_volts=15.0)
    assert "CONF:VOLT:DC" in server.told[told:]
    assert "ROUT:CLOS:EXCL (@101)" in server.told[told:]


@pytest.mark.parametrize(
    ("channel", "cycles", "words"),
    [(0, 1.0, "write 1 or more"), (1, 0.0, "write more than 0"), (1, float("nan"), "nan power-line cycles")],
)
def test_what_no_meter_can_do_is_refused(meter_that: MeterThat, channel: int, cycles: float, words: str) -> None:
    server, meter = meter_that()
    with pytest.raises(ValueError, match=words):
        meter.read_volts(channel, power_line_cycles=cycles)
    assert server.told == []


OHMS: Answers = {
    "ROUT:CLOS? (@103)": b"1\n",
    "RES:RANG?": b"+1.00000000E+03\n",
    "RES:NPLC?": [b"0.02\n", b"1\n"],
    "READ?": [b"+1.0E+01\n", b"+4.99870000E+02\n"],
}
OHMS_SET_UP = ["SYST:ERR?", "CONF:RES", "SYST:ERR?"]
ON_1_KILOHM = ["RES:RANG 1000", "RES:RANG?", "RES:NPLC 0.02", "RES:NPLC?", "READ?", "RES:NPLC 1", "RES:NPLC?", "READ?"]


def test_ohms_are_read_on_the_highest_range_of_their_test_current(meter_that: MeterThat) -> None:
    server, meter = meter_that(OHMS)
    reading = meter.read_ohms(3, test_amps=1e-3)
    assert reading == OhmsReading(ohms=499.87, range_ohms=1000.0, power_line_cycles_actual=1.0, seconds=0.04)
    assert server.told == ["ROUT:CLOS:EXCL (@103)", "ROUT:CLOS? (@103)", *OHMS_SET_UP, *ON_1_KILOHM]


def test_ohms_again_are_one_message(meter_that: MeterThat) -> None:
    server, meter = meter_that(OHMS)
    meter.read_ohms(3, test_amps=1e-3)
    told = len(server.told)
    meter.read_ohms(3, test_amps=1e-3)
    assert server.told[told:] == ["READ?"]


def test_volts_after_ohms_end_the_test_current_before_another_channel_is_closed(meter_that: MeterThat) -> None:
    server, meter = meter_that({**OHMS, "VOLT:DC:NPLC?": b"1\n", "READ?": b"10\n"})
    meter.read_ohms(3, test_amps=1e-3)
    told = len(server.told)
    meter.read_volts(1, expected_volts=15.0)
    assert server.told[told : told + 4] == [*SETTING_UP, "ROUT:CLOS:EXCL (@101)"]
    assert server.told.count("CONF:VOLT:DC") == 1


def test_testing_is_stopped_once(meter_that: MeterThat) -> None:
    server, meter = meter_that(OHMS)
    meter.stop_testing()
    assert server.told == []
    meter.read_ohms(3, test_amps=1e-3)
    meter.stop_testing()
    meter.stop_testing()
    assert server.told.count("CONF:VOLT:DC") == 1


@pytest.mark.parametrize(("reply", "sign"), [(b"9.9E+37\n", 1.0), (b"-9.90000000E+37\n", -1.0)])
def test_ohms_beyond_their_range_are_told_at_once_with_their_sign(
    meter_that: MeterThat, reply: bytes, sign: float
) -> None:
    server, meter = meter_that({**OHMS, "READ?": [b"10\n", reply]})
    with pytest.raises(Overloaded, match="overload at channel 3 on its range of 1000 ohm") as caught:
        meter.read_ohms(3, test_amps=1e-3)
    assert caught.value.sign == sign
    assert pickle.loads(pickle.dumps(caught.value)).sign == sign
    assert server.told.count("READ?") == 2


@pytest.mark.parametrize(
    ("test_amps", "range_sent"), [(1e-3, "1000"), (100e-6, "10000"), (10e-6, "100000"), (1e-6, "1000000")]
)
def test_the_test_current_chooses_the_range(meter_that: MeterThat, test_amps: float, range_sent: str) -> None:
    server, meter = meter_that({**OHMS, "RES:RANG?": b"1000000\n"})
    meter.read_ohms(3, test_amps=test_amps)
    assert f"RES:RANG {range_sent}" in server.told


def test_a_test_current_that_no_range_has_is_refused(meter_that: MeterThat) -> None:
    server, meter = meter_that()
    with pytest.raises(
        LookupError, match=r"no range .* has a test current of 0.002 A; it has 0.001 A, 0.0001 A, 1e-05"
    ):
        meter.read_ohms(3, test_amps=2e-3)
    assert server.told == []


def test_ripple_is_measured_in_one_and_everything_is_set_up_anew_after_it(meter_that: MeterThat) -> None:
    server, meter = meter_that({"MEAS:VOLT:AC?": b"+2.83000000E-05\n", "VOLT:DC:NPLC?": b"1\n"})
    meter.read_volts(1, expected_volts=15.0)
    told = len(server.told)
    assert meter.read_ripple(1).volts_rms == 28.3e-6
    assert server.told[told:] == ["MEAS:VOLT:AC?"]
    meter.read_volts(1, expected_volts=15.0)
    assert server.told[told + 1 : told + 4] == SETTING_UP


def test_ripple_beyond_the_meter_is_no_number(meter_that: MeterThat) -> None:
    _, meter = meter_that({"MEAS:VOLT:AC?": b"9.9E37\n"})
    with pytest.raises(Overloaded, match="overload at channel 1 on its highest range"):
        meter.read_ripple(1)
