import pytest

from simulated.circuit import CircuitError, capacitance_at, read_netlist

from .boards import board


@pytest.mark.parametrize(
    ("node", "farads"),
    [
        ("outp", 100e-6 + 100e-9),  # C105 behind 0.15 ohm and C106, beyond 20 mohm of track
        ("OUTN", 100e-6 + 100e-9),
        ("inp", 2200e-6 + 100e-9),  # beyond the fuse
        ("pref", 1e-6),
        ("po", 0.0),
        ("gnd", 0.0),
    ],
)
def test_a_nodes_capacitance_counts_what_small_resistors_join(node: str, farads: float) -> None:
    assert capacitance_at(board("dual15"), node, {}) == pytest.approx(farads, rel=1e-9)


def test_a_parameter_can_part_a_node_from_its_capacitor() -> None:
    netlist = read_netlist("t\n.param r=1\nR1 a b {r}\nC1 b 0 1u\nR2 a 0 1k\n")
    assert capacitance_at(netlist, "a", {}) == pytest.approx(1e-6)
    assert capacitance_at(netlist, "a", {"r": 100.0}) == 0.0


def test_an_unknown_node_is_told() -> None:
    with pytest.raises(CircuitError, match="dual15 has no node 'outx'"):
        capacitance_at(board("dual15"), "outx", {})
