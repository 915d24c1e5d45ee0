"""The main job on simulated boards: healthy ones pass, faulty ones fail on a line that fits."""

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import pytest

from station import demo
from station.lines import Outcome
from station.report.wording import first_bad
from tests.benches import run_simulated

# Where each fault must show first, from what the circuit does (see profiles/dual15 and the demo board's sheet):
FITTING = {
    "R108:open": ("OUTP", "highest voltage"),  # no feedback: the rail follows the input
    "R206:open": ("OUTN", "before trim"),  # pass current interrupted
    "DZ101:reversed": ("OUTP", "before trim"),  # a diode drop for a reference
    "RF101:open": ("INP", "resistance, leads turned"),  # no diode to be found behind it
    "DLED102:open": ("INP", "current"),  # only the LED's 4.8 mA are missing
    "DLED202:reversed": ("INN", "current"),
    "R109:value:47k": ("OUTP", "before trim"),
    "Q202.b:open": ("OUTN", "before trim"),
    "D101:reversed": ("INP", "resistance"),  # a diode where there should be none
}


@pytest.mark.parametrize("fault", FITTING)
def test_a_fault_fails_on_the_line_that_fits_it(fault):
    ended, _, _ = run_simulated(seed=11, faults=[fault])

    bad = first_bad(ended.judgements)

    assert ended.outcome is Outcome.FAILED
    assert bad is not None and (bad.line.terminal, bad.line.name) == FITTING[fault]


def test_every_fault_of_the_demo_is_told_where_it_must_show():
    assert set(demo.FAULTS) == set(FITTING)


def judged_batch(seed: int) -> list[tuple[str, str, Outcome]]:
    return [(b.serial, " ".join(b.faults), run_simulated(b.seed, b.faults)[0].outcome) for b in demo.batch(seed)]


def test_batches_fail_their_three_faulty_boards_and_no_other(exhaustive):
    """Ten batches with `pytest --exhaustive`, one in CI."""
    batches = 10 if exhaustive else 1
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as workers:
        boards = [board for batch in workers.map(judged_batch, range(100, 100 + batches)) for board in batch]

    wrong = [board for board in boards if board[2] is not (Outcome.FAILED if board[1] else Outcome.PASSED)]
    assert len(boards) == 12 * batches and sum(bool(board[1]) for board in boards) == 3 * batches
    assert wrong == []


def test_the_same_seed_gives_the_same_readings_and_the_same_bench_time():
    first, second = run_simulated(seed=5)[0], run_simulated(seed=5)[0]

    assert first.judgements == second.judgements
    assert first.safe.seconds == second.safe.seconds
    assert 30.0 < first.safe.seconds < 120.0
