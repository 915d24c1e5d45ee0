"""Three resistors, whose proof can be worked out on paper: every fault is caught on all boards or on none.

The classes that a board of resistors has weigh, in percent of all that happens (assembly_priors.csv): open joints 24
and missing parts 4, cold joints 14, bridges 12, neighbours 9, decades 7, damaged parts 2: together 72. Of damaged
resistors 59 % are open, 36 % have drifted (the neighbour above), 5 % are short. So each resistor weighs 24 of 72:

    open                  (28 + 2 * 0.59) / 3 = 29.18 / 3      /10 and x10           7 / 3 / 2 = 3.5 / 3 each
    cold                                  14 / 3               neighbour+   (9 / 3 + 2 * 0.36) / 3 = 3.72 / 3
    short                 (12 + 2 * 0.05) / 3 = 12.10 / 3      neighbour-, band1=red         9 / 3 / 3 = 3 / 3 each

Of R1 and R2, open, short, the decades and 2 kohm for 1 kohm leave 5 V by more than 10 %; 1.1 kohm, 910 ohm and 100 ohm
in series leave it by 5 %. Of R3, which draws 10 uA, only a short shows at all: the supply reaches its limit.
"""

from functools import cache

import pytest

from station.proof import Proof
from tests.dividers import divider
from tests.station.proving import of, prove

CAUGHT = 29.18 + 12.10 + 3.5 + 3.5 + 3.0  # thirds of 72, of R1 or R2
SHORT = 12.10
NO_STEADY = "no steady reading shows it"
WITHIN = "within limits: OUTP voltage with 11 V in, no load would show it"


@cache
def paper() -> Proof:
    return prove(divider())


def test_the_coverage_of_three_resistors_is_what_paper_says() -> None:
    assert paper().coverage.value == pytest.approx((2 * CAUGHT + SHORT) / 3 / 72, rel=1e-14)


def test_the_coverage_of_what_terminals_show_is_what_paper_says() -> None:
    assert paper().coverage_of_visible.value == pytest.approx((2 * CAUGHT + SHORT) / (2 * 72 + SHORT), rel=1e-14)


@pytest.mark.parametrize(
    ("kind", "thirds", "step"),
    [
        ("open", 29.18, "half"),
        ("cold", 14.0, ""),
        ("short", 12.1, "half"),
        ("value:x10", 3.5, "half"),
        ("value:/10", 3.5, "half"),
        ("value:neighbour+", 3.72, ""),
        ("value:neighbour-", 3.0, ""),
        ("value:band1=red", 3.0, "half"),
    ],
)
@pytest.mark.parametrize("part", ["R1", "R2"])
def test_a_fault_of_the_divider_is_caught_on_all_boards_or_on_none(part: str, kind: str, thirds: float, step: str):
    fault = of(paper(), f"{part}:{kind}")
    assert fault.weight == pytest.approx(thirds / 3 / 72, rel=1e-14)
    assert (fault.caught, fault.passed, fault.undecided, fault.unsolved) == ((4, 0, 0, 0) if step else (0, 4, 0, 0))
    assert fault.first == (((step, 4),) if step else ())
    assert (fault.visible, fault.reason) == (True, "" if step else WITHIN)


def test_only_a_short_of_the_resistor_that_draws_next_to_nothing_shows() -> None:
    found = {fault.fault: fault for fault in paper().faults if fault.fault.startswith("R3")}
    short = found.pop("R3:short")
    assert (short.caught, short.first, short.visible) == (4, (("ramp", 4),), True)
    assert len(found) == 7
    assert {(each.passed, each.visible, each.reason) for each in found.values()} == {(4, False, NO_STEADY)}


def test_escapes_come_the_heaviest_first() -> None:
    thirds = [round(fault.escaping * 3 * 72, 9) for fault in paper().escapes]
    assert thirds == [29.18, 14.0, 14.0, 14.0, 3.72, 3.72, 3.72, 3.5, 3.5, 3.0, 3.0, 3.0, 3.0]


def test_each_step_adds_on_paper_what_it_was_the_first_to_catch() -> None:
    proof = paper()
    assert proof.steps == ("ramp", "half")
    assert proof.as_written.coverage == pytest.approx([SHORT / 216, (2 * CAUGHT + SHORT) / 216], rel=1e-14)
    assert proof.idle_lines == ("ramp: OUTP highest voltage",)  # R2 open gives 10 V, which the ceiling allows


def test_what_three_resistors_can_not_have_is_left_out_by_name_and_weight() -> None:
    left = {each.name: each.weight for each in paper().left_out}
    assert len(left) == 7 and left["trimmer"] == pytest.approx(0.02)
    assert sum(left.values()) == pytest.approx(0.28)


def test_harm_is_what_a_fault_does_and_not_what_a_good_board_does_too() -> None:
    """Without R3 the output is as far off at 11 V in as it is with it; 1.1 kohm for R2 adds 5 % to that."""
    assert of(paper(), "R3:open").harm == ()
    assert of(paper(), "R2:value:neighbour+").harm == ("OUTP at 5.76 V with 11 V in, no load",)


def test_every_board_of_a_divider_without_a_fault_passes() -> None:
    healthy = paper().healthy
    assert (healthy.boards, healthy.false_fails, healthy.undecided, healthy.unsolved) == (20, 0, 0, 0)
    assert paper().boards == 20 + 24 * 4
