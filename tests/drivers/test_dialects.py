import pickle
from dataclasses import replace
from typing import Any

import pytest

from drivers import InstrumentError, QueuedError, UnknownDialect, Where, dialect, dialect_names
from drivers.dialects import Bit, Compare, Regulation, Setting, Step
from drivers.dialects.wording import Value


@pytest.mark.parametrize(
    ("name", "step", "value", "sent", "asked"),
    [
        ("channel list", Step.OUTPUT, True, "OUTP ON,(@2)", "OUTP? (@2)"),
        ("channel list", Step.VOLTAGE, 5.0, "VOLT 5,(@2)", "VOLT? (@2)"),
        ("channel list", Step.CURRENT_LIMIT, 0.1, "CURR 0.1,(@2)", "CURR? (@2)"),
        ("channel list", Step.OVER_VOLTAGE, 6.0, "VOLT:PROT 6,(@2)", "VOLT:PROT? (@2)"),
        ("channel list load", Step.INPUT, False, "INP OFF,(@2)", "INP? (@2)"),
    ],
)
def test_a_channel_list_is_behind_the_value_and_behind_the_question(
    name: str, step: Step, value: Value, sent: str, asked: str
) -> None:
    assert dialect(name).command(step, 2, value) == sent
    assert dialect(name).asking(step, 2) == asked


def test_an_action_has_its_channel_behind_the_header() -> None:
    assert dialect("channel list").command(Step.CLEAR_TRIPS, 2) == "OUTP:PROT:CLE (@2)"
    assert dialect("single channel").command(Step.CLEAR_TRIPS, 1) == "OUTP:PROT:CLE"


@pytest.mark.parametrize("name", dialect_names())
def test_every_message_is_short_enough_for_small_input_buffers(name: str) -> None:
    spoken = dialect(name)
    channel = 1 if spoken.one_channel else 12
    for step, setting in spoken.settings.items():
        value = "CURR" if setting.form == "word" else 1234.567891234
        assert len(spoken.command(step, channel, value)) < 80


@pytest.mark.parametrize(
    ("asked", "near"), [("chanel list", "write 'channel list'"), ("Single Channel", "write 'single channel'")]
)
def test_an_unknown_dialect_is_answered_with_the_nearest(asked: str, near: str) -> None:
    with pytest.raises(UnknownDialect, match=f"^'{asked}' is not a dialect; {near}$"):
        dialect(asked)


def test_a_dialect_like_none_is_answered_with_all_of_them() -> None:
    with pytest.raises(UnknownDialect, match="write one of 'channel list', 'single channel', "):
        dialect("xyz")


def test_a_supply_with_crossed_status_bits_is_only_other_data() -> None:
    crossed = Regulation(Bit("STAT:QUES:COND?", 1), Bit("STAT:QUES:COND?", 0), ())
    assert replace(dialect("single channel"), regulation=crossed).regulation == crossed


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"settings": {}}, "has no words for current limit, output, over-current delay"),
        ({"actions": {Step.CLEAR_TRIPS: "OUTP:PROT:CLE {outlet}"}}, "has a place {'outlet'}; write {value} or"),
        ({"actions": {Step.CLEAR_TRIPS: "OUTP:PROT:CLE\nOUTP ON"}}, "is not one line of ASCII"),
        ({"regulation": None}, "needs a regulation if, and only if, it is for a supply"),
    ],
)
def test_a_dialect_that_cannot_work_is_refused_when_made(change: dict[str, Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        replace(dialect("channel list"), **change)


@pytest.mark.parametrize(
    ("setting", "sent", "stands", "fits"),
    [
        (Setting("V {value}", "V?", resolution=1e-3), 5.0, 5.001, True),
        (Setting("V {value}", "V?", resolution=1e-3), 5.0, 5.0011, False),
        (Setting("V {value}", "V?", resolution=1e-3), 5.0, 4.9989, False),
        (Setting("V {value}", "V?", compare=Compare.AT_LEAST), 5.0, 10.0, True),
        (Setting("V {value}", "V?", compare=Compare.AT_LEAST), 5.0, 1.0, False),
        (Setting("V {value}", "V?", compare=Compare.AS_REPORTED), 5.0, 1.0, True),
        (Setting("O {value}", "O?", form="switch"), True, False, False),
        (Setting("F {value}", "F?", form="word"), "CURR", "VOLT", False),
    ],
)
def test_a_read_back_fits_as_far_as_the_instrument_resolves_it(
    setting: Setting, sent: Value, stands: Value, fits: bool
) -> None:
    assert setting.fits(sent, stands) is fits


def test_an_error_survives_being_pickled() -> None:
    error = InstrumentError(Where("supply", "X", "VOLT 9"), "it complained", "look", (QueuedError(-222, "Out"),))
    again = pickle.loads(pickle.dumps(error))
    assert (str(again), again.entries) == ("supply (X): it complained; look", error.entries)
