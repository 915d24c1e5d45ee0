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


@pytest.mark.parametrize("name", sorted(set(errors.__all__) - {"Problem", "halves"}))
def test_every_error_raised_on_purpose_is_of_one_family(name: str) -> None:
    assert issubclass(getattr(errors, name), StationError)
    assert name in (errors.__doc__ or "")
