from collections.abc import Mapping

import numpy as np
import pytest

from simulated.circuit import (
    Circuit,
    CircuitError,
    Parts,
    draw_parts,
    nominal_parts,
    parse_fault,
    with_fault,
    with_offsets,
)

from .boards import board, fed_board


def drawn(boards: int = 2000, seed: int = 1, tolerances: Mapping[str, float] | None = None) -> Parts:
    return draw_parts(board("dual15"), np.random.default_rng(seed), boards, tolerances)


@pytest.mark.parametrize(
    ("part", "parameter", "low", "high"),
    [
        ("R108", "value", 0.99, 1.01),
        ("R106", "value", 0.95, 1.05),  # half an ohm: wirewound
        ("RF101", "value", 0.80, 1.20),
        ("RV101A", "value", 0.90, 1.10),
        ("C101", "value", 0.80, 1.20),
        ("C102", "value", 0.90, 1.10),
        ("Q101", "bf", np.exp(-0.5), np.exp(0.5)),
        ("DZ101", "bv", 0.95, 1.05),
    ],
)
def test_a_part_spreads_over_its_tolerance(part: str, parameter: str, low: float, high: float) -> None:
    factors = drawn().factors[part, parameter]
    assert low <= factors.min() < low + 0.02 * (high - low)
    assert high >= factors.max() > high - 0.02 * (high - low)


def test_a_leds_forward_voltage_spreads_by_a_tenth_of_a_volt() -> None:
    circuit = Circuit(fed_board("dual15"))
    drawn_is = {("DLED102", "is"): drawn().factors["DLED102", "is"]}
    volts = circuit.operating_point(parts=Parts(2000, drawn_is)).volts("pl")
    # 2.7 kohm in series takes next to nothing of it; 2.03 V is the sheet's figure.
    assert (volts.min(), volts.max()) == pytest.approx((1.93, 2.13), abs=2e-3)


def test_the_halves_of_a_trimmer_grow_and_shrink_together() -> None:
    factors = drawn().factors
    assert np.array_equal(factors["RV101A", "value"], factors["RV101B", "value"])
    assert not np.array_equal(factors["RV101A", "value"], factors["RV201A", "value"])
    assert ("RV101W", "value") not in factors


def test_a_normal_spread_has_a_third_of_the_tolerance_and_ends_there() -> None:
    normal = draw_parts(board("dual15"), np.random.default_rng(1), 20_000, spread="normal").factors["R108", "value"]
    # sigma of a normal distribution cut at three sigma: 0.98658 of the uncut one (its variance is 0.97334)
    assert normal.std() == pytest.approx(0.01 / 3.0 * 0.98658, rel=0.02)
    assert 0.0095 < np.abs(normal - 1.0).max() <= 0.01


def test_matched_parts_share_their_draw() -> None:
    parts = draw_parts(board("bat5"), np.random.default_rng(1), 100, matched=[["Q2", "Q3"]])
    assert np.array_equal(parts.factors["Q2", "bf"], parts.factors["Q3", "bf"])
    assert not np.array_equal(parts.factors["Q2", "bf"], parts.factors["Q6", "bf"])


def test_an_offset_moves_the_output_as_the_divider_says() -> None:
    netlist = with_offsets(fed_board("dual15"), ["XU101.inp"])
    parts = draw_parts(netlist, np.random.default_rng(1), 100, {}, offsets={"XU101.inp": 3e-3})
    only = Parts(100, {key: factor for key, factor in parts.factors.items() if key[0].startswith("VOFFSET")})
    volts = Circuit(netlist).operating_point(parts=only).volts("vp")
    # 3 mV times (R108 + RV101 + R109) / (R109 + half of RV101), either way: hand check of the sheet
    assert np.ptp(volts) == pytest.approx(2 * 3e-3 * 13901 / 5200.5, rel=0.03)


def test_the_nominal_board_has_no_offset_that_shows() -> None:
    points = [
        Circuit(n).operating_point() for n in (fed_board("dual15"), with_offsets(fed_board("dual15"), ["XU101.inp"]))
    ]
    assert points[0].volts("vp")[0] == pytest.approx(points[1].volts("vp")[0], abs=1e-8)


@pytest.mark.parametrize(
    ("pin", "message"), [("XU101.plus", "write one of inp, inn, vcc, vee, out"), ("R1", "no part 'R1'")]
)
def test_an_offset_at_no_pin_is_told(pin: str, message: str) -> None:
    with pytest.raises(CircuitError, match=message):
        with_offsets(board("dual15"), [pin])


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


def test_a_board_of_a_batch_is_the_same_from_another_worker() -> None:
    batch = drawn(boards=20, seed=9)
    late = draw_parts(board("dual15"), np.random.default_rng(9), 2, first=17)
    assert all(np.array_equal(late.factors[key], batch.factors[key][17:19]) for key in batch.factors)


@pytest.mark.parametrize(
    "text", ["R105:short", "Q101.b:open", "DZ101:swapped:DRECT", "RV101:end:1", "XU101.R1:value:1k"]
)
def test_a_fault_moves_no_other_part(text: str) -> None:
    parts = draw_parts(with_fault(board("dual15"), parse_fault(text)), np.random.default_rng(1), 5)
    healthy = drawn(boards=5)
    assert len(parts.factors) >= len(healthy.factors) - 1
    assert all(np.array_equal(factor, healthy.factors[key]) for key, factor in parts.factors.items())


def test_a_tolerance_of_its_own_moves_no_other_part() -> None:
    parts, usual = drawn(5, tolerances={"XU101.R1": 0.5, "R108": 0.05}), drawn(5)
    assert all(np.array_equal(parts.factors[key], usual.factors[key]) for key in usual.factors if key[0] != "R108")


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
