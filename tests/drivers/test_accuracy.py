"""Check values: tests/reference/dmm_spec_cases.csv, whose rows name their published sources."""

import csv
import math
from pathlib import Path

import pytest

from drivers import AccuracyRow, AccuracyTable, bound, row_for

_LINES = (Path(__file__).parents[1] / "reference" / "dmm_spec_cases.csv").read_text(encoding="utf-8").splitlines()
CASES = list(csv.DictReader(line for line in _LINES if not line.startswith("#")))


def row_of(case: dict[str, str]) -> AccuracyRow:
    return AccuracyRow(
        case["quantity"],
        range=float(case["range"]),
        of_reading=float(case["p_reading"]),
        of_range=float(case["p_range"]),
        counts=float(case["counts"]),
        digit=float(case["digit"]),
    )


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_a_bound_agrees_with_its_published_example(case: dict[str, str]) -> None:
    found = bound(row_of(case), float(case["reading"]))
    assert found == pytest.approx(float(case["bound"]), rel=1e-9)
    if case["published_bound"]:
        assert found == pytest.approx(float(case["published_bound"]), rel=1e-6)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_a_bound_is_not_the_root_sum_square(case: dict[str, str]) -> None:
    assert bound(row_of(case), float(case["reading"])) > 1.01 * float(case["rss_bound_wrong"])


def test_all_eight_cases_were_read() -> None:
    assert len(CASES) == 8


def test_a_negative_reading_has_the_bound_of_its_magnitude() -> None:
    row = AccuracyRow("volts", range=10.0, of_reading=35e-6, of_range=5e-6)
    assert bound(row, -5.0) == bound(row, 5.0)


def test_the_row_of_the_range_that_was_used_is_found() -> None:
    table = AccuracyTable((AccuracyRow("volts", range=10.0), AccuracyRow("volts", range=100.0, of_range=6e-6)))
    assert row_for(table, "volts", 100.0).of_range == 6e-6
    with pytest.raises(LookupError, match="no row for 'volts' on the range 1; it has 10, 100"):
        row_for(table, "volts", 1.0)


@pytest.mark.parametrize(
    ("fields", "words"),
    [({"of_reading": math.nan}, "holds nan"), ({"counts": -1.0}, "holds -1"), ({"of_range": 5.0}, "write fractions")],
)
def test_a_row_that_cannot_be_meant_is_refused(fields: dict[str, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        AccuracyRow("volts", range=10.0, **fields)


def test_a_table_with_a_range_twice_is_refused() -> None:
    with pytest.raises(ValueError, match="has 'volts' on 10 twice"):
        AccuracyTable((AccuracyRow("volts", range=10.0), AccuracyRow("volts", range=10.0)))
