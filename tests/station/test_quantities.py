from contextlib import suppress
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.quantities import Limit, LimitError, format_value, parse_value, percent, same_within_dust, unit_name

UNITS = ("V", "A", "ohm", "W", "Hz", "F", "s", "1", "1/V")


def limit(low: str | None, high: str | None, unit: str) -> Limit:
    return Limit(None if low is None else Decimal(low), None if high is None else Decimal(high), unit)


def sides(found: Limit) -> tuple[Decimal | None, Decimal | None]:
    return found.low, found.high


@pytest.mark.parametrize(
    ("written", "unit", "low", "high"),
    [
        ("15 V ± 2.5 %", "V", "14.625", "15.375"),
        ("15 V +- 2.5 %", "V", "14.625", "15.375"),
        ("15 V +/- 2.5 %", "V", "14.625", "15.375"),
        ("15V±2.5%", "V", "14.625", "15.375"),
        ("15 V ± 375 mV", "V", "14.625", "15.375"),
        ("-15 V ± 1 %", "V", "-15.15", "-14.85"),
        ("−15 V ± 1 %", "V", "-15.15", "-14.85"),  # a real minus sign
        ("3.3 V ± 1 %", "V", "3.267", "3.333"),
        ("27 mA +3 mA -2 mA", "A", "0.025", "0.030"),
        ("27 mA +3 mA −2 mA", "A", "0.025", "0.030"),
        ("-15 V +100 mV -200 mV", "V", "-15.2", "-14.9"),
        ("15 V +2 % -1 %", "V", "14.85", "15.3"),
        ("16.5 mA .. 20.5 mA", "A", "0.0165", "0.0205"),
        ("-5.9 V .. -5.3 V", "V", "-5.9", "-5.3"),
        ("at most 2 mV", "V", None, "0.002"),
        ("at least 1 kΩ", "ohm", "1000", None),  # U+03A9, the letter
        ("at least 1 k\u2126", "ohm", "1000", None),  # the ohm sign
        ("at least 1 kohm", "ohm", "1000", None),
        ("at least 1 kOhm", "ohm", "1000", None),
        ("at least 1000 ohms", "ohm", "1000", None),
        ("at most 250 µA", "A", None, "0.00025"),  # U+00B5, micro sign
        ("at most 250 μA", "A", None, "0.00025"),  # U+03BC, the letter mu
        ("at most 250 uA", "A", None, "0.00025"),
        ("at most 0.1 %/V", "1/V", None, "0.001"),
        ("at most 25 ppm", "1", None, "0.000025"),
        ("at most 10 min", "s", None, "600"),
        ("at most 2e-3 V", "V", None, "0.002"),
        ("  at most\u00a02 mV ", "V", None, "0.002"),  # no-break blank
    ],
)
def test_limits_read_as_a_practitioner_writes_them(written: str, unit: str, low: str | None, high: str | None) -> None:
    assert sides(Limit.parse(written, unit)) == sides(limit(low, high, unit))


NO_LIMIT = "is not a limit; write '15 V ± 1 %', '16 mA .. 20 mA', 'at most 2 mV' or 'at least 1 kΩ'"


@pytest.mark.parametrize(
    ("written", "unit", "message"),
    [
        (15, "V", "'15' has no unit; write it as text with one, such as '15 V'"),
        (15.5, "ohm", "'15.5' has no unit; write it as text with one, such as '15.5 Ω'"),
        (None, "V", "'None' has no unit; write it as text with one, such as 'None V'"),
        (True, "V", "'True' has no unit; write it as text with one, such as 'True V'"),
        ("", "V", f"'' {NO_LIMIT}"),
        ("15 V", "V", f"'15 V' {NO_LIMIT}"),
        ("nan V", "V", f"'nan V' {NO_LIMIT}"),
        ("at most 2", "V", "'2' has no unit; write for example '2 V'"),
        ("at most", "V", "'' is not a value; write a number and a unit, such as '10 V'"),
        ("at most NaN V", "V", "'NaN V' is not a value; write a number and a unit, such as '10 V'"),
        ("at most inf V", "V", "'inf V' is not a value; write a number and a unit, such as '10 V'"),
        ("at most 1e16 V", "V", "'1e16' is not a usable number; write a finite one"),
        ("at most 1e999999999 V", "V", "'1e999999999' is not a usable number; write a finite one"),
        ("at most 2 mA", "V", "'2 mA' is in A; write a value in V"),
        ("at least 1 kΩ", "A", "'1 kohm' is in Ω; write a value in A"),
        ("at most 2 volts", "V", "'volts' is not a unit known here; write V"),
        ("at most 2 mv", "V", "'mv' is not a unit known here; write mV"),
        ("at least 1 Kohm", "ohm", "'Kohm' is not a unit known here; write kΩ"),  # not Ω: a thousand times less
        ("at most 2,5 mV", "V", "'2,5 mV' is not a value; write a decimal point, no comma"),
        ("15 V ± 2,5 %", "V", "'2,5 %' is not a value; write a decimal point, no comma"),
        ("15 V ± -1 %", "V", "a tolerance of '15 V' is negative; write it without its sign"),
        ("0 V ± 1 %", "V", "a share of 0 V is nothing; write the tolerance in V"),
        ("27 mA +10 % -2 mA", "A", "'10 %' is in %; write a value in A"),
        ("16.5 .. 20.5 mA", "A", "'16.5' has no unit; write for example '16.5 A'"),
        ("5 V .. 3 V", "V", "the lower side 5 V is above the upper side 3 V; write the smaller one first"),
        ("-14 V .. -16 V", "V", "the lower side -14 V is above the upper side -16 V; write the smaller one first"),
    ],
)
def test_a_limit_that_can_not_be_read_says_what_to_write(written: object, unit: str, message: str) -> None:
    with pytest.raises(LimitError) as refused:
        Limit.parse(written, unit)
    assert str(refused.value) == message


def test_a_limit_needs_a_side() -> None:
    with pytest.raises(LimitError, match=r"a limit needs a side; write 'at most \.\.\.' or 'at least \.\.\.'"):
        Limit(None, None, "V")


def test_a_limit_is_finite() -> None:
    with pytest.raises(LimitError, match="a limit is not a finite number; write digits with a decimal point"):
        Limit.at_most(Decimal("NaN"), "V")


@pytest.mark.parametrize(
    ("written", "unit", "shown"),
    [
        ("15 V +- 2.5 %", "V", "15 V ± 2.5 %"),
        ("15 V +/- 0.0375 V", "V", "15 V ± 37.5 mV"),
        ("27 mA +3 mA -2 mA", "A", "27 mA +3 mA −2 mA"),
        ("15 V +2 % -2 %", "V", "15 V ± 2 %"),
        ("16500 uA .. 0.0205 A", "A", "16.5 mA .. 20.5 mA"),
        ("at least 1000 ohm", "ohm", "at least 1 kΩ"),
        ("at most 100 uV", "V", "at most 100 µV"),
        ("at most 1000 ppm", "1", "at most 0.1 %"),
        ("at most 10 min", "s", "at most 600 s"),
    ],
)
def test_a_limit_is_shown_in_the_authors_form(written: str, unit: str, shown: str) -> None:
    assert str(Limit.parse(written, unit)) == shown


numbers = st.decimals(min_value=-10_000, max_value=10_000, places=4, allow_nan=False, allow_infinity=False)
spreads = st.decimals(min_value=0, max_value=1000, places=4, allow_nan=False, allow_infinity=False)
units = st.sampled_from(UNITS)


@given(number=numbers, unit=units, at_most=st.booleans())
def test_an_open_limit_survives_being_written(number: Decimal, unit: str, at_most: bool) -> None:
    written = Limit.at_most(number, unit) if at_most else Limit.at_least(number, unit)
    assert Limit.parse(str(written), unit) == written


@given(ends=st.tuples(numbers, numbers), unit=units)
def test_a_range_survives_being_written(ends: tuple[Decimal, Decimal], unit: str) -> None:
    written = Limit(min(ends), max(ends), unit)
    assert Limit.parse(str(written), unit) == written


@given(nominal=numbers, plus=spreads, minus=spreads, unit=units)
def test_an_uneven_limit_survives_being_written(nominal: Decimal, plus: Decimal, minus: Decimal, unit: str) -> None:
    written = Limit(nominal - minus, nominal + plus, unit, nominal)
    assert Limit.parse(str(written), unit) == written


@given(nominal=numbers.filter(bool), share=spreads, unit=units.filter(lambda unit: unit != "1"))
def test_a_relative_limit_survives_being_written(nominal: Decimal, share: Decimal, unit: str) -> None:
    written = Limit.parse(f"{format_value(nominal, unit)} ± {share:f} %", unit)
    assert Limit.parse(str(written), unit) == written
    assert str(Limit.parse(str(written), unit)) == str(written)


@given(text=st.text(alphabet="0123456789.,+-±%eE VAmkuµΩohmatlesnf/", max_size=30), unit=units)
def test_any_other_text_is_refused_as_a_limit(text: str, unit: str) -> None:
    with suppress(LimitError):
        assert Limit.parse(text, unit).unit == unit


@given(text=st.text(max_size=20), unit=units)
def test_any_other_text_is_refused_as_a_value(text: str, unit: str) -> None:
    with suppress(LimitError):
        assert parse_value(text, unit).is_finite()


@pytest.mark.parametrize(
    ("written", "value", "room"),
    [
        ("3.3 V ± 1 %", 3.333, 0.0),
        ("3.3 V ± 1 %", 3.3 * 1.01, 0.0),  # in floats below 3.333
        ("3.3 V ± 1 %", 3.267, 0.0),
        ("at most 0.3 V", 0.1 + 0.2, 0.0),  # in floats above 0.3
        ("at most 2 V", 1.5, 0.5),
        ("at most 2 V", 2.5, -0.5),
        ("at least 2 V", 2.5, 0.5),
        ("-15 V ± 1 V", -14.25, 0.25),
        ("at most 2 V", 2.000001, -1e-6),  # a microvolt is no dust
    ],
)
def test_room_is_how_far_inside_a_value_lies(written: str, value: float, room: float) -> None:
    found = Limit.parse(written, "V").room(value)
    assert found == pytest.approx(room, abs=1e-12)
    assert (found == 0.0) is (room == 0.0)


@given(nominal=numbers, spread=spreads)
def test_a_reading_on_the_limit_is_on_the_limit(nominal: Decimal, spread: Decimal) -> None:
    found = Limit(nominal - spread, nominal + spread, "V", nominal)
    assert found.room(float(nominal) + float(spread)) == pytest.approx(0.0, abs=1e-9)
    assert found.room(float(nominal + spread)) == 0.0


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        (0.0165, "A", "16.5 mA"),
        (-15.0, "V", "-15 V"),
        (0.0, "V", "0 V"),
        (15.0002999, "V", "15.0003 V"),  # six digits
        (999.99996, "V", "1 kV"),  # rounding carries into the prefix
        (1e-13, "A", "0.1 pA"),
        (0.05, "1", "5 %"),
        (0.001, "1/V", "0.1 %/V"),
        (90.0, "s", "90 s"),
        (0.002, "s", "2 ms"),
        (4700.0, "ohm", "4.7 kΩ"),
    ],
)
def test_values_are_shown_with_an_engineering_prefix(value: float, unit: str, shown: str) -> None:
    assert format_value(value, unit) == shown


@given(value=numbers, unit=units)
def test_a_decimal_can_be_read_back_exactly(value: Decimal, unit: str) -> None:
    assert parse_value(format_value(value, unit), unit) == value


def test_a_ratio_is_a_fraction() -> None:
    assert percent("2 %") == 0.02


def test_units_have_a_spelling_for_people() -> None:
    assert [unit_name(unit) for unit in ("ohm", "1", "1/V", "V")] == ["Ω", "%", "%/V", "V"]


@pytest.mark.parametrize(("a", "b", "same"), [(3.3 * 1.01, 3.333, True), (0.0, 0.0, True), (1.0, 1.0 + 1e-9, False)])
def test_dust_is_parts_in_a_million_million(a: float, b: float, same: bool) -> None:
    assert same_within_dust(a, b) is same
