from collections.abc import Callable

import pytest

from drivers import Load, Measured, NoReply, NotPrepared, dialect
from tests.drivers.conftest import Called
from tests.drivers.line_server import Act, Answers, LineServer

LoadThat = Callable[..., tuple[LineServer, Load]]
NOTHING: Answers = {}

AT_REST: Answers = {
    "INP? (@1)": b"0\n",
    "FUNC? (@1)": b"CURR\n",
    "CURR? (@1)": b"0.000\n",
    "MEAS:CURR? (@1)": b"0.0001\n",
}
PREPARING = ["INP OFF,(@1)", "INP? (@1)", "FUNC CURR,(@1)", "FUNC? (@1)", "CURR 0,(@1)", "CURR? (@1)"]


@pytest.fixture
def load_that(call: Called, waits: list[float]) -> LoadThat:
    def opened(answers: Answers = NOTHING) -> tuple[LineServer, Load]:
        server, session = call({**AT_REST, **answers}, timeout_seconds=0.05)
        return server, Load(session, dialect("channel list load"), wait=waits.append)

    return opened


def test_the_first_thing_a_load_is_told_is_to_switch_off(load_that: LoadThat) -> None:
    server, load = load_that({"CURR? (@1)": [b"0\n", b"0.500\n"]})
    load.set_current(1, 0.5)
    assert server.told == [*PREPARING, "CURR 0.5,(@1)", "CURR? (@1)"]


def test_it_is_prepared_once(load_that: LoadThat) -> None:
    server, load = load_that({"CURR? (@1)": [b"0\n", b"0.5\n", b"1.0\n"], "INP? (@1)": [b"0\n", b"1\n"]})
    load.set_current(1, 0.5)
    load.switch(1, True)
    load.set_current(1, 1.0)
    told = ["CURR 0.5,(@1)", "CURR? (@1)", "INP ON,(@1)", "INP? (@1)", "CURR 1,(@1)", "CURR? (@1)"]
    assert server.told[len(PREPARING) :] == told


@pytest.mark.parametrize("reply", [b"CURR\n", b"CURRENT\n", b'"CURR"\n', b"curr\n"])
def test_constant_current_is_known_in_either_spelling(load_that: LoadThat, reply: bytes) -> None:
    _, load = load_that({"FUNC? (@1)": reply})
    load.prepare(1)


def test_after_trouble_a_load_is_not_switched_off_unasked(load_that: LoadThat) -> None:
    server, load = load_that({"MEAS:VOLT? (@1);:MEAS:CURR? (@1)": Act.KEEP_SILENT})
    load.prepare(1)
    with pytest.raises(NoReply):
        load.measure(1)
    load.session.resynchronise()
    with pytest.raises(NotPrepared, match=r"in doubt after trouble.*prepare the channel again"):
        load.switch(1, True)
    assert server.told.count("INP OFF,(@1)") == 1


@pytest.mark.parametrize("amps", [-0.1, float("nan")])
def test_a_current_that_no_load_can_draw_is_refused(load_that: LoadThat, amps: float) -> None:
    server, load = load_that()
    with pytest.raises(ValueError, match="write 0 or more"):
        load.set_current(1, amps)
    assert server.told == []


def test_measuring_is_one_message(load_that: LoadThat) -> None:
    _, load = load_that({"MEAS:VOLT? (@1);:MEAS:CURR? (@1)": b"15.01;0.4998\n"})
    assert load.measure(1) == Measured(15.01, 0.4998)


def test_making_safe_is_verified(load_that: LoadThat) -> None:
    server, load = load_that()
    assert load.make_safe(1) == ()
    assert server.told == ["INP OFF,(@1)", "CURR 0,(@1)", "INP? (@1)", "CURR? (@1)", "MEAS:CURR? (@1)"]
