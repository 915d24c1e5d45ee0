"""What became of boards is counted: told by hand here, so that every fate is there."""

import dataclasses

import numpy as np
import pytest

from station.lines import Outcome
from station.lots import CODES, Told
from station.proof import FaultFound, Proof
from station.sight import Seen
from station.tally import Tally, Wanted
from tests.dividers import divider
from tests.station.proving import of, universe

LETTERS = {"P": Outcome.PASSED, "F": Outcome.FAILED, "U": Outcome.UNDECIDED, "A": Outcome.ABORTED}
FAULTS = ("R1:open", "R1:cold")


def told(start: int, *boards: str, unsolved: dict[int, str] | None = None, seconds: tuple[float, ...] = ()) -> Told:
    """A lot whose boards ended with these letters on the lines ramp current, ramp voltage, half; '.' not started."""
    codes = [[CODES[LETTERS.get(letter, Outcome.NOT_STARTED)] for letter in board] for board in boards]
    outcomes = np.array(codes, dtype=np.int8)
    return Told(start, outcomes, np.zeros(outcomes.shape), unsolved or {}, {}, {"half": list(seconds)})


def proof(*lots: Told, healthy: int = 2, per_fault: int = 2, sights: dict[str, Seen] | None = None) -> Proof:
    wanted = Wanted(healthy, per_fault, seed=1, jobs=1)
    found = {name: Seen(True, True, "OUTP", "voltage", "9 V in") for name in FAULTS} if sights is None else sights
    tally = Tally(divider(), universe(divider(), *FAULTS), wanted, lots)
    return tally.proof(found, tally.hottest(), 1.0, stopped=False)


def fates(fault: FaultFound) -> tuple[int, int, int, int]:
    return fault.caught, fault.passed, fault.undecided, fault.unsolved


GOOD = told(0, "PPP", "PPP")


@pytest.mark.parametrize(
    ("board", "fate"),
    [
        ("PPF", (2, 0, 0, 0)),
        ("F..", (2, 0, 0, 0)),
        ("PUF", (2, 0, 0, 0)),
        ("PPP", (0, 2, 0, 0)),
        ("PPU", (0, 0, 2, 0)),
        ("PA.", (0, 0, 2, 0)),
        ("P..", (0, 0, 2, 0)),
    ],
)
def test_a_board_is_caught_when_it_fails_and_by_nothing_less(board: str, fate: tuple[int, int, int, int]) -> None:
    fault = of(proof(GOOD, told(2, board, board, "PPP", "PPP")), "R1:open")
    assert fates(fault) == fate


def test_a_board_without_a_solution_is_named_and_never_counted_as_caught() -> None:
    """Its ramp had failed before the circuit had no solution: nothing it said counts."""
    found = proof(GOOD, told(2, "F..", "PPF", "PPF", "PPF", unsolved={0: "half: no solution"}))
    assert fates(of(found, "R1:open")) == (1, 0, 0, 1)
    assert found.coverage.value == 1.0
    assert of(found, "R1:open").first == (("half", 1),)


def test_a_fault_without_any_solution_counts_in_full_and_as_missed() -> None:
    found = proof(GOOD, told(2, "F..", "F..", "PPF", "PPF", unsolved={0: "ramp: no solution", 1: "ramp: no solution"}))
    assert fates(of(found, "R1:open")) == (0, 0, 0, 2)
    assert found.coverage.value == pytest.approx(of(found, "R1:cold").weight)


def test_good_boards_that_fail_are_counted_with_their_line_and_all_else_apart() -> None:
    good = told(0, "PPP", "FPF", "PPF", "PPF", "PPU", "FPP", unsolved={5: "half: no solution"})
    healthy = proof(good, told(6, "PPF", "PPF", "PPF", "PPF"), healthy=6).healthy
    assert (healthy.boards, healthy.false_fails, healthy.undecided, healthy.unsolved) == (6, 3, 1, 1)
    assert healthy.causes == (("half: OUTP voltage", 2), ("ramp: INP highest current", 1))
    assert healthy.rate.value == pytest.approx(3 / 5)


def test_faults_of_which_no_board_was_done_are_left_out_and_the_others_share_the_weight() -> None:
    found = proof(GOOD, told(4, "PPF", "PPF"))
    assert [(fault.fault, fault.weight) for fault in found.faults] == [("R1:cold", 1.0)]


def test_ended_before_any_faulty_board_nothing_is_known_of_coverage() -> None:
    found = proof(GOOD)
    assert dataclasses.astuple(found.coverage) == (0.0, 0.0, 1.0)
    assert (found.faults, found.boards, found.healthy.boards) == ((), 2, 2)


@pytest.mark.parametrize(
    ("sight", "reason"),
    [
        (Seen(False, True), "tolerance hides it"),
        (Seen(False, False), "no steady reading shows it"),
        (Seen(True, True, "OUTP", "voltage", "9 V in"), "within limits: OUTP voltage with 9 V in would show it"),
        (Seen(True, True, "OUTP", "current", "9 V in"), "no line looks there: OUTP current with 9 V in would show it"),
        (Seen(True, True, "INP", "current", "9 V in"), "within limits: INP current with 9 V in would show it"),
        (Seen(True, True, where="the look itself is stopped by the board"), "the look itself is stopped by the board"),
    ],
)
def test_an_escape_has_the_reason_that_its_sight_gives(sight: Seen, reason: str) -> None:
    found = proof(GOOD, told(2, "PPP", "PPF", "PPF", "PPF"), sights={"R1:open": sight})
    assert of(found, "R1:open").reason == reason
    assert of(found, "R1:cold").reason == ""


def test_a_fault_that_was_not_looked_at_is_not_called_invisible() -> None:
    """Ctrl-C came before: to leave it out of what terminals show would make that coverage look better."""
    found = proof(GOOD, told(2, "PPP", "PPP", "PPF", "PPF"), sights={})
    escape = of(found, "R1:open")
    assert (escape.visible, escape.reason) == (True, "ended before it was looked into")
    assert found.coverage_of_visible == found.coverage


def test_a_fault_that_is_caught_by_what_only_waiting_shows_is_visible_all_the_same() -> None:
    found = proof(GOOD, told(2, "PPF", "PPF", "PPF", "PPP"), sights=dict.fromkeys(FAULTS, Seen(False, False)))
    assert [of(found, name).visible for name in FAULTS] == [True, False]


def test_a_step_takes_what_the_median_board_takes_that_gets_through_it() -> None:
    found = proof(GOOD, told(2, "PPF", "PPF", "PPF", "PPF", seconds=(1.0, 2.0, 9.0)))
    assert found.step_seconds == (0.0, 2.0)


def test_lines_that_no_faulty_board_failed_are_idle_whatever_good_ones_did() -> None:
    found = proof(told(0, "PFP", "PPP"), told(2, "FPP", "FPP", "PPP", "PPP"))
    assert found.idle_lines == ("ramp: OUTP highest voltage", "half: OUTP voltage")
