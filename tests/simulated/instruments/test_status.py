"""The status registers latch, filter and sum up as IEEE 488.2 chapter 11 and SCPI-1999 Vol. 2 chapter 20 have it."""

import pytest

from simulated.instruments.errors import ERROR_TEXTS, ScpiError
from simulated.instruments.status import RegisterSet, Status


@pytest.mark.parametrize(
    ("positive", "negative", "events"),
    [
        (0x7FFF, 0, [4, 4]),  # as STATus:PRESet leaves the filters: a rise latches
        (0, 0x7FFF, [0, 4]),
        (0, 0, [0, 0]),
    ],
)
def test_a_condition_becomes_an_event_through_its_transition_filters(
    positive: int, negative: int, events: list[int]
) -> None:
    registers = RegisterSet()
    registers.positive, registers.negative = positive, negative
    seen = []
    for condition in (4, 0):
        registers.follow(condition)
        seen.append(registers.event)
    assert seen == events


def test_an_event_stays_when_its_condition_goes_and_is_cleared_by_reading() -> None:
    registers = RegisterSet()
    registers.follow(2)
    registers.follow(0)
    assert (registers.read_event(), registers.read_event()) == (2, 0)


def test_a_questionable_event_of_any_channel_reaches_the_status_byte_when_enabled() -> None:
    status = Status(channels=2)
    status.questionable[1].follow(1)
    assert status.byte() == 0
    status.questionable[1].enable = 1
    assert status.byte() == 8


def test_reading_an_overflown_queue_makes_room_for_one_error() -> None:
    status = Status(queue_depth=2)
    for code in (-113, -222, -109):
        status.report(ScpiError(code))
    first = status.next_error()
    status.report(ScpiError(-101))
    assert [first[:4], status.next_error()[:4], status.next_error()[:4]] == ["-113", "-350", "-101"]


@pytest.mark.parametrize(("code", "bit"), [(-113, 32), (-222, 16), (-350, 8), (-440, 4)])
def test_an_error_sets_the_event_bit_of_its_class(code: int, bit: int) -> None:
    status = Status()
    status.read_events()  # power on
    status.report(ScpiError(code))
    assert status.read_events() == bit


def test_an_error_text_is_never_longer_than_the_standard_allows_nor_broken_by_quotes() -> None:
    entry = ScpiError(-151, '"\n' + "x" * 1000).entry()
    assert entry.startswith(f"-151,\"{ERROR_TEXTS[-151]};'?xxx")
    assert len(entry) == len('-151,""') + 255
