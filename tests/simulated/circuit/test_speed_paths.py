"""Many boards are solved on sparse matrices, few on dense ones: both must say the same."""

import numpy as np
import pytest
from numpy.typing import NDArray

from simulated.circuit import Circuit, OperatingPoint, Parts, SupplySetting, apply_edit, draw_parts, read_netlist
from simulated.circuit.elimination import elimination_order
from simulated.circuit.factor import Script, run

from .boards import BOARDS, bench_circuit, board, fed_board, stored

Floats = NDArray[np.float64]
MANY, FEW = 24, 8  # boards; sparse from 12 on
LATCH = "V1 raw 0 12\nR1 raw out 10\nRG g 0 1k\nQA k g 0 QN\nQB g k out QP\nRK out k 1k\nRL out 0 100\n"


def some(parts: Parts, lanes: slice) -> Parts:
    factors = {key: factor[lanes] for key, factor in parts.factors.items()}
    return Parts(len(range(parts.boards)[lanes]), factors)


def spread(circuit: Circuit, boards: int) -> Parts:
    return draw_parts(circuit.netlist, np.random.default_rng(4), boards)


def faulty(name: str, fault_id: str) -> Circuit:
    netlist = fed_board(name)
    for fault in stored(f"{name}_faults")["faults"]:
        if fault["id"] == fault_id:
            for edit in fault["edits"]:
                netlist = apply_edit(netlist, edit)
    return Circuit(netlist)


# Of each board: good; then boards in limits, with two states, swapped parts, saturated amplifiers, opened feedback.
@pytest.mark.parametrize(
    ("name", "fault"),
    [(name, "none") for name in BOARDS]
    + [("dual15", f"D{n:03}") for n in (5, 33, 54, 55, 59, 74, 90, 111)]
    + [("adj3t", f"A{n:03}") for n in (4, 14, 19, 24, 28)]
    + [("bat5", f"B{n:03}") for n in (2, 9, 13, 30, 44, 58, 59)],
)
def test_many_boards_get_what_few_get(name: str, fault: str) -> None:
    circuit = faulty(name, fault)
    parts = spread(circuit, MANY)
    many = circuit.operating_point(parts=parts)
    for start in range(0, MANY, FEW):
        lanes = slice(start, start + FEW)
        few = circuit.operating_point(parts=some(parts, lanes))
        assert (few.solved == many.solved[lanes]).all()
        # 1e-11 V as a rule; a node of B030 that only reverse currents hold comes to 1.5e-9 V
        assert np.abs(few.unknowns - many.unknowns[lanes]).max() < 5e-9


@pytest.mark.parametrize(
    "key", [("Q101", "bf"), ("DZ101", "bv"), ("DLED101", "is"), ("R108", "value"), ("VINP", "value")]
)
def test_boards_that_differ_in_one_part_get_what_they_get_from_cold(key: tuple[str, str]) -> None:
    circuit = Circuit(fed_board("dual15"))
    factors = np.linspace(0.8, 1.25, MANY)
    many = circuit.operating_point(parts=Parts(MANY, {key: factors}))
    resting = Parts(1, {key: factors[-1:]})
    # More conditions than are led by a nominal board each: sources are raised from zero.
    cold = circuit.operating_point(parts=resting, celsius=27.0 + np.append(0.0, np.linspace(1.0, 30.0, 39)))
    assert np.abs(many.unknowns[-1] - cold.unknowns[0]).max() < 1e-7
    assert np.ptp(many.unknowns, axis=0).max() > 1e-6


def on_a_bench(circuit: Circuit, lanes: slice, start: OperatingPoint | None = None) -> OperatingPoint:
    """From far below the board's need of current to far above, from no load into the limit."""
    limits = np.repeat([0.005, 0.1, 0.4, 2.0], MANY // 4)[lanes]
    supplies = {name: SupplySetting(volts=22.0, limit_amps=limits) for name in ("INP", "INN")}
    loads: dict[str, float | Floats] = {"OUTP": np.tile(np.linspace(0.0, 2.0, 6), 4)[lanes], "OUTN": 0.3}
    return circuit.operating_point(supplies=supplies, loads=loads, start=start)


def test_many_conditions_on_a_bench_get_what_few_get() -> None:
    circuit = bench_circuit(board("dual15"))
    many = on_a_bench(circuit, slice(None))
    assert many.supply_limited("INP").any() and not many.supply_limited("INP").all()
    for start in range(0, MANY, FEW):
        few = on_a_bench(circuit, slice(start, start + FEW))
        assert np.array_equal(few.modes, many.modes[start : start + FEW])
        assert np.abs(few.unknowns - many.unknowns[start : start + FEW]).max() < 1e-9


def test_many_boards_go_on_from_where_they_are() -> None:
    circuit = bench_circuit(board("dual15"))
    before = on_a_bench(circuit, slice(None))
    supplies = {name: SupplySetting(volts=22.0, limit_amps=2.0) for name in ("INP", "INN")}
    warm = circuit.operating_point(supplies=supplies, loads={"OUTP": 0.2}, start=before)
    cold = circuit.operating_point(supplies=supplies, loads={"OUTP": 0.2})
    assert np.abs(warm.unknowns - cold.unknowns[0]).max() < 1e-8


@pytest.mark.parametrize("lanes", [slice(30, 50), slice(88, 100)])
def test_a_board_among_many_is_the_same_bit_for_bit_whatever_the_company(lanes: slice) -> None:
    circuit = Circuit(fed_board("dual15"))
    parts = spread(circuit, 100)
    together = circuit.operating_point(parts=parts)
    apart = circuit.operating_point(parts=some(parts, lanes))
    assert np.array_equal(together.unknowns[lanes], apart.unknowns)


def test_shares_of_a_large_batch_are_the_same_bit_for_bit() -> None:
    circuit = Circuit(fed_board("bat5"))
    parts = spread(circuit, 2500)
    together = circuit.operating_point(parts=parts)
    assert together.solved.all()
    apart = circuit.operating_point(parts=some(parts, slice(1240, 1260)))  # on both sides of the cut at 1250
    assert np.array_equal(together.unknowns[1240:1260], apart.unknowns)


def test_spread_boards_under_several_conditions_get_what_they_get_under_each() -> None:
    circuit = Circuit(fed_board("dual15"))
    parts, rload = spread(circuit, MANY), np.tile([30.0, 1e6], MANY // 2)
    together = circuit.operating_point(parts=parts, parameters={"rload": rload})
    for at, ohms in enumerate((30.0, 1e6)):
        apart = circuit.operating_point(parts=some(parts, slice(at, None, 2)), parameters={"rload": ohms})
        assert np.abs(together.unknowns[at::2] - apart.unknowns).max() < 1e-9


def test_among_many_a_lane_without_solution_is_nan_and_touches_no_other() -> None:
    cards = "V1 a 0 {v}\nR1 a b 100\nD1 b 0 DX\nD2 a 0 DX\n.param v=0.5\n.model DX D(IS=1e-14)\n"
    circuit, volts = Circuit(read_netlist(f"t\n{cards}")), np.linspace(0.3, 0.7, MANY)
    good = circuit.operating_point(parameters={"v": volts})
    volts[5] = 50.0  # straight across D2
    point = circuit.operating_point(parameters={"v": volts})
    assert np.flatnonzero(~point.solved).tolist() == [5] and np.isnan(point.volts("b")[5])
    assert point.worst_node(5) in ("a", "b")
    assert np.array_equal(np.delete(point.unknowns, 5, axis=0), np.delete(good.unknowns, 5, axis=0))


def test_pivots_that_vanish_on_some_boards_are_not_divided_by() -> None:
    # The gain is the pivot of its equation on the nominal board, and as good as nothing on these.
    cards = "V1 a 0 1\nR1 a b 1k\nR2 b f 1k\nR3 f 0 1k\nR4 b g 1k\nR5 g 0 1k\nR6 b e 1k\nE1 c d b 0 {k}\nR7 c e 1k\n"
    cards += "R8 e 0 1k\nR9 a d 1k\nR10 d 0 1k\nD1 e 0 DX\nR11 b h 1k\nD2 h 0 DX\n.model DX D(IS=1e-30)\n"
    gains = np.append(0.0, np.logspace(-16, -11, MANY - 1))
    point = Circuit(read_netlist(f"t\n.param k=1meg\n{cards}")).operating_point(parameters={"k": gains})
    assert point.solved.all()
    assert point.volts("b") == pytest.approx(3 / 7, abs=1e-8)  # Kirchhoff's sums by hand; c is at the volts of d


def test_spread_boards_follow_the_nominal_board_where_there_are_two_states() -> None:
    models = ".param i=0\n.model QN NPN(IS=1e-14 IKF=0.5)\n.model QP PNP(IS=1e-14 IKF=0.5)\n"
    circuit = Circuit(read_netlist(f"t\n{LATCH}I1 0 g {{i}}\n{models}"))
    for amps, rests in ((0.0, True), (2e-3, False)):
        point = circuit.operating_point(parts=spread(circuit, MANY), parameters={"i": amps})
        assert ((point.volts("out") > 6.0) == rests).all()


def test_an_order_of_elimination_solves_what_a_dense_solver_solves() -> None:
    circuit = Circuit(fed_board("adj3t"))
    layout = circuit.layout
    count = int(layout.linear.entries[0].max()) + 1
    order = elimination_order((layout,), (np.ones((1, count)),))
    assert order is not None
    script = Script(order, 0, layout.size)
    matrix, right = random_system(script, layout.size)
    entries = np.array([matrix[:, row, column] for row, column in script.cells])
    unknowns, reciprocals = right.T.copy(), np.empty((layout.size, 3))
    run(script.factoring(entries, reciprocals))
    run(script.forward(entries, unknowns) + script.backward(entries, reciprocals, unknowns))
    dense = np.linalg.solve(matrix, right[:, :, None])[:, :, 0]
    assert np.abs(unknowns.T - dense).max() < 1e-9


def random_system(script: Script, size: int) -> tuple[Floats, Floats]:
    """Three matrices with entries where the script has some, heavy on the diagonal, and right-hand sides."""
    rng = np.random.default_rng(6)
    matrix = np.zeros((3, size, size))
    for row, column in script.cells:
        matrix[:, row, column] = rng.uniform(-1.0, 1.0, 3) + (20.0 if row == column else 0.0)
    return matrix, rng.uniform(-1.0, 1.0, (3, size))
