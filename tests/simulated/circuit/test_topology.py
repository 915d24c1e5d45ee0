import pytest

from simulated.circuit import Circuit, SupplyEnd, TopologyError, read_netlist

WRONG = {
    "V1 a 0 5\nV2 a 0 6\nR1 a 0 1": "V1, V2 form a loop of voltage sources between nodes a and 0",
    "V1 a b 5\nE1 b 0 a 0 2\nV2 a 0 6": "V1, E1, V2|V1, V2, E1|V2, V1, E1",
    "V1 a 0 5\nL1 a 0 1m": "V1, L1 form a loop",
    "V1 a a 5\nR1 a 0 1": "V1 has both ends on node a",
    "I1 0 a 1m\nC1 a 0 1u\nR1 b 0 1": "current source I1 feeds node a, which has no DC path to ground",
    "R1 0 gnd 1": "all elements are on ground",
}


@pytest.mark.parametrize("cards", WRONG)
def test_what_cannot_be_solved_is_told_by_names(cards: str) -> None:
    with pytest.raises(TopologyError, match=WRONG[cards]):
        Circuit(read_netlist(f"t\n{cards}\n"))


def test_a_supply_across_a_source_is_a_loop_too() -> None:
    with pytest.raises(TopologyError, match="V1, supply INP form a loop"):
        Circuit(read_netlist("t\nV1 a 0 5\nR1 a 0 1\n"), supplies=(SupplyEnd("INP", "a", "0"),))


def test_coils_in_parallel_share_their_current() -> None:
    point = Circuit(read_netlist("t\nV1 a 0 5\nR1 a b 5\nL1 b 0 1m\nL2 b 0 2m\n")).operating_point()
    assert point.branch_amps("L1")[0] == pytest.approx(-0.5)


def test_nodes_without_a_path_to_ground_are_named_and_solved() -> None:
    circuit = Circuit(read_netlist("t\nV1 a 0 5\nC1 a b 1u\nR1 b c 1k\n", name="n"))
    assert circuit.warnings == ("n: no DC path to ground from b, c (on C1, R1); held there by 1e-12 S",)
    assert circuit.operating_point().volts("c")[0] == pytest.approx(0.0)


def test_an_integrator_inside_a_feedback_loop_needs_no_path_to_ground() -> None:
    cards = "V1 ref 0 2.5\nG1 0 a ref fb 1m\nC1 a 0 1n\nE1 out 0 a 0 1\nR1 out fb 1k\nR2 fb 0 1k\n"
    point = Circuit(read_netlist(f"t\n{cards}")).operating_point()
    assert point.volts("out")[0] == pytest.approx(5.0, rel=1e-6)
