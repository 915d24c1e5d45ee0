import threading

import pytest

from simulated.clock import LoneClock, RealClock, VirtualClock


def test_an_alarm_rings_at_its_time_and_not_at_the_end() -> None:
    clock, rung = VirtualClock(), list[float]()
    clock.call_at(3.0, lambda: rung.append(clock.seconds()))
    clock.call_at(1.0, lambda: rung.append(clock.seconds()))
    clock.advance(0.5)
    assert rung == []
    clock.advance(9.5)
    assert rung == [1.0, 3.0]
    assert clock.seconds() == 10.0


def test_an_alarm_may_set_the_next_one() -> None:
    clock, rung = VirtualClock(), list[float]()

    def ring() -> None:
        rung.append(clock.seconds())
        clock.call_at(clock.seconds() + 2.0, ring)

    clock.call_at(2.0, ring)
    clock.advance(7.0)
    assert rung == [2.0, 4.0, 6.0]


def test_an_alarm_that_is_past_rings_as_soon_as_time_moves() -> None:
    clock, rung = VirtualClock(), list[float]()
    clock.advance(5.0)
    clock.call_at(1.0, lambda: rung.append(clock.seconds()))
    clock.advance(0.0)
    assert rung == [5.0]


def test_two_that_advance_at_once_add_up() -> None:
    clock = VirtualClock()
    clock.call_at(1.0, lambda: None)

    def advance() -> None:
        for _ in range(800):
            clock.advance(0.125)

    threads = [threading.Thread(target=advance) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert clock.seconds() == 200.0


@pytest.mark.parametrize("clock", [LoneClock, VirtualClock])
@pytest.mark.parametrize("seconds", [-1.0, float("nan"), float("inf")])
def test_time_moves_forward_only(clock: type[LoneClock], seconds: float) -> None:
    moved = clock()
    moved.advance(1.5)
    with pytest.raises(ValueError, match="write a finite time of zero or more"):
        moved.advance(seconds)
    assert moved.seconds() == moved.now == 1.5


def test_a_real_alarm_rings_by_itself() -> None:
    clock, rung = RealClock(), threading.Event()
    clock.call_at(0.03, rung.set)
    assert not rung.is_set()
    assert rung.wait(5.0)
    assert clock.seconds() >= 0.03
