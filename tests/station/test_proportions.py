import math
from collections.abc import Callable

import pytest
from scipy.stats import binomtest

from station.proportions import (
    defect_level,
    exact_interval,
    finite_population_factor,
    most_without_a_miss,
    normal_half_width,
    sample_for_half_width,
    wilson_interval,
)
from tests.station.references import inputs, rows

# Own computations from the formulas that each row names.
WORKED = {row["id"]: (inputs(row), row["result"]) for row in rows("worked_examples.csv")}
COMPUTED: dict[str, Callable[..., float]] = {
    "COV-03": lambda p, n: normal_half_width(p, n),
    "COV-04": lambda k, n, z: wilson_interval(k, n).low,
    "COV-05": lambda k, n, z: wilson_interval(k, n).high,
    "COV-06": lambda k, n: exact_interval(k, n).low,
    "COV-07": lambda k, n: exact_interval(k, n).high,
    "COV-08": lambda p, n, N: normal_half_width(p, n) * finite_population_factor(n, N),
    "COV-09": lambda p, d: sample_for_half_width(p, d),
    "COV-10": lambda n: most_without_a_miss(n),
    "COV-11": lambda Y, T: 1e6 * defect_level(good=Y, coverage=T),
}
# R. G. Newcombe, Statistics in Medicine 17 (1998), table I; public test suites and tutorials; the rest computed.
INTERVALS = rows("binomial_intervals.csv")


@pytest.mark.parametrize("row", sorted(COMPUTED))
def test_the_worked_examples_come_out_digit_for_digit(row: str) -> None:
    given, result = WORKED[row]
    digits = len(result.replace(".", "").lstrip("0"))
    assert f"{COMPUTED[row](**given):#.{digits}g}" == result


@pytest.mark.parametrize("row", INTERVALS, ids=lambda row: f"{row['k']} of {row['n']}")
@pytest.mark.parametrize(("method", "prefix"), [(wilson_interval, "wilson"), (exact_interval, "cp")])
def test_published_intervals_come_out_digit_for_digit(method, prefix: str, row: dict[str, str]) -> None:
    found = method(int(row["k"]), int(row["n"]))
    for end, value in (("lo", found.low), ("hi", found.high)):
        assert f"{value:.8f}" == row[f"{prefix}_{end}"]
        if published := row[f"{prefix}_{end}_pub"]:
            assert f"{value:.{len(published) - 2}f}" == published


@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.999])
@pytest.mark.parametrize(("k", "n"), [(0, 1), (1, 1), (1, 2), (7, 9), (3, 5000), (5000, 5000), (4999, 5000)])
def test_another_library_finds_the_same_intervals(k: int, n: int, confidence: float) -> None:
    other = binomtest(k, n)
    for method, name in ((exact_interval, "exact"), (wilson_interval, "wilson")):
        found, known = method(k, n, confidence=confidence), other.proportion_ci(confidence, name)
        assert (found.low, found.high) == pytest.approx((known.low, known.high), rel=1e-9, abs=1e-12)


def test_a_sample_that_is_not_whole_lies_between_its_neighbours() -> None:
    assert exact_interval(9, 10).low < exact_interval(9.5, 10.5).low < exact_interval(10, 11).low


def test_the_rule_of_three_is_near_its_exact_form() -> None:
    assert most_without_a_miss(1000) == pytest.approx(3.0 / 1000, rel=0.01)


def test_a_test_that_catches_all_lets_no_fault_through() -> None:
    assert defect_level(good=0.9, coverage=1.0) == 0.0
    assert defect_level(good=0.9, coverage=0.0) == pytest.approx(0.1)


def test_all_of_a_population_leave_no_doubt() -> None:
    assert finite_population_factor(400, 400) == 0.0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: exact_interval(0, 0), "0 of 0 boards is no share; write 0 to all of at least one board"),
        (lambda: wilson_interval(3, 2), "3 of 2 boards is no share"),
        (lambda: exact_interval(math.nan, 2), "nan of 2 boards"),
        (lambda: exact_interval(1, 2, confidence=95), "a confidence of 95 is none; write a fraction such as 0.95"),
        (lambda: normal_half_width(1.1, 10), "is no share"),
        (lambda: finite_population_factor(5, 4), "5 of 4 is no sample"),
        (lambda: sample_for_half_width(0.9, 0.0), "no sample gives 0.9 ± 0"),
        (lambda: defect_level(good=0.0, coverage=0.5), "0 good and 0.5 covered are no shares"),
    ],
)
def test_what_is_no_share_is_refused(call, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()
