"""A whole simulated bench, told by SCPI and looked at from inside."""

import pytest

from simulated.bench import open_bench
from tests.simulated.test_board import DESCRIPTION


@pytest.fixture
def bench():
    with open_bench(DESCRIPTION, seed=1, nominal=True) as opened:
        opened.supply.connection().receive(b"VOLT 10,(@1);:CURR 1,(@1);:OUTP 1,(@1)\n")
        opened.clock.advance(5.0)
        yield opened


def test_each_terminal_has_its_meter_input_inputs_first(bench):
    assert list(DESCRIPTION.terminals) == ["INP", "INN", "OUT"]
    assert [bench.board.volts(name) > 5.0 for name in DESCRIPTION.terminals] == [True, False, True]


def test_a_load_draws_once_its_input_is_on_and_no_sooner(bench):
    load = bench.load.connection()

    load.receive(b"FUNC CURR,(@1);:CURR 0.1,(@1)\n")
    off = bench.board.load_state("OUT").amps
    load.receive(b"INP 1,(@1)\n")

    assert off == 0.0
    assert bench.board.load_state("OUT").amps == pytest.approx(0.1, rel=0.02)


def test_nominal_benches_hold_the_same_board_whatever_the_seed():
    def volts(seed):
        with open_bench(DESCRIPTION, seed=seed, nominal=True) as opened:
            opened.board.feed("INP", volts=10.0, limit_amps=1.0, on=True)
            opened.clock.advance(5.0)
            return opened.board.volts("OUT")

    assert volts(1) == volts(2)


@pytest.mark.parametrize(
    ("spoken", "servers", "feeding"),
    [
        ("channel list", ["supply", "meter", "load"], (("supply", 1), ("supply", 2))),
        ("serial words", ["supply", "meter", "load"], (("supply", 1), ("supply", 2))),
        ("single channel", ["supply", "supply b", "meter", "load"], (("supply", 1), ("supply b", 1))),
    ],
)
def test_a_bench_speaks_what_it_is_told_to(spoken, servers, feeding):
    with open_bench(DESCRIPTION, seed=1, nominal=True, dialects={"supply": spoken}) as opened:
        assert list(opened.servers) == servers
        assert opened.feeding == feeding
        assert len(opened.supplies) == len({name for name, _ in feeding})


def test_each_of_two_supplies_feeds_its_own_input():
    with open_bench(DESCRIPTION, seed=1, nominal=True, dialects={"supply": "single channel"}) as opened:
        opened.supplies[1].connection().receive(b"VOLT 10;:CURR 1;:OUTP 1\n")
        opened.clock.advance(5.0)
        assert [abs(opened.board.volts(name)) > 5.0 for name in ("INP", "INN")] == [False, True]


def test_a_dialect_that_no_simulated_instrument_speaks_is_refused():
    with (
        pytest.raises(ValueError, match="no simulated instrument speaks 'smoke signals'"),
        open_bench(DESCRIPTION, seed=1, dialects={"supply": "smoke signals"}),
    ):
        pass
