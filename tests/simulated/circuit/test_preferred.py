import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulated.circuit.expressions import ExpressionError
from simulated.circuit.preferred import E24, misreads, neighbour, wrong_value

REFERENCE = Path(__file__).parents[2] / "reference"


def test_misread_bands_are_those_of_the_stored_table() -> None:
    # Its source: README.md beside it. The last row, read from the wrong end, is a five-band part.
    rows = list(csv.DictReader((REFERENCE / "circuits" / "colour_misreads.csv").read_text().splitlines()))
    stored = {(float(r["true_ohm"]), f"band{r['band']}={r['read_colour']}"): float(r["read_ohm"]) for r in rows[:-1]}
    values = [digits * 100.0 for digits in E24]
    assert {(v, how): read for v in values for how, read in misreads(v).items()} == stored


@pytest.mark.parametrize(
    ("value", "above", "below"),
    [(100.0, 110.0, 91.0), (9100.0, 10e3, 8200.0), (0.51, 0.56, 0.47), (1.0, 1.1, 0.91), (4.99e3, 5.1e3, 4.7e3)],
)
def test_the_neighbours_of_a_value(value: float, above: float, below: float) -> None:
    assert neighbour(value, 1) == above
    assert neighbour(value, -1) == below


@given(st.sampled_from(E24), st.integers(-9, 7))
def test_up_and_down_again_is_the_same_value(digits: int, power: int) -> None:
    value = float(f"{digits}e{power}")
    assert neighbour(neighbour(value, 1), -1) == value
    assert 1.04 < neighbour(value, 1) / value < 1.16


@pytest.mark.parametrize(
    "text", ["", "abc", "x", "x0", "/0", "-5", "1e400", "+inf%", "-100%", "band9=red", "neighbor+"]
)
def test_a_wrong_value_that_makes_no_sense_is_told(text: str) -> None:
    with pytest.raises(ExpressionError, match="write"):
        wrong_value(text, 4700.0)


def test_a_value_that_two_digits_do_not_write_cannot_be_misread() -> None:
    assert misreads(4990.0) == {}
    assert math.isclose(wrong_value("x10", 4990.0), 49900.0)
