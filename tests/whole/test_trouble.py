"""Trouble on the bench: a lost reply or a lost link ends the run Aborted, and what can't be verified is told."""

import logging

import pytest

from simulated.server import Manners
from station.envelope import Envelope
from station.errors import BenchError
from station.exits import NOT_SAFE, TROUBLE, exit_code
from station.lines import Outcome
from station.opening import open_simulated
from station.program import compiled
from station.rehearsal import highest_volts
from station.run import NoRecord, run
from tests.benches import full_profile

OFF = [(False, 0.0), (False, 0.0)]


def run_with_trouble(instrument, spoil, at_ask=60):
    """Run the full profile and spoil an instrument's server once `at_ask` answers are in."""
    profile, count = full_profile(), 0
    with open_simulated(profile.board, highest_volts(profile), seed=1, timeout_seconds=2.0) as bench:

        def told(ask, reply):
            nonlocal count
            count += 1
            if count == at_ask:
                spoil(bench.inside.servers[instrument])

        ended = run(compiled(profile), bench.performer, NoRecord(), envelope=Envelope(profile.board), told=told)
        outputs = [(output.on, output.volts_set) for output in bench.inside.supply.outputs()]
    return ended, outputs


@pytest.mark.parametrize("instrument", ["meter", "supply"])
def test_a_lost_reply_ends_the_run_aborted_with_the_bench_verified_safe(instrument, caplog):
    ended, outputs = run_with_trouble(instrument, lambda server: server.misbehave(Manners(drop_answer=2)))

    assert isinstance(ended.trouble, BenchError) and f"{instrument} (TCPIP0::127.0.0.1::" in str(ended.trouble)
    assert ended.outcome is Outcome.ABORTED and exit_code(ended) == TROUBLE
    assert ended.safe.verified and outputs == OFF


def test_a_link_cut_in_mid_answer_is_opened_anew_to_make_safe(caplog):
    ended, outputs = run_with_trouble("supply", lambda server: server.misbehave(Manners(cut_answer=1)))

    assert exit_code(ended) == TROUBLE
    assert ended.safe.verified and outputs == OFF


def test_a_supply_that_is_gone_can_not_be_verified_and_outweighs_everything(caplog):
    caplog.set_level(logging.CRITICAL)

    ended, _ = run_with_trouble("supply", lambda server: server.close())

    assert exit_code(ended) == NOT_SAFE
    assert any("supply at INP" in problem for problem in ended.safe.problems)
    assert any("supply at INN" in problem for problem in ended.safe.problems)
