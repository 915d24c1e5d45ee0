import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.asks import (
    Ask,
    Conditions,
    Draw,
    Drawn,
    Fed,
    Feed,
    Mode,
    Quantity,
    Question,
    Read,
    Reading,
    Toward,
    Turn,
    Turned,
    Wait,
)
from station.errors import Beyond, NotHere, Unreadable
from station.transcript import read_ask, read_reply, written_ask, written_reply

numbers = st.floats(allow_nan=False)
names = st.text(max_size=8)
pairs = st.lists(st.tuples(names, numbers), max_size=3).map(tuple)
asks = st.one_of(
    st.builds(Feed, names, numbers, numbers),
    st.builds(Draw, names, numbers),
    st.builds(Wait, numbers),
    st.builds(Read, names, st.sampled_from(Quantity), numbers, names, numbers),
    st.builds(Turn, names, st.sampled_from(Toward), numbers),
    st.builds(Question, names, st.lists(names, max_size=3).map(tuple), names),
)
replies = st.one_of(
    st.builds(
        Reading, numbers, numbers, numbers, names, numbers, numbers, st.builds(Conditions, fed=pairs, drawn=pairs)
    ),
    st.builds(
        Fed, st.sampled_from(Mode), st.lists(st.sampled_from(["over-voltage", "watchdog"]), max_size=2).map(tuple)
    ),
    st.builds(Drawn, numbers),
    st.sampled_from(Turned),
    names,
    st.none(),
)


@given(ask=asks)
def test_an_ask_survives_being_written(ask: Ask[Any]) -> None:
    assert read_ask(written_ask(ask)) == ask


@given(reply=replies)
def test_an_answer_survives_being_written(reply: object) -> None:
    assert read_reply(written_reply(reply)) == reply


@pytest.mark.parametrize("value", [5e-324, -0.0, 1.7976931348623157e308, 0.1 + 0.2, math.inf, -math.inf])
def test_an_extreme_reading_survives_to_the_last_bit(value: float) -> None:
    revived = read_reply(written_reply(Reading(value, 0.0, 0.0, "meter", 1.0, 0.0)))
    assert isinstance(revived, Reading)
    assert revived.value.hex() == value.hex()


def test_what_stood_in_for_an_answer_survives_being_written() -> None:
    revived = read_reply(written_reply(Unreadable("OUTP voltage: overload")))
    assert isinstance(revived, Unreadable)
    assert str(revived) == "OUTP voltage: overload"


@pytest.mark.parametrize("error", [Beyond("beyond the range", -1200.0), NotHere("no channel there")])
def test_why_ohms_were_not_read_survives_being_written(error: Unreadable) -> None:
    revived = read_reply(written_reply(error))
    assert type(revived) is type(error)
    assert (str(revived), vars(revived)) == (str(error), vars(error))


def test_an_ask_from_before_there_were_test_currents_is_still_read() -> None:
    text = '{"ask": "Read", "terminal": "OUTP", "quantity": "voltage", "effort": 1.0, "against": "GND"}'
    assert read_ask(text) == Read("OUTP", Quantity.VOLTAGE, 1.0)


def test_an_answer_that_looks_like_an_enum_stays_a_text() -> None:
    assert read_reply(written_reply("done")) == "done"


def test_equal_asks_have_equal_texts() -> None:
    assert written_ask(Feed("INP", 22.0, 0.15)) == written_ask(Feed("INP", 22.0, 0.15))


def test_a_written_ask_is_plain_json() -> None:
    assert json.loads(written_ask(Read("OUTP", Quantity.VOLTAGE, 1.0))) == {
        "ask": "Read", "terminal": "OUTP", "quantity": "voltage", "effort": 1.0, "against": "GND",
        "test_amps": 0.0,
    }  # fmt: skip


def test_an_answer_from_before_protections_had_names_is_read() -> None:
    assert read_reply('{"reply": "Fed", "mode": "tripped"}') == Fed(Mode.TRIPPED)
