"""Limits as bars and numbers in large digits."""

import pytest

from station.quantities import Limit
from station.report.gauge import big, gauge, strip


@pytest.mark.parametrize(
    ("limit", "unit", "value", "expected"),
    [
        ("15 V ± 1 %", "V", 15.0, "··├───━●━───┤··"),
        ("15 V ± 1 %", "V", 15.13, "··├────────━●━·"),  # in doubt: its uncertainty goes past the edge
        ("15 V ± 1 %", "V", 15.17, "··├─────────┤●━"),
        ("15 V ± 1 %", "V", 12.0, "◄·├─────────┤··"),
        ("-15 V ± 1 %", "V", -15.0, "··├───━●━───┤··"),
        ("at most 300 mV", "V", 0.15, "─────━●━────┤··"),
        ("at most 300 mV", "V", 0.9, "────────────┤·►"),
        ("at most 300 mV", "V", -0.05, "●───────────┤··"),  # inside, below the zero that the bar would begin with
        ("at least 200 mV", "V", 0.15, "····━●━├───────"),
        ("at least 200 mV", "V", 20.0, "·······├──────►"),
        ("at least -18 V", "V", -15.0, "··├─●──────────"),
    ],
)
def test_a_gauge_shows_where_a_reading_lies_in_its_limit(limit: str, unit: str, value: float, expected: str) -> None:
    assert gauge(Limit.parse(limit, unit), value, 0.025) == expected


def test_a_limit_without_width_has_a_gauge() -> None:
    assert "●" in gauge(Limit.parse("0 V .. 0 V", "V"), 0.0, 0.0)


def test_every_character_of_a_number_has_a_large_digit_of_the_same_width() -> None:
    top, middle, bottom = big("-0123456789.")
    assert len(top) == len(middle) == len(bottom)
    assert big("−1") == big("-1")


def test_a_strip_goes_from_the_lowest_to_the_highest_of_the_newest_values() -> None:
    assert strip([9.0, 1.0, 2.0, 3.0], 3) == "▁▅█"
    assert strip([5.0, 5.0], 8) == "▁▁"
