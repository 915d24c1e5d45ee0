import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.coverage import courses, detection, weighted_coverage
from station.likelihood import likelihoods
from station.proportions import exact_interval
from tests.station.references import inputs, rows

WORKED = {row["id"]: (inputs(row), float(row["result"])) for row in rows("worked_examples.csv")}
CAUGHT, OF_TWO = (2, 2, 0, 2, 1, 2), (2,) * 6  # both formulas: d = 1, 1, 0, 1, 0.5, 1


@pytest.mark.parametrize("row", ["COV-01", "COV-02"])
def test_the_worked_coverages_come_out(row: str) -> None:
    given, result = WORKED[row]
    weights = list(given.values()) or [1.0] * 6  # COV-02 has every defect equal
    assert weighted_coverage(weights, CAUGHT, OF_TWO).value == pytest.approx(result, rel=1e-15)


def test_a_board_of_three_resistors_is_covered_as_computed_on_paper() -> None:
    # Weights in percent. Opens: 24 joints + 4 missing + 2 damaged x 0.59 = 29.18. Bridges: 12 + 2 x 0.05 = 12.1.
    # Both spread evenly over three resistors; no other class has members. Caught: the open of R1 and R2 always, of R3
    # on half of the boards; the short of R1 only. (29.18 x 2.5 + 12.1 x 1) / 3 / (29.18 + 12.1) = 28.35 / 41.28.
    parts = ("R1", "R2", "R3")
    defects = [(f"{part}:open", "open or missing joint") for part in parts]
    defects += [(f"{part}:short", "solder bridge") for part in parts]
    found = weighted_coverage(likelihoods(defects).weights, (10, 10, 5, 10, 0, 0), (10,) * 6)
    assert found.value == pytest.approx(28.35 / 41.28, rel=1e-12)
    assert found.low < found.value < found.high


def test_with_equal_weights_the_interval_is_that_of_all_boards_together() -> None:
    found = weighted_coverage([3.0] * 9 + [3.0], [10] * 9 + [0], [10] * 10)
    plain = exact_interval(90, 100)
    assert (found.value, found.low, found.high) == pytest.approx((plain.value, plain.low, plain.high), rel=1e-12)


def test_what_is_caught_always_has_no_doubt_above() -> None:
    found = weighted_coverage((0.1, 0.2, 0.7), (7, 7, 7), (7, 7, 7))
    assert (found.value, found.high) == (1.0, 1.0)
    assert 0.5 < found.low < 1.0


def test_a_fault_without_a_solution_counts_in_full_and_as_missed() -> None:
    found = weighted_coverage((3, 1), (50, 0), (50, 0))
    assert (found.value, found.high) == (0.75, 0.75)
    assert found.low == pytest.approx(0.75 * exact_interval(50, 50).low)


def test_a_universe_without_any_solution_is_not_covered() -> None:
    found = weighted_coverage((3, 1), (0, 0), (0, 0))
    assert (found.value, found.low, found.high) == (0.0, 0.0, 0.0)


def test_coverage_of_the_visible_faults_leaves_the_others_out() -> None:
    found = weighted_coverage((3, 1, 4), (50, 0, 0), (50, 50, 50), among=(True, True, False))
    assert found == weighted_coverage((3, 1), (50, 0), (50, 50))


# The first is the case that Kish's number alone gets wrong: half of the weight is one fault caught half of the time.
@pytest.mark.parametrize(
    ("weights", "chances", "boards"),
    [
        ([50.0] + [1.0] * 50, [0.5] + [1.0] * 50, [40] * 51),
        ([1.0] * 20, [0.9] * 20, [10] * 20),
        ([5.0, 1.0, 1.0, 1.0, 0.1], [0.98, 0.1, 0.5, 1.0, 0.0], [50, 100, 20, 100, 10]),
    ],
)
def test_the_interval_holds_the_truth_as_often_as_it_says(
    weights: list[float], chances: list[float], boards: list[int]
) -> None:
    rng = np.random.default_rng(7)
    truth = np.dot(weights, chances) / np.sum(weights)
    drawn = rng.binomial(boards, chances, size=(1000, len(boards)))
    intervals = [weighted_coverage(weights, caught, boards) for caught in drawn]
    held = np.mean([found.low <= truth <= found.high for found in intervals])
    assert held >= 0.94  # 0.95, and what 1000 trials leave open


FAULTS = st.lists(
    st.tuples(st.floats(0.01, 100.0), st.integers(0, 20), st.integers(0, 20)), min_size=1, max_size=8
).map(lambda rows: [(weight, min(a, b), max(a, b)) for weight, a, b in rows])


@given(FAULTS)
def test_the_interval_encloses_the_value_and_stays_within_0_and_1(faults) -> None:
    found = weighted_coverage(*zip(*faults, strict=True))
    assert 0.0 <= found.low <= found.value + 1e-12
    assert found.value <= found.high + 1e-12 <= 1.0 + 2e-12


@given(FAULTS, st.floats(0.001, 1000.0))
def test_the_unit_of_the_weights_does_not_matter(faults, factor: float) -> None:
    weights, caught, boards = zip(*faults, strict=True)
    one = weighted_coverage(weights, caught, boards)
    other = weighted_coverage([weight * factor for weight in weights], caught, boards)
    assert (other.value, other.low, other.high) == pytest.approx((one.value, one.low, one.high), abs=1e-9)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: detection([3], [2]), "more boards are caught than there are"),
        (lambda: detection([1], [2, 2]), "give 0 to all of each fault's boards"),
        (lambda: weighted_coverage([-1.0, 2.0], [1, 1], [2, 2]), "give one of zero or more for each"),
        (lambda: weighted_coverage([float("nan")], [1], [2]), "the weights do not fit"),
        (lambda: weighted_coverage([1.0], [1, 1], [2, 2]), "the weights do not fit"),
        (lambda: weighted_coverage([1.0], [1], [2], among=[False]), "none of the faults has any weight"),
        (lambda: courses([[0.5]], [1.0], [1.0, 2.0]), r"chances of shape \(1, 1\) do not fit"),
        (lambda: courses([[1.5]], [1.0], [1.0]), "a chance to catch is not within 0..1"),
        (lambda: courses([[0.5]], [1.0], [-1.0]), "a step takes less than no time"),
        (lambda: courses([[0.5]], [0.0], [1.0]), "weights of zero or more that are not all zero"),
    ],
)
def test_numbers_that_cannot_be_are_refused(call, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()


# Three faults of weight 5, 3, 2; the steps: slow and thorough, quick, one that adds nothing.
CHANCES, WEIGHTS, SECONDS = [[1.0, 1.0, 1.0], [1.0, 0.0, 0.0], [0.5, 0.0, 0.0]], [5, 3, 2], [100.0, 1.0, 10.0]


def test_coverage_grows_in_the_order_of_the_profile() -> None:
    written, _ = courses(CHANCES, WEIGHTS, SECONDS)
    assert written.order == (0, 1, 2)
    assert written.seconds == (100.0, 101.0, 111.0)
    assert written.coverage == pytest.approx((0.9, 0.9, 0.9))


def test_the_fastest_order_takes_the_largest_gain_per_second_first_and_what_adds_nothing_last() -> None:
    _, fastest = courses(CHANCES, WEIGHTS, SECONDS)
    assert fastest.order == (1, 0, 2)
    assert fastest.seconds == (1.0, 101.0, 111.0)
    assert fastest.coverage == pytest.approx((0.5, 0.9, 0.9))


def test_a_step_without_cost_comes_first_only_if_it_gains() -> None:
    _, fastest = courses([[0.1, 0.0, 1.0], [0.0, 0.0, 0.0]], [1.0, 1.0], [0.0, 0.0, 1.0])
    assert fastest.order == (0, 2, 1)


def test_steps_that_gain_alike_keep_the_order_of_the_profile() -> None:
    _, fastest = courses([[1.0, 0.0], [0.0, 1.0]], [1.0, 1.0], [2.0, 2.0])
    assert fastest.order == (0, 1)


def test_with_boards_as_rows_the_course_ends_at_the_share_that_any_step_failed() -> None:
    failed = np.random.default_rng(3).random((200, 5)) < 0.3  # (boards, steps)
    written, fastest = courses(failed, np.ones(200), np.arange(1.0, 6.0))
    assert written.coverage[-1] == pytest.approx(failed.any(axis=1).mean())
    assert fastest.coverage[-1] == pytest.approx(written.coverage[-1])
