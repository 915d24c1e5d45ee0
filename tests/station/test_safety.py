"""Making safe: everything is switched off whatever fails, and nothing counts as safe that was not seen."""

import pytest

from station.errors import BenchError
from station.safety import made_safe


class StepClock:
    """Time that only waiting moves."""

    def __init__(self):
        self.now = 0.0

    def seconds(self):
        return self.now

    def wait(self, seconds):
        self.now += seconds


def off(name, log, problems=()):
    def switch_off():
        log.append(name)
        return tuple(problems)

    return name, switch_off


def broken(name):
    def switch_off():
        raise OSError("cable out")

    return name, switch_off


def left(volts):
    return lambda terminal: volts[terminal]


def test_a_bench_at_rest_is_verified():
    log: list[str] = []

    safe = made_safe([off("load", log), off("supply", log)], left({"INP": 0.1}), ["INP"], 2.0, StepClock())

    assert safe.verified and safe.problems == () and log == ["load", "supply"]
    assert safe.volts == (("INP", 0.1),)


def test_one_instrument_that_breaks_never_keeps_the_next_from_being_made_safe():
    log: list[str] = []

    safe = made_safe([broken("load"), off("supply", log)], left({"INP": 0.0}), ["INP"], 2.0, StepClock())

    assert log == ["supply"]
    assert not safe.verified and safe.problems == ("load: cable out",)


def test_what_an_instrument_could_not_verify_is_told_with_its_name():
    safe = made_safe([off("supply", [], ["still on"])], left({"INP": 0.0}), ["INP"], 2.0, StepClock())

    assert not safe.verified and safe.problems == ("supply: still on",)


def test_charge_is_watched_until_it_is_gone():
    clock = StepClock()

    safe = made_safe([], lambda terminal: 22.0 - 2.0 * clock.now, ["INP"], 2.0, clock)

    assert safe.verified
    assert 10.0 < clock.now <= 11.0


def test_charge_that_stays_is_told_with_its_volts():
    safe = made_safe([], left({"INP": 22.0}), ["INP"], 2.0, StepClock())

    assert not safe.verified
    assert safe.problems[0] == "INP still holds 22 V"


def test_two_rails_that_are_each_safe_still_add_up():
    safe = made_safe([], left({"INP": 1.5, "INN": -1.5}), ["INP", "INN"], 2.0, StepClock())

    assert not safe.verified
    assert safe.problems == ("3 V are left between two rails, which add up",)


def test_a_terminal_that_can_not_be_read_is_not_safe():
    def unread(terminal):
        raise BenchError("no reply")

    safe = made_safe([], unread, ["INP"], 2.0, StepClock())

    assert not safe.verified
    assert safe.problems == ("INP: the voltage left there can't be read (no reply)",)


@pytest.mark.parametrize("error", [ValueError("wrong"), RuntimeError("gone")])
def test_it_never_raises(error):
    def unread(terminal):
        raise error

    safe = made_safe([], unread, ["INP"], 2.0, StepClock())

    assert not safe.verified
