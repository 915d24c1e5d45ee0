from collections.abc import Mapping

import numpy as np
import pytest

from simulated.circuit import Circuit, CircuitError, Parts, draw_parts, nominal_parts, parse_fault, with_fault

from .boards import board, fed_board


def drawn(boards: int = 2000, seed: int = 1, tolerances: Mapping[str, float] | None = None) -> Parts:
    return draw_parts(board("dual15"), np.random.default_rng(seed), boards, tolerances)


@pytest.mark.parametrize(
    ("part", "parameter", "low", "high"),
    [
        ("R108", "value", 0.99, 1.01),
        ("RV101A", "value", 0.99, 1.01),
        ("C101", "value", 0.80, 1.20),
        ("Q101", "bf", np.exp(-0.3), np.exp(0.3)),
        ("DZ101", "bv", 0.97, 1.03),
    ],
)
def test_a_part_spreads_over_its_tolerance(part: str, parameter: str, low: float, high: float) -> None:
    factors = drawn().factors[part, parameter]
    assert low <= factors.min() < low + 0.02 * (high - low)
    assert high >= factors.max() > high - 0.02 * (high - low)


def test_rectifiers_and_parts_inside_subcircuits_are_not_varied() -> None:
    names = {name for name, _ in drawn(boards=1).factors}
    assert "D101" not in names
    assert not [name for name in names if "." in name]


def test_a_tolerance_of_its_own_replaces_the_default() -> None:
    parts = drawn(tolerances={"R108": 0.05, "RV101": 0.2, "XU101.R1": 0.5})
    assert 0.045 < np.abs(parts.factors["R108", "value"] - 1).max() <= 0.05
    assert 0.19 < np.abs(parts.factors["RV101B", "value"] - 1).max() <= 0.2
    assert 0.45 < np.abs(parts.factors["XU101.R1", "value"] - 1).max() <= 0.5


def test_a_tolerance_of_an_unknown_part_is_told() -> None:
    with pytest.raises(CircuitError, match="no part 'R1080' with a tolerance in dual15; write one of R108"):
        drawn(tolerances={"R1080": 0.01})


def test_one_seed_gives_the_same_boards_whatever_their_number() -> None:
    few, many = drawn(boards=3, seed=9), drawn(boards=50, seed=9)
    assert all(np.array_equal(few.factors[key], many.factors[key][:3]) for key in few.factors)


def test_a_faulty_board_keeps_the_parts_it_was_drawn_with() -> None:
    faulty = with_fault(board("dual15"), parse_fault("R105:short"))
    parts = draw_parts(faulty, np.random.default_rng(1), 5)
    assert all(np.array_equal(parts.factors[key], drawn(boards=5).factors[key]) for key in parts.factors)


def test_a_factor_moves_the_output_as_the_divider_says() -> None:
    circuit = Circuit(fed_board("dual15"))
    nominal = circuit.operating_point(parts=nominal_parts(circuit.netlist)).volts("vp")[0]
    raised = circuit.operating_point(parts=Parts(1, {("R108", "value"): np.array([1.01])})).volts("vp")[0]
    # Vout = Vref (R108 + RV101 + R109) / (R109 + half of RV101), 82 ohm more above: hand check of the sheet
    assert raised - nominal == pytest.approx(5.6094 * 82 / 5200.5, rel=2e-3)


def test_factors_of_the_wrong_length_are_refused() -> None:
    with pytest.raises(CircuitError, match="give 3 finite numbers"):
        Parts(3, {("R1", "value"): np.array([1.0, 1.0])})
