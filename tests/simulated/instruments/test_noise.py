"""Noise of the right shape: headers that are there, with parameters that may not be, into every kind of instrument.

The parser's own noise is in `test_grammar.py`. Here the handlers behind the headers are reached as well: nothing
makes them raise, every fault lands in the error queue with a code of SCPI-1999 Vol. 2, 21.8, and the instrument still
says who it is.
"""

from collections.abc import Callable, Mapping, Sequence
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulated.clock import VirtualClock
from simulated.instruments import Load, Meter, Supply
from simulated.instruments.channels import Style
from simulated.instruments.scpi import Connection
from tests.simulated.instruments.wiring import KnownVolts, ResistorOnSupply, StiffRailOnLoad, Talk

COMMON = "*IDN *CLS *ESE *ESR *OPC *OPC? *RST *SRE *STB *TST *WAI SYST:ERR? STAT:QUES:COND? STAT:QUES:ENAB SYST:VERS?"
SUPPLY = """VOLT VOLT? CURR CURR? OUTP OUTP? MEAS:VOLT? MEAS:CURR? VOLT:PROT VOLT:PROT? VOLT:PROT:STAT CURR:PROT:STAT
CURR:PROT:DEL CURR:PROT:DEL? OUTP:PROT:CLE OUTP:PROT:WDOG OUTP:PROT:WDOG:DEL INST INST? INST:NSEL INST:NSEL? SOUR2:VOLT
OUTP2 CH2:VOLT CH1:CURR? APPL VOLT:RANG OUTP:STAT"""
LOAD = (
    "CURR CURR? INP INP? FUNC FUNC? MEAS:VOLT? MEAS:CURR? CURR:PROT INP:PROT:CLE CHAN CHAN? SOUR2:CURR INP2 INST OUT2"
)
METER = """ROUT:CLOS ROUT:CLOS? ROUT:CLOS:EXCL ROUT:OPEN ROUT:OPEN:ALL CONF:VOLT:DC CONF:RES CONF? READ? INIT FETC? ABOR
VOLT:DC:RANG VOLT:DC:RANG? VOLT:DC:NPLC VOLT:DC:NPLC? RES:RANG RES:NPLC MEAS:VOLT:DC? MEAS:VOLT:AC? MEAS:RES? TRIG:SOUR
SAMP:COUN ZERO:AUTO VOLT:DC:RANG:AUTO FUNC FUNC?"""
VALUES = """5|-5|0|1e99|-1E400|NAN|INF|NINF|9.91E37|-9.9E37|MIN|MAX|DEF|UP|ON|OFF|-1|1e-30|"x"|'VOLT'|(@1)|(@1,2)
(@2:1)|(@1:999999999)|(@101:120)|(@101)|(@0)|(@)|(@1!2)|#15abcde|#0abc|#HFF|#B12|5 V|5 MV|5 A|5 OHM|OUT2|CH1,ON||1E|+
(@|)|"|4294967296|32768|0.02|\xb5|\0""".replace("\n", "|").split("|")
VALUES += ["9" * 300, "x" * 20]


def unit(random: Random, headers: Sequence[str]) -> str:
    """Return a header with a parameter and often a channel, now and then with none, with more or a stray letter."""
    header, value = random.choice(headers), random.choice(VALUES)
    tail = random.choice(
        [f" {value}", f" {value}", f" {value},(@{random.randint(0, 3)})", f" {value},{value}", "", " (@1)"]
    )
    stray = random.choice(["?", ":", ";", "\xff", "\r"]) if random.random() < 0.05 else ""
    return header.removesuffix("?" if random.random() < 0.1 else " ") + tail + stray


def message(random: Random, headers: Sequence[str]) -> bytes:
    """Return a program message of a few units, most of which somebody could have meant."""
    units = [unit(random, headers) for _ in range(random.choice([1, 1, 1, 2, 3]))]
    return random.choice([";", ";:"]).join(units).encode("latin-1") + b"\n"


def supply(style: Style) -> Connection:
    ports = [ResistorOnSupply(ohms=10.0), ResistorOnSupply()][: 1 if style == "single channel" else 2]
    return Supply("N,S,0,1", ports, VirtualClock(), 1, style=style).connection()


def load(style: Style) -> Connection:
    return Load("N,L,0,1", [StiffRailOnLoad(), StiffRailOnLoad()], VirtualClock(), 1, style=style).connection()


def meter() -> Connection:
    volts = KnownVolts({1: 15.0, 2: -3.0, 3: 2000.0}, {1: 1e-3}, {4: 100.0})
    return Meter("N,M,0,1", volts, 20, VirtualClock(), 1).connection()


INSTRUMENTS: Mapping[str, tuple[str, Callable[[], Connection]]] = {
    "supply, channel list": (SUPPLY, lambda: supply("channel list")),
    "supply, single channel": (SUPPLY, lambda: supply("single channel")),
    "supply, selected by number": (SUPPLY, lambda: supply("selected by number")),
    "supply, selected by name": (SUPPLY, lambda: supply("selected by name")),
    "supply, channel suffix": (SUPPLY, lambda: supply("channel suffix")),
    "load, channel list": (LOAD, lambda: load("channel list")),
    "load, selected by number": (LOAD, lambda: load("selected by number")),
    "meter": (METER, meter),
}


@pytest.mark.parametrize("name", INSTRUMENTS)
def test_the_words_of_the_noise_are_the_instruments_own(name: str) -> None:
    """Or the noise would only ever meet 'undefined header'."""
    headers, opened = INSTRUMENTS[name]
    talk = Talk(opened())
    for header in headers.split():
        talk.connection.receive(f"{header}\n".encode())
    assert talk.errors().count(-113) < 0.5 * len(headers.split())


@given(name=st.sampled_from(sorted(INSTRUMENTS)), seed=st.integers(0, 2**32))
def test_noise_ends_in_the_error_queue_and_nowhere_else(name: str, seed: int) -> None:
    random, (headers, opened) = Random(seed), INSTRUMENTS[name]
    connection = opened()
    for noise in (message(random, [*COMMON.split(), *2 * headers.split()]) for _ in range(20)):
        answer = connection.receive(noise)
        assert answer.count(b"\n") <= 1 and (not answer or answer.endswith(b"\n"))
        assert answer.removesuffix(b"\n").decode("ascii").isprintable()
    talk = Talk(connection)
    codes = talk.errors()
    assert all(-500 < code <= -100 for code in codes) and len(codes) <= 100
    assert talk.ask("*IDN?").startswith("N,") and talk.errors() == []
