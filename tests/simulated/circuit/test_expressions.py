import numpy as np
import pytest

from simulated.circuit.expressions import ExpressionError, bind, evaluate, parse_expression, parse_number


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("4.7k", 4700.0),
        ("10MEG", 10e6),
        ("10m", 10e-3),
        ("10M", 10e-3),  # SPICE: m is milli in either case
        ("100nF", 100e-9),
        ("2200u", 2200e-6),
        ("1e3k", 1e6),
        (".5", 0.5),
        ("-22V", -22.0),
        ("10kohm", 10e3),
        ("4.7µ", 4.7e-6),
        ("1mil", 25.4e-6),
    ],
)
def test_a_number_takes_a_suffix_and_unit_letters(text: str, value: float) -> None:
    assert parse_number(text) == value


@pytest.mark.parametrize("text", ["", "k", "1..2", "4k7", "2R2", "1k+1", "--3"])
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(ExpressionError, match="write"):
        parse_number(text)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("{1k*(1-x)+0.5}", 750.5),
        ("'2*3+4'", 10.0),
        ("2+3*4**2/8", 8.0),
        ("-2**2", -4.0),
        ("2**-1", 0.5),
        ("sqrt(16)+abs(-1)+min(2,3)+max(2,3)", 10.0),
        ("exp(0)+log(1)", 1.0),
        ("((x))", 0.25),
    ],
)
def test_arithmetic_is_read_as_written(text: str, value: float) -> None:
    assert evaluate(parse_expression(text), {"x": 0.25}) == value


@pytest.mark.parametrize(
    "text",
    ["1+", "(1", "foo(1)", "min(1)", "1 2", "__import__('os')", "a;b", "1+" * 1500 + "1", "(" * 99 + "1" + ")" * 99],
)
def test_what_is_no_expression_is_refused(text: str) -> None:
    with pytest.raises(ExpressionError, match=r"write|complete|correct"):
        parse_expression(text)


def test_a_division_by_zero_has_no_value() -> None:
    with pytest.raises(ExpressionError, match="no finite value"):
        evaluate(parse_expression("1/x"), {"x": 0.0})


def test_an_expression_takes_one_value_per_board() -> None:
    half = evaluate(parse_expression("1k*trim+0.5"), {"trim": np.array([0.0, 0.5, 1.0])})
    assert np.array_equal(half, [0.5, 500.5, 1000.5])


def test_binding_replaces_names_by_their_own_expressions() -> None:
    bound = bind(parse_expression("r*2"), {"r": parse_expression("outer+1")})
    assert evaluate(bound, {"outer": 3.0}) == 8.0
