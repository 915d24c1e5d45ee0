import math
from functools import cache
from pathlib import Path

import pytest

from simulated.circuit import read_netlist, universe
from station.likelihood import RepairCounts, fault_classes, likelihoods
from station.shares import failure_modes, rows_of

BOARDS = Path(__file__).parents[2] / "profiles"
OPEN, BRIDGE, COLD = "open or missing joint", "solder bridge", "cold joint"
THREE = (("R1:open", OPEN), ("R2:open", OPEN), ("R3:open", OPEN), ("R1:short", BRIDGE))


@cache
def listed(board: str) -> tuple[tuple[str, str], ...]:
    path = BOARDS / board / "board.cir"
    netlist = read_netlist(path.read_text(encoding="utf-8"), name=path.name)
    return tuple((str(defect.fault), defect.fault_class.value) for defect in universe(netlist))


def weights_of(*defects: tuple[str, str], repairs: RepairCounts | None = None) -> dict[str, float]:
    found = likelihoods(defects, repairs)
    return {fault: weight for (fault, _), weight in zip(defects, found.weights, strict=True)}


@pytest.mark.parametrize("board", ["dual15", "adj3t", "bat5"])
def test_every_fault_of_a_board_weighs_something_and_all_together_one(board: str) -> None:
    found = likelihoods(listed(board))
    assert min(found.weights) > 0.0
    assert math.fsum(found.weights) == pytest.approx(1.0, rel=1e-12)


def test_the_tables_add_up() -> None:
    assert sum(float(row["percent"]) for row in rows_of("assembly_priors.csv")) == 100.0
    assert {part: sum(m.share for m in modes) for part, modes in failure_modes().items()} == pytest.approx(
        dict.fromkeys(failure_modes(), 1.0)
    )


def test_an_open_part_stands_for_its_joints_for_itself_missing_and_for_a_burnt_one() -> None:
    found = weights_of(*THREE)
    # Opens: (24 + 4) / 3 each, and 2 x 0.59 / 3 damaged. R1's short: 12, and 2 x 0.05 / 3 damaged.
    each, short = 28.0 / 3.0 + 2.0 * 0.59 / 3.0, 12.0 + 2.0 * 0.05 / 3.0
    assert found["R2:open"] == pytest.approx(each / (3.0 * each + short), rel=1e-12)
    assert found["R1:short"] == pytest.approx(short / (3.0 * each + short), rel=1e-12)


def test_a_two_legged_part_has_the_cold_joints_of_two_pins() -> None:
    found = weights_of(("R1:cold", COLD), ("Q1.c:cold", COLD), ("Q1.b:cold", COLD))
    assert found["R1:cold"] == pytest.approx(2.0 * found["Q1.c:cold"], rel=1e-12)
    assert found["Q1.b:cold"] == pytest.approx(found["Q1.c:cold"], rel=1e-12)


def test_a_part_with_more_wrong_values_is_no_likelier_to_be_wrong() -> None:
    value = "wrong value: neighbour or confusion"
    found = weights_of(("C1:value:22n", value), ("C1:value:47n", value), ("C2:value:4.7n", value))
    assert found["C1:value:22n"] + found["C1:value:47n"] == pytest.approx(found["C2:value:4.7n"], rel=1e-12)


def test_a_damaged_transistor_shorts_by_its_published_share() -> None:
    pairs, pins = ("c-b", "c-e", "b-e"), "cbe"
    defects = [(f"Q1.{pair}:short", BRIDGE) for pair in pairs] + [(f"Q1.{pin}:open", OPEN) for pin in pins]
    found = weights_of(*defects)
    short, lost = 12.0 + 2.0 * 0.73, 28.0 + 2.0 * 0.27
    assert found["Q1.c-e:short"] == pytest.approx(short / 3.0 / (short + lost), rel=1e-12)


def test_dried_out_electrolytics_and_drifted_references_get_the_shares_of_their_modes() -> None:
    weights = dict(zip([fault for fault, _ in listed("bat5")], likelihoods(listed("bat5")).weights, strict=True))
    assert weights["DZ1:cold:250"] / weights["C1:cold:5"] == pytest.approx(0.69 / (0.10 + 0.02), rel=1e-9)
    assert weights["DZ1:cold:250"] == pytest.approx(weights["DZ1:bridge:12000"], rel=1e-9)


def test_a_bridge_between_nodes_is_no_part_that_can_be_damaged() -> None:
    found = likelihoods([("c1-r1:bridge", BRIDGE), ("Q1-x.a:bridge", BRIDGE)])
    assert found.weights == (0.5, 0.5)
    assert ("damaged part", 0.02) in [(left.name, left.weight) for left in found.left_out]


def test_what_no_fault_of_the_board_stands_for_is_listed_with_its_weight() -> None:
    left = {found.name: found.weight for found in likelihoods(THREE).left_out}
    assert left["insulator missing"] == pytest.approx(0.02)
    assert left["look-alike swapped"] == pytest.approx(0.06)
    # R1 drifts; R2 and R3 drift and short.
    assert left["damaged part: film resistor, parameter change"] == pytest.approx(0.02 * 0.36)
    assert left["damaged part: film resistor, short"] == pytest.approx(0.02 * 0.05 * 2 / 3)


@pytest.mark.parametrize("board", ["dual15", "adj3t", "bat5"])
def test_the_boards_have_a_fault_of_every_class_but_the_insulator(board: str) -> None:
    left = [found.name for found in likelihoods(listed(board)).left_out]
    assert [name for name in left if name in fault_classes()] == ["insulator missing"]


def test_what_is_left_out_and_what_is_not_are_all_that_happens() -> None:
    left = likelihoods([("RF1:blown", "fuse")]).left_out
    assert math.fsum(found.weight for found in left) == pytest.approx(0.99)  # the fuse is 1 %


def test_a_board_without_faults_leaves_everything_out() -> None:
    found = likelihoods(())
    assert found.weights == ()
    assert math.fsum(left.weight for left in found.left_out) == pytest.approx(1.0)


def test_counted_repairs_move_a_class_as_the_formula_says() -> None:
    # (prior x 20 + count) / (20 + total): opens 28 %, bridges 12 % of 20, with 12 and 4 counted among 16.
    # A transformer (T1) has no modes in the table, so damage adds nothing here.
    defects = (("T1:open", OPEN), ("T2:open", OPEN), ("a-b:bridge", BRIDGE))
    found = weights_of(*defects, repairs=RepairCounts(by_class=((OPEN, 12), (BRIDGE, 4))))
    lost, bridged = (0.28 * 20 + 12) / 36, (0.12 * 20 + 4) / 36
    assert found["T1:open"] == pytest.approx(lost / 2 / (lost + bridged), rel=1e-12)


def test_counts_of_a_single_fault_are_its_own() -> None:
    defects = (("T1:open", OPEN), ("T2:open", OPEN))
    found = weights_of(*defects, repairs=RepairCounts(by_fault=(("T2:open", 8),)))
    each = 0.28 * 20 / 2
    assert found["T2:open"] == pytest.approx((each + 8) / (2 * each + 8), rel=1e-12)


def test_no_repairs_change_nothing() -> None:
    assert likelihoods(THREE, RepairCounts()) == likelihoods(THREE)


def test_counts_of_what_the_board_cannot_have_weigh_on_what_is_left_out() -> None:
    found = likelihoods(THREE, RepairCounts(by_class=(("insulator missing", 20),)))
    assert {left.name: left.weight for left in found.left_out}["insulator missing"] == pytest.approx(0.51)


@pytest.mark.parametrize(
    ("defects", "repairs", "message"),
    [
        ((("R1:open", "opens"),), None, "'opens' is no class of faults; write one of cold joint, damaged part"),
        ((("R1:open", OPEN), ("R1:open", OPEN)), None, "a fault is listed twice"),
        ((("T1:odd", "damaged part"),), None, "T1:odd stands for no mode of failure"),
        (THREE, RepairCounts(by_class=(("opens", 1),)), "repairs are counted of 'opens'; write one of open or missing"),
        (THREE, RepairCounts(by_fault=(("R9:open", 1),)), "'R9:open', which is no fault of this board"),
    ],
)
def test_what_does_not_fit_the_tables_is_refused(defects, repairs, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        likelihoods(defects, repairs)


def test_a_count_below_zero_is_refused() -> None:
    with pytest.raises(ValueError, match="'cold joint' was found -1 times"):
        RepairCounts(by_class=((COLD, -1),))
