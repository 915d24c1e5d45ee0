import math

import pytest

from station.asks import Ask, Draw, Drawn, Fed, Feed, Mode, Quantity, Read
from station.envelope import Envelope
from station.errors import BoardStopped, InputError
from tests.station.boards import twin
from tests.station.scripts import reading

envelope = Envelope(twin())


@pytest.mark.parametrize(
    "ask",
    [
        Feed("INP", 28.0, 1.0),
        Feed("INN", -28.0, 1.0),
        Feed("INN", 0.0, 0.0),
        Feed("INN", -0.0, 0.0),
        Draw("OUTP", 2.0),  # overload tests go beyond the rating
        Draw("TP1", 5.0),  # no rating is known
        Read("OUTP", Quantity.VOLTAGE),
    ],
)
def test_asks_within_the_sheet_are_let_through(ask: Ask[object]) -> None:
    envelope.refuse_beyond(ask)


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        (Feed("INP", 28.1, 1.0), "INP was to be fed 28.1 V; the sheet allows 0 V to 28 V"),
        (Feed("INP", -1.0, 1.0), "INP was to be fed -1 V; the sheet allows 0 V to 28 V"),
        (Feed("INN", 22.0, 1.0), "INN was to be fed 22 V; the sheet allows 0 V to -28 V"),
        (Feed("INN", -28.1, 1.0), "INN was to be fed -28.1 V; the sheet allows 0 V to -28 V"),
        (Feed("INP", math.nan, 1.0), "INP was to be fed nan V; the sheet allows 0 V to 28 V"),
        (Feed("INP", 22.0, 0.0), "INP was to be fed 22 V under a limit of 0 A; give the step a current limit"),
        (Feed("INP", 22.0, math.nan), "INP was to be fed 22 V under a limit of nan A; give the step a current limit"),
        (Feed("INP", 22.0, math.inf), "INP was to be fed 22 V under a limit of inf A; give the step a current limit"),
        (Feed("OUTP", 15.0, 1.0), "OUTP was to be fed; it is an output, no input"),
        (Draw("OUTP", 2.1), "OUTP was to carry 2.1 A; it is rated for 1 A"),
        (Draw("OUTP", -0.1), "OUTP was to carry -0.1 A; it is rated for 1 A"),
        (Draw("OUTP", math.nan), "OUTP was to carry nan A; it is rated for 1 A"),
        (Draw("TP1", -0.1), "TP1 was to carry -0.1 A; no rating is known"),
    ],
)
def test_asks_beyond_the_sheet_are_refused_before_anybody_answers(ask: Ask[object], message: str) -> None:
    with pytest.raises(InputError) as refused:
        envelope.refuse_beyond(ask)
    assert str(refused.value) == message


OHMS = Read("OUTP", Quantity.RESISTANCE, test_amps=1e-3)
TURNED = Read("GND", Quantity.RESISTANCE, 1.0, "OUTP", 1e-3)


@pytest.mark.parametrize("ask", [OHMS, TURNED])
def test_ohms_are_read_without_power_only(ask: Read) -> None:
    envelope.refuse_beyond(ask)
    envelope.refuse_beyond(ask, {"INP": 0.0, "INN": 0.0})
    with pytest.raises(InputError) as refused:
        envelope.refuse_beyond(ask, {"INP": 0.0, "INN": -22.0})
    assert str(refused.value) == (
        "ohms were to be read at OUTP while INN is fed -22 V; put the step before the ramp, or behind a discharge"
    )


@pytest.mark.parametrize(
    ("ask", "reply"),
    [
        (Feed("INP", 22.0, 0.15), Fed(Mode.CV)),
        (Draw("OUTP", 1.0), Drawn()),
        (Read("OUTP", Quantity.VOLTAGE), reading(18.0)),
        (Read("OUTP", Quantity.VOLTAGE), reading(-1.0)),  # a clamping diode, at the currents of a first power-up
        (Read("OUTN", Quantity.VOLTAGE), reading(-18.0)),
        (Read("INP", Quantity.CURRENT), reading(-5.0)),
        (Read("TP1", Quantity.VOLTAGE), reading(-30.0)),  # a probe has no rail to keep to
        (Read("OUTP", Quantity.VOLTAGE, against="OUTN"), reading(30.0)),  # a difference is no rail
    ],
)
def test_a_board_within_its_sheet_goes_on(ask: Ask[object], reply: object) -> None:
    envelope.stop_on(ask, reply)


@pytest.mark.parametrize(
    ("ask", "reply", "message"),
    [
        (Feed("INP", 4.0, 0.15), Fed(Mode.CC), "INP: the current limit of 150 mA was reached at 4 V"),
        (Feed("INN", -4.0, 0.15), Fed(Mode.TRIPPED), "INN: the supply's protection tripped at -4 V"),
        (
            Feed("INP", 4.0, 0.15),
            Fed(Mode.TRIPPED, ("over-voltage", "over-temperature")),
            "INP: the supply's over-voltage and over-temperature protection tripped at 4 V",
        ),
        (Read("OUTP", Quantity.VOLTAGE), reading(-1.2), "OUTP: wrong sign: -1.2 V where 15 V is due"),
        (Read("OUTN", Quantity.VOLTAGE), reading(1.2), "OUTN: wrong sign: 1.2 V where -15 V is due"),
        (Read("OUTP", Quantity.VOLTAGE), reading(18.5), "OUTP: 18.5 V is beyond the 18 V it must never exceed"),
        (Read("OUTN", Quantity.VOLTAGE), reading(-18.5), "OUTN: -18.5 V is beyond the 18 V it must never exceed"),
        (Read("INP", Quantity.VOLTAGE), reading(28.5), "INP: 28.5 V is beyond the 28 V it must never exceed"),
    ],
)
def test_a_board_that_misbehaves_is_stopped(ask: Ask[object], reply: object, message: str) -> None:
    with pytest.raises(BoardStopped) as stopped:
        envelope.stop_on(ask, reply)
    assert str(stopped.value) == message
