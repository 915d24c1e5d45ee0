import pytest

from station import errors
from station.errors import InputError, Problem, StationError


@pytest.mark.parametrize(
    ("problem", "text"),
    [
        (Problem("p.yaml", 14, 7, "what", "write this"), "p.yaml:14:7: what; write this"),
        (Problem("p.yaml", 14, 0, "what", "write this"), "p.yaml:14: what; write this"),
        (Problem("p.yaml", 0, 0, "what"), "p.yaml: what"),
        (Problem("", 0, 0, "what", "write this"), "what; write this"),
    ],
)
def test_a_problem_says_where_what_and_what_instead(problem: Problem, text: str) -> None:
    assert str(problem) == text


def test_problems_are_told_in_the_order_of_the_file() -> None:
    error = InputError([Problem("p", 10, 1, "c"), Problem("p", 2, 9, "b"), Problem("p", 2, 3, "a")])
    assert str(error) == "p:2:3: a\np:2:9: b\np:10:1: c"


def test_what_a_problem_quotes_neither_breaks_its_line_nor_steers_the_terminal() -> None:
    assert str(Problem("p", 1, 0, "'a\nb\x1b[2J' is no key")) == r"p:1: 'a\nb\x1b[2J' is no key"


def test_a_whole_file_is_not_quoted() -> None:
    assert len(str(Problem("p", 1, 0, f"'{'x' * 100_000}' is no key", "write 'key'"))) < 700


def test_a_thousand_problems_are_not_all_told() -> None:
    error = InputError(Problem("p", line, 0, "wrong") for line in range(1, 1001))
    assert str(error).splitlines()[-2:] == ["p:50: wrong", "and 950 more"]
    assert len(error.problems) == 1000


@pytest.mark.parametrize("name", sorted(set(errors.__all__) - {"Problem", "halves"}))
def test_every_error_raised_on_purpose_is_of_one_family(name: str) -> None:
    assert issubclass(getattr(errors, name), StationError)
    assert name in (errors.__doc__ or "")
