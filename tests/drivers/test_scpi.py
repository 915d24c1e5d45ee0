import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers import QueuedError
from drivers.scpi import (
    Identity,
    Special,
    Unreadable,
    channel_list,
    format_number,
    parse_boolean,
    parse_error,
    parse_identity,
    parse_number,
    parse_reading,
    parse_register,
    split_reply,
    tidy,
    value_at,
)


@pytest.mark.parametrize(
    ("reply", "unit", "value"),
    [
        ("-12", "", -12.0),  # NR1
        ("12.345", "V", 12.345),  # NR2
        ("+1.23450000E+01", "V", 12.345),  # NR3
        (".5", "V", 0.5),
        ("5.", "V", 5.0),
        ("5.00V", "V", 5.0),
        ("5.00 v", "V", 5.0),
        ("500 mA", "A", 0.5),
        ("500MA", "A", 0.5),  # MA alone is mega, behind a current it is milliampere
        ("14.99V 00.02A CC", "V", 14.99),  # the first number answers the question
        ("1E-3", "", 1e-3),
    ],
)
def test_a_number_is_read_in_base_units(reply: str, unit: str, value: float) -> None:
    assert parse_number(reply, unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("reply", "unit", "words"),
    [
        ("4,98", "V", "goes on with ','"),
        ("5.0A", "V", "has the unit 'A' where V belongs"),
        ("5.0V", "", "has the unit 'V' where none belongs"),
        ("5.0 XV", "V", "has the unit 'XV'"),
        ("5.0.1", "V", "goes on with '.'"),
        ("OK", "V", "is not a number"),
        ("", "V", "is not a number"),
        ("9.9E+37", "V", "means overload"),
        ("nan", "V", "means not a number"),
    ],
)
def test_what_is_no_plain_number_is_refused_rather_than_guessed(reply: str, unit: str, words: str) -> None:
    with pytest.raises(Unreadable, match=words):
        parse_number(reply, unit)


@pytest.mark.parametrize(
    ("reply", "meaning"),
    [
        ("9.9E37", Special.OVERLOAD),
        ("9.90000000E+37", Special.OVERLOAD),
        ("+9.9E+37", Special.OVERLOAD),
        ("-9.9E+37", Special.NEGATIVE_OVERLOAD),
        ("9.91E+37", Special.NOT_A_NUMBER),
        ("NAN", Special.NOT_A_NUMBER),
        ("1E400", Special.OVERLOAD),  # beyond a float: infinite, and no reading either
    ],
)
def test_special_values_are_no_readings(reply: str, meaning: Special) -> None:
    assert parse_reading(reply, "V") is meaning


@pytest.mark.parametrize(
    ("reply", "value"),
    [("1", True), ("ON", True), ("on", True), ("0", False), ("OFF", False), ("+1", True), ("1.0", True)],
)
def test_a_switch_answers_in_digits_or_words(reply: str, value: bool) -> None:
    assert parse_boolean(reply) is value


@pytest.mark.parametrize("reply", ["2", "MAYBE", "-1", "9.9E37"])
def test_a_switch_that_answers_neither_on_nor_off_is_refused(reply: str) -> None:
    with pytest.raises(Unreadable, match="neither 1/ON nor 0/OFF"):
        parse_boolean(reply)


@pytest.mark.parametrize("reply", ['0,"No error"', '+0,"No error"', "0,No error", '0, "No error"', "-000", "0"])
def test_an_empty_error_queue_is_known_by_its_number(reply: str) -> None:
    assert parse_error(reply) is None


@pytest.mark.parametrize(
    ("reply", "entry"),
    [
        ('-113,"Undefined header"', QueuedError(-113, "Undefined header")),
        ('-222,"Data out of range;VOLT 999, limit 32"', QueuedError(-222, "Data out of range;VOLT 999, limit 32")),
        ("-350,Queue overflow", QueuedError(-350, "Queue overflow")),
        ('+521,"Input ""A"" hot"', QueuedError(521, 'Input "A" hot')),
    ],
)
def test_an_error_queue_entry_keeps_the_instruments_words(reply: str, entry: QueuedError) -> None:
    assert parse_error(reply) == entry


def test_a_reply_that_is_no_error_queue_entry_is_refused() -> None:
    with pytest.raises(Unreadable, match=r"'5.000' is not an error queue entry"):
        parse_error("5.000")


def test_an_identity_has_four_fields() -> None:
    assert parse_identity("Nobody, Bench 2 ,SN1,1.0-2.0") == Identity("Nobody", "Bench 2", "SN1", "1.0-2.0")
    with pytest.raises(Unreadable, match="has 2 fields where an identity has four"):
        parse_identity("Nobody,Bench 2")


@pytest.mark.parametrize(("reply", "bits"), [("256", 256), ("+1.0E1", 10), ("0", 0), ("0x1F", 31), ("#H10", 16)])
def test_a_register_is_sixteen_bits(reply: str, bits: int) -> None:
    assert parse_register(reply) == bits


@pytest.mark.parametrize("reply", ["-1", "65536", "1.5"])
def test_what_is_no_register_is_refused(reply: str) -> None:
    with pytest.raises(Unreadable, match="is not a register of 16 bits"):
        parse_register(reply)


@pytest.mark.parametrize(
    ("raw", "text"), [(b"5.0\n", "5.0"), (b"5.0\r\n", "5.0"), (b" 5.0\n\0\0", "5.0"), (b"25 \xb0C\n", "25 °C")]
)
def test_terminators_nuls_and_white_space_around_a_reply_fall_away(raw: bytes, text: str) -> None:
    assert tidy(raw) == text


@pytest.mark.parametrize(("raw", "words"), [(b"\r\n", "empty"), (b"5\x07.0\n", "bytes that are no text")])
def test_a_reply_without_text_is_refused(raw: bytes, words: str) -> None:
    with pytest.raises(Unreadable, match=words):
        tidy(raw)


@pytest.mark.parametrize(
    ("value", "text"),
    [(5.0, "5"), (0.1, "0.1"), (1e-5, "0.00001"), (1e6, "1000000"), (-0.0, "0"), (0.1 + 0.2, "0.3"), (28, "28")],
)
def test_numbers_are_sent_as_plain_digits(value: float, text: str) -> None:
    assert format_number(value) == text


@pytest.mark.parametrize(
    ("value", "decimals", "text"), [(5.0, 2, "5.00"), (0.0004, 3, "0.000"), (-0.001, 2, "0.00"), (12.3456, 3, "12.346")]
)
def test_numbers_are_sent_with_as_many_decimals_as_a_family_wants(value: float, decimals: int, text: str) -> None:
    assert format_number(value, decimals) == text


@pytest.mark.parametrize(
    ("reply", "place", "value"),
    [
        ("14.99V, 0.02A", 2, "0.02A"),
        ("14.99;0.02", 1, "14.99"),
        ("14.99V 00.02A CC", 2, "00.02A"),
        ("5.00 V, 1.00 A", 1, "5.00 V"),
    ],
)
def test_one_of_several_values_in_a_reply_is_known_by_its_place(reply: str, place: int, value: str) -> None:
    assert value_at(reply, place) == value


def test_a_value_that_is_not_there_is_refused() -> None:
    with pytest.raises(Unreadable, match="holds 1 values, and the one at place 2 was asked for"):
        value_at("14.99V", 2)


def test_a_plain_supplys_whole_answer_is_its_model() -> None:
    identity = parse_identity("BENCH-SUPPLY 30V 5A V2.0", in_fields=False)
    assert (str(identity), identity.fields) == ("BENCH-SUPPLY 30V 5A V2.0", "BENCH-SUPPLY 30V 5A V2.0")


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_what_is_not_finite_is_never_sent(value: float) -> None:
    with pytest.raises(ValueError, match="write a finite number"):
        format_number(value)


def test_channel_lists_and_joined_replies() -> None:
    assert channel_list(1, 3) == "(@1,3)"
    assert split_reply("1, 0;1") == ("1", "0", "1")
    with pytest.raises(ValueError, match="channel numbers of one or more"):
        channel_list(0)


@given(st.floats(min_value=-1e6, max_value=1e6))
def test_a_number_that_was_sent_reads_back_within_a_nano_unit(value: float) -> None:
    assert parse_number(format_number(value)) == pytest.approx(value, abs=1e-9, rel=1e-15)


@given(st.binary(max_size=80))
def test_whatever_comes_is_read_or_refused_in_words(raw: bytes) -> None:
    for parse in (parse_reading, parse_boolean, parse_error, parse_identity, parse_register):
        try:
            parse(tidy(raw))
        except Unreadable as refused:
            assert str(refused)
