"""The simulated meter drives a test current, reads the ohms it meets, and lets none flow when it reads volts."""

import math

import pytest

from simulated.clock import VirtualClock
from simulated.instruments import Meter
from simulated.instruments.ohms import OHMS_RANGES
from tests.simulated.instruments.wiring import KnownVolts, Talk


def talk_to(*ohms: float, volts: float = 0.0, seed: int = 1) -> tuple[KnownVolts, Talk]:
    """A meter whose first input is connected; a resistor on each input, with volts in series."""
    inputs = dict(enumerate(ohms, start=1))
    port = KnownVolts(dict.fromkeys(inputs, volts), resistors=inputs)
    talk = Talk(Meter("RAILBENCH,SIM-METER,seed-1,1.0", port, len(ohms), VirtualClock(), seed).connection())
    talk.tell("ROUT:CLOS:EXCL (@101)")
    return port, talk


@pytest.mark.parametrize("ohms", [0.0, 0.15, 47.0, 470.0, 4700.0, 220e3, 1.1e6])
def test_a_resistor_is_read_within_the_accuracy_of_its_range(ohms: float) -> None:
    _, talk = talk_to(ohms)
    talk.tell("CONF:RES")
    span = next(each for each in OHMS_RANGES if ohms <= 1.2 * each.ohms)
    assert talk.number("READ?") == pytest.approx(ohms, abs=1e-4 * ohms + 5e-5 * span.ohms)
    assert talk.number("RES:RANG?") == span.ohms


@pytest.mark.parametrize(("ohms", "amps"), [(100, 1e-3), (1000, 1e-3), (1e4, 1e-4), (1e5, 1e-5), (1e6, 1e-6)])
def test_each_range_drives_its_own_test_current(ohms: float, amps: float) -> None:
    port, talk = talk_to(50.0)
    talk.tell(f"CONF:RES {ohms:g}")
    assert port.driven == (1, amps)


@pytest.mark.parametrize(("ohms", "answer"), [(1201.0, "+9.90000000E+37"), (math.inf, "+9.90000000E+37")])
def test_beyond_120_percent_of_a_fixed_range_and_on_nothing_the_answer_is_overload(ohms: float, answer: str) -> None:
    _, talk = talk_to(ohms)
    talk.tell("CONF:RES 1000")
    assert talk.ask("READ?") == answer


def test_open_leads_are_beyond_every_range() -> None:
    _, talk = talk_to(50.0)
    talk.tell("ROUT:OPEN:ALL", "CONF:RES")
    assert talk.ask("READ?") == "+9.90000000E+37"
    assert talk.number("RES:RANG?") == 1e6


def test_a_charge_against_the_test_current_is_read_as_ohms_below_zero() -> None:
    """0.1 V through 100 ohm, less 0.8 V, at 1 mA."""
    _, talk = talk_to(100.0, volts=-0.8)
    talk.tell("CONF:RES 1000")
    assert talk.number("READ?") == pytest.approx(-700.0, rel=1e-3)
    talk.tell("CONF:RES 100")
    assert talk.ask("READ?") == "-9.90000000E+37"


def test_the_test_current_follows_the_input_that_is_connected() -> None:
    port, talk = talk_to(50.0, 70.0)
    talk.tell("CONF:RES 100", "ROUT:CLOS:EXCL (@102)")
    assert port.driven == (2, 1e-3)
    talk.tell("ROUT:OPEN:ALL")
    assert port.driven[0] is None


@pytest.mark.parametrize("message", ["CONF:VOLT:DC", 'FUNC "VOLT"', "*RST"])
def test_no_test_current_flows_once_volts_are_read(message: str) -> None:
    port, talk = talk_to(50.0)
    talk.tell("CONF:RES 100", message)
    assert port.driven == (None, 0.0)


def test_what_is_set_for_ohms_is_not_set_for_volts() -> None:
    _, talk = talk_to(50.0)
    talk.tell("VOLT:DC:RANG 10", "RES:RANG 1000", "RES:NPLC 1")
    assert talk.ask("VOLT:DC:RANG?;NPLC?;:RES:RANG?;NPLC?;:RES:RANG:AUTO?;:FUNC?") == (
        '+1.00000000E+01;+1.00000000E+01;+1.00000000E+03;+1.00000000E+00;0;"VOLT"'
    )


def test_measure_chooses_ohms_and_its_own_range() -> None:
    _, talk = talk_to(470.0)
    assert talk.number("MEAS:RES? 1000,0.01") == pytest.approx(470.0, rel=2e-4)
    assert talk.ask("FUNC?;:RES:NPLC?") == '"RES";+2.00000000E-02'


@pytest.mark.parametrize(
    ("message", "code"), [("RES:RANG 2E6", -222), ("CONF:RES DEF,1", -221), ("RES:NPLC 200", -222), ("CONF:FRES", -113)]
)
def test_what_cannot_be_done_is_told(message: str, code: int) -> None:
    _, talk = talk_to(50.0)
    talk.tell(message)
    assert talk.errors() == [code]


def test_volts_are_read_the_same_whether_ohms_were_read_before_or_not() -> None:
    _, plain = talk_to(50.0, volts=1.0)
    _, tested = talk_to(50.0, volts=1.0)
    tested.ask("MEAS:RES?")
    assert plain.ask("CONF:VOLT:DC 10;:READ?") == tested.ask("CONF:VOLT:DC 10;:READ?")
