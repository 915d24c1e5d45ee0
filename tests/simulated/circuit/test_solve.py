import numpy as np
import pytest

from simulated.circuit import Circuit, CircuitError, SupplySetting, draw_parts, parse_fault, read_netlist, with_fault

from .boards import bench_circuit, board

FEED = {name: SupplySetting(volts=22.0, limit_amps=2.0) for name in ("INP", "INN")}


@pytest.fixture(scope="module")
def dual15() -> Circuit:
    return bench_circuit(board("dual15"))


def test_a_batch_gives_each_board_what_it_gets_alone(dual15: Circuit) -> None:
    parts = draw_parts(dual15.netlist, np.random.default_rng(3), 7)
    together = dual15.operating_point(parts=parts, supplies=FEED, loads={"OUTP": 0.5})
    for lane in range(7):
        alone = dual15.operating_point(parts=parts.board(lane), supplies=FEED, loads={"OUTP": 0.5})
        assert np.array_equal(alone.unknowns[0], together.unknowns[lane])


def test_a_lane_without_solution_is_nan_and_touches_no_other() -> None:
    cards = "V1 a 0 {v}\nR1 a b 100\nD1 b 0 DX\nD2 a 0 DX\n.param v=0.5\n.model DX D(IS=1e-14)\n"
    circuit = Circuit(read_netlist(f"t\n{cards}"))
    point = circuit.operating_point(parameters={"v": np.array([0.5, 50.0, 0.6])})  # 50 V straight across D2
    assert point.solved.tolist() == [True, False, True]
    assert np.isnan(point.volts("b")).tolist() == [False, True, False]
    assert point.volts("b")[2] == circuit.operating_point(parameters={"v": 0.6}).volts("b")[0]


def test_equations_that_depend_on_each_other_have_no_solution() -> None:
    point = Circuit(read_netlist("t\nE1 a 0 a 0 1\nR1 a 0 1k\n")).operating_point()
    assert not point.solved[0]
    assert point.worst_node(0) == "a"


def test_the_node_that_nothing_determines_is_named_among_others() -> None:
    point = Circuit(read_netlist("t\nV1 in 0 5\nR1 in b 1k\nR2 b 0 1k\nE9 z 0 z 0 1\nR9 z 0 1k\n")).operating_point()
    assert not point.solved[0]
    assert point.worst_node(0) == "z"


def test_a_start_leads_to_the_same_point(dual15: Circuit) -> None:
    cold = dual15.operating_point(supplies=FEED, loads={"OUTP": 0.8})
    start = dual15.operating_point(supplies=FEED)
    warm = dual15.operating_point(supplies=FEED, loads={"OUTP": 0.8}, start=start)
    assert warm.unknowns == pytest.approx(cold.unknowns, abs=1e-8)


def test_a_start_serves_every_board_of_a_batch(dual15: Circuit) -> None:
    parts = draw_parts(dual15.netlist, np.random.default_rng(5), 20)
    start = dual15.operating_point(supplies=FEED)
    warm = dual15.operating_point(parts=parts, supplies=FEED, start=start)
    cold = dual15.operating_point(parts=parts, supplies=FEED)
    assert warm.unknowns == pytest.approx(cold.unknowns, abs=1e-8)


def test_a_start_of_another_circuit_is_not_used(dual15: Circuit) -> None:
    other = Circuit(read_netlist("t\nV1 a 0 5\nR1 a 0 1\n")).operating_point()
    assert dual15.operating_point(supplies=FEED, start=other).solved[0]


def test_of_two_states_the_one_a_power_up_ramp_reaches_is_found() -> None:
    # A latch of two transistors: with 12 V it rests, unless its gate has ever been driven.
    cards = "V1 raw 0 12\nR1 raw out 10\nRG g 0 1k\nQA k g 0 QN\nQB g k out QP\nRK out k 1k\nRL out 0 100\n"
    models = ".model QN NPN(IS=1e-14 IKF=0.5)\n.model QP PNP(IS=1e-14 IKF=0.5)\n"
    resting = Circuit(read_netlist(f"t\n{cards}{models}")).operating_point()
    fired = Circuit(read_netlist(f"t\n{cards}I1 0 g 2m\n{models}")).operating_point()
    assert resting.volts("out")[0] == pytest.approx(12 * 100 / 110, abs=1e-3)
    assert fired.volts("out")[0] < 1.2


def test_a_fired_latch_stays_fired_when_started_there() -> None:
    cards = "V1 raw 0 12\nR1 raw out 10\nRG g 0 1k\nQA k g 0 QN\nQB g k out QP\nRK out k 1k\nRL out 0 100\nI1 0 g {i}\n"
    models = ".param i=2m\n.model QN NPN(IS=1e-14 IKF=0.5)\n.model QP PNP(IS=1e-14 IKF=0.5)\n"
    circuit = Circuit(read_netlist(f"t\n{cards}{models}"))
    fired = circuit.operating_point()
    assert circuit.operating_point(parameters={"i": 0.0}, start=fired).volts("out")[0] < 1.2


def test_the_currents_into_a_transistor_add_up_to_nothing() -> None:
    # Ammeters in all three leads, base resistance falling with current.
    cards = "V1 c1 0 5\nVC c1 c 0\nR1 c1 b1 10k\nVB b1 b 0\nQ1 c b e QX\nVE e e1 0\nR2 e1 0 100\n"
    model = ".model QX NPN(IS=1e-15 BF=90 VAF=50 IKF=5m RB=200 RBM=20 RC=2 RE=1)\n"
    point = Circuit(read_netlist(f"t\n{cards}{model}")).operating_point()
    collector, base, emitter = (-point.branch_amps(name)[0] for name in ("VC", "VB", "VE"))
    assert collector > 1e-3
    # 5 pA flow by gmin into the substrate, which SPICE ties to the collector
    assert collector + base == pytest.approx(emitter, abs=1e-11)


def test_temperature_is_one_value_or_one_per_board(dual15: Circuit) -> None:
    point = dual15.operating_point(supplies=FEED, celsius=np.array([0.0, 60.0]))
    single = dual15.operating_point(supplies=FEED, celsius=60.0)
    assert point.volts("outp")[1] == single.volts("outp")[0]
    # dual15's sheet: drift of about +1.3 mV/K
    assert (point.volts("outp")[1] - point.volts("outp")[0]) / 60 == pytest.approx(1.3e-3, abs=0.3e-3)


def test_the_netlists_own_temperature_counts_where_none_is_given() -> None:
    cards = "t\n.temp 77\nV1 a 0 1\nR1 a b 1k tc1=10m\nR2 b 0 1k\n"
    circuit = Circuit(read_netlist(cards))
    assert circuit.operating_point().volts("b")[0] == pytest.approx(1000 / 2500)
    assert circuit.operating_point(celsius=27.0).volts("b")[0] == pytest.approx(0.5)


def test_an_unknown_node_is_told_with_near_ones(dual15: Circuit) -> None:
    with pytest.raises(CircuitError, match="there is no node 'outq'; write one of out"):
        dual15.operating_point(supplies=FEED).volts("outq")


def test_ground_is_zero(dual15: Circuit) -> None:
    point = dual15.operating_point(supplies=FEED)
    assert point.volts("0")[0] == point.volts("GND")[0] == 0.0


@pytest.mark.parametrize("fault", ["R108:open", "R206:open", "DZ101:reversed", "RF101:open", "C105:reversed"])
def test_a_faulty_board_is_solved_on_a_limited_bench(fault: str) -> None:
    circuit = bench_circuit(with_fault(board("dual15"), parse_fault(fault)))
    supplies = {name: SupplySetting(volts=22.0, limit_amps=0.15) for name in ("INP", "INN")}
    assert circuit.operating_point(supplies=supplies).solved[0]


def test_a_start_of_several_boards_goes_on_board_by_board(dual15: Circuit) -> None:
    start = dual15.operating_point(supplies=FEED, celsius=np.array([0.0, 60.0]))
    again = dual15.operating_point(supplies=FEED, celsius=60.0, start=start)
    assert again.volts("outp") == pytest.approx(start.volts("outp")[1], abs=1e-8)


def test_a_netlist_too_large_for_a_dense_matrix_is_refused() -> None:
    ladder = "\n".join(f"R{at} n{at} n{at + 1} 1k" for at in range(4000))
    with pytest.raises(CircuitError, match="has 4001 nodes, the solver takes 3000 at most"):
        Circuit(read_netlist(f"t\n{ladder}\nR0Z n0 0 1\n"))
