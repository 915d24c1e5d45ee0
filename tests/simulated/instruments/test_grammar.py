"""Messages are taken apart as IEEE 488.2 has it, and no bytes whatever make the parser raise."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulated.instruments.errors import ScpiError
from simulated.instruments.grammar import Element, Kind, units_of
from simulated.instruments.parameters import Numeric
from simulated.instruments.tree import CommandTree, command
from tests.simulated.instruments.reference_instrument import ReferenceInstrument
from tests.simulated.instruments.wiring import Talk

PIECES = st.sampled_from(
    [b"VOLT", b":", b"?", b" ", b";", b",", b"5", b"-.5E", b"E99999", b"#", b"#15abc", b"#HF", b'"', b"'", b"(@", b")",
     b"1:8", b"*IDN", b"MAX", b"mV", b"\n", b"\r", b"\x00", b"\xb5", b"ROUT:CLOS", b"9" * 300, b"OUTP", b"SYST:ERR"]
)  # fmt: skip


@given(st.lists(st.one_of(PIECES, st.binary(max_size=8)), max_size=30).map(b"".join))
@settings(max_examples=400, deadline=None)
def test_no_bytes_make_the_parser_raise_and_it_still_says_who_it_is(noise: bytes) -> None:
    connection = ReferenceInstrument().connection()
    connection.receive(noise)
    assert connection.receive(b"\n*IDN?\n").endswith(b"RAILBENCH,REFERENCE,0,1.0\n")


@given(st.integers(1, 60))
@settings(deadline=None)
def test_a_message_may_arrive_in_pieces_of_any_size(size: int) -> None:
    stream = b"VOLT 5;:OUTP ON\nMEAS:VOLT?;CURR?\n*IDN?\nVOLT?;:SYST:ERR?\n"
    connection = ReferenceInstrument().connection()
    answers = b"".join(connection.receive(stream[at : at + size]) for at in range(0, len(stream), size))
    assert answers == ReferenceInstrument().connection().receive(stream)


def test_separators_inside_strings_and_lists_do_not_separate() -> None:
    first, second = units_of("DISP:TEXT \"a;b,c\", 'it''s' ; CLOS (@1,2)")
    assert [element.text for element in first.elements] == ["a;b,c", "it's"]
    assert second.elements == (Element(Kind.EXPRESSION, "(@1,2)"),)


@pytest.mark.parametrize(
    ("message", "code"),
    [
        ("VOLT 1,", -102),
        ("VOLT ,1", -102),
        ("VOLT::LEV 1", -102),
        ("VOLT 1 2", -103),
        ("VOLT +-5", -121),
        ("VOLT 5E32001", -123),
        ("VOLT 5E" + "9" * 5000, -123),  # more digits than Python's int() reads
        ("VOLT " + "1" * 256, -124),
        ("VOLT #HFFFFFFFFFFFFFFFFF", -124),
        ("VOLT 5 KILOMILLIVOLTS", -134),
        ("DISP ABCDEFGHIJKLM", -144),
        ("DISP #19abc", -161),  # nine bytes promised, three sent
        ("VOLT?5", -111),
        ("VÖLT 5", -101),
    ],
)
def test_a_fault_gets_the_error_that_fits_best(message: str, code: int) -> None:
    with pytest.raises(ScpiError) as caught:
        list(units_of(message))
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("unit", "sent", "value"),
    [
        ("V", "5 MV", 5e-3),
        ("V", "3 UV", 3e-6),
        ("A", "2 MA", 2e-3),  # milliampere, although MA alone is mega
        ("OHM", "2 MOHM", 2e6),  # 7.7.3: mega for ohms and hertz
        ("OHM", "2 KOHM", 2e3),
        ("HZ", "1 MAHZ", 1e6),
        ("V", "#H1F", 31.0),
    ],
)
def test_units_and_multipliers_are_read_as_the_standard_has_them(unit: str, sent: str, value: float) -> None:
    (message,) = units_of(f"X {sent}")
    assert Numeric(0.0, 1e9, 0.0, 1e-9, unit).read(message.elements[0]) == pytest.approx(value, rel=1e-9)


def test_rounding_to_the_resolution_leaves_no_dust() -> None:
    (unit,) = units_of("VOLT 4.9996")
    assert Numeric(0.0, 30.0, 0.0, 0.001, "V").read(unit.elements[0]) == 5.0


def test_a_numeric_suffix_is_one_when_not_sent_and_refused_beyond_its_range() -> None:
    tree = CommandTree([command("OUTPut<1:2>[:STATe]?", lambda: "1")])
    assert tree.find(("OUTP",), query=True) is tree.find(("OUTPUT2", "STAT"), query=True)
    with pytest.raises(ScpiError, match="-114"):
        tree.find(("OUTP3",), query=True)


def test_a_header_declared_twice_is_refused() -> None:
    twice = [command("[SOURce]:VOLTage", lambda: None), command("VOLTage[:LEVel]", lambda: None)]
    with pytest.raises(ValueError, match="'VOLTage\\[:LEVel\\]' is declared twice, see '\\[SOURce\\]:VOLTage'"):
        CommandTree(twice)


def test_an_endless_line_is_dropped_once_with_input_buffer_overrun() -> None:
    talk = Talk(ReferenceInstrument().connection())
    for _ in range(3):
        talk.connection.receive(b"V" * 40_000)
    talk.tell("VOLT 5")  # the end of that line
    assert talk.errors() == [-363]
    assert talk.number("VOLT?") == 0.0


def test_an_error_tells_what_was_found() -> None:
    talk = Talk(ReferenceInstrument().connection())
    talk.tell("VOLT:NONSENSE 5", "VOLT 99")
    assert talk.ask("SYST:ERR?") == '-113,"Undefined header;VOLT:NONSENSE"'
    assert talk.ask("SYST:ERR?") == '-222,"Data out of range;99, allowed 0 to 30 V"'


def test_a_unit_that_cannot_be_carried_out_does_not_stop_its_message_but_one_not_understood_does() -> None:
    talk = Talk(ReferenceInstrument().connection())
    talk.tell("VOLT 99;CURR 1", "XYZZY;CURR 2")
    assert talk.errors() == [-222, -113]
    assert talk.number("CURR?") == 1.0
