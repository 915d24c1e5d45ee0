"""Work spread over processes, and done in place where one job is asked."""

import os

import pytest

from station.workers import Stopped, Workers


class Once:
    """Stopped from the n-th look on."""

    def __init__(self, looks: int) -> None:
        self.looks = looks

    def __call__(self) -> bool:
        self.looks -= 1
        return self.looks < 0


def never() -> bool:
    return False


def squared(number: int, stopped: Stopped) -> tuple[int, int]:
    return number * number, os.getpid()


def refuse_four(number: int, stopped: Stopped) -> int:
    if number == 4:
        raise ValueError("four is too much")
    return number


def until_stopped(number: int, stopped: Stopped) -> int:
    """Zero is done at once; all others only when nobody wants them any more."""
    while number and not stopped():
        pass
    return number


@pytest.mark.parametrize("jobs", [1, 2])
def test_results_come_in_the_order_of_the_tasks(jobs: int) -> None:
    done: list[int] = []
    with Workers(jobs, never) as workers:
        found = workers.begun(squared, range(9, 0, -1), done.append)()
    assert [result for result, _ in found] == [81, 64, 49, 36, 25, 16, 9, 4, 1]
    assert sorted(done) == list(range(1, 10))


@pytest.mark.parametrize(("jobs", "here"), [(1, True), (2, False)])
def test_one_job_works_where_it_is_asked_and_more_do_not(jobs: int, here: bool) -> None:
    with Workers(jobs, never) as workers:
        found = workers.begun(squared, [1, 2])()
    assert all((process == os.getpid()) is here for _, process in found)


@pytest.mark.parametrize("jobs", [1, 2])
def test_what_goes_wrong_in_a_worker_comes_through(jobs: int) -> None:
    with Workers(jobs, never) as workers, pytest.raises(ValueError, match="four is too much"):
        workers.begun(refuse_four, [3, 4, 5])()


def test_the_task_at_work_when_stopped_is_left_out_as_those_after_it() -> None:
    done: list[int] = []
    with Workers(1, Once(2)) as workers:  # looked at after each task
        found = workers.begun(refuse_four, [1, 2, 3, 5], done.append)()
    assert (found, done) == ([1, 2], [1, 2])


def test_processes_at_work_are_told_to_stop_and_leave_nothing() -> None:
    done: list[int] = []
    with Workers(2, lambda: bool(done)) as workers:
        found = workers.begun(until_stopped, [7, 0, 8, 9], done.append)()
    assert (found, done) == ([0], [0])


def test_nothing_to_do_is_done_at_once() -> None:
    with Workers(2, never) as workers:
        assert workers.begun(squared, [])() == []


@pytest.mark.parametrize("jobs", [1, 2])
def test_work_that_was_begun_is_waited_for_when_it_is_wanted(jobs: int) -> None:
    with Workers(jobs, never) as workers:
        first, second = workers.begun(squared, [1, 2]), workers.begun(refuse_four, [5, 6])
        assert second() == [5, 6]
        assert [result for result, _ in first()] == [1, 4]


def test_what_was_done_before_a_stop_is_kept_though_nobody_waited() -> None:
    stopped = list[bool]()
    with Workers(2, lambda: bool(stopped)) as workers:
        results = workers.begun(until_stopped, [0, 0, 1])
        assert workers.begun(squared, [3])()[0][0] == 9  # behind both of the first two: by then these are done
        stopped.append(True)
        assert results() == [0, 0]
