"""Boards with different faults are solved together: each must get what it gets from a solve of its own circuit."""

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from simulated.circuit import (
    Circuit,
    CircuitError,
    OperatingPoint,
    Parts,
    SupplySetting,
    apply_edit,
    draw_parts,
    parse_fault,
    read_netlist,
    with_fault,
)
from simulated.circuit.fleet import Fleet

from .boards import BOARDS, bench_circuit, board, deviation, fed_board, load_ohms, stored
from .test_demo_boards import reached_nodes
from .test_speed_paths import LATCH

Lanes = NDArray[np.intp]
LOADS = ("noload", "half")
FAULT_VOLTS = 5e-7  # the digits of the stored results, as test_demo_boards has it
# A value, a bridge, lifted and cold pins, leads rotated, diodes turned and short, models swapped, a leaking capacitor.
FAULTS = (
    *("R109:value:470", "pref-pfb:bridge", "Q101.b:open", "R106:cold", "Q101:rotated", "DZ101:reversed", "D103:short"),
    *("DZ101:swapped:DRECT", "Q102:swapped", "C103:reversed", "RV101:end:1", "XU101.inn:open"),
)
EACH = 3  # boards of each fault


def circuits_of(name: str) -> list[Circuit]:
    """The healthy board, then all stored faults of it."""
    netlists = [fed_board(name)]
    for fault in stored(f"{name}_faults")["faults"]:
        netlist = fed_board(name)
        for edit in fault["edits"]:
            netlist = apply_edit(netlist, edit)
        netlists.append(netlist)
    return [Circuit(netlist) for netlist in netlists]


def everyone(fleet: Fleet) -> NDArray[np.intp]:
    return np.arange(fleet.lanes)


@pytest.mark.parametrize("name", BOARDS)
def test_every_stored_fault_agrees_when_all_are_solved_together(name: str) -> None:
    circuits = circuits_of(name)
    fleet = Fleet(circuits, [Parts(1)] * len(circuits))
    for load in LOADS:
        fleet.forget()
        point = fleet.solve(everyone(fleet), parameters={"rload": load_ohms(name, load)})
        assert point.solved.all()
        for at, fault in enumerate(stored(f"{name}_faults")["faults"], start=1):
            worst = deviation(point.of(at), 0, reached_nodes(fault, load))
            assert worst[0] < FAULT_VOLTS, (fault["id"], load, *worst)


@pytest.mark.parametrize("name", BOARDS)
def test_spread_boards_of_every_third_fault_get_what_their_own_circuit_says(name: str) -> None:
    circuits = circuits_of(name)[::3]
    parts = draw_parts(fed_board(name), np.random.default_rng(7), 4)
    fleet = Fleet(circuits, [parts] * len(circuits))
    point = fleet.solve(everyone(fleet), parameters={"rload": load_ohms(name, "half")})
    for at, circuit in enumerate(circuits):
        own = circuit.operating_point(parts=parts, parameters={"rload": load_ohms(name, "half")})
        assert np.array_equal(own.solved, point.of(at).solved)
        assert np.abs(own.unknowns - point.of(at).unknowns).max() < 1e-7


def on_a_bench() -> tuple[list[Circuit], list[Parts]]:
    netlists = [board("dual15"), *(with_fault(board("dual15"), parse_fault(text)) for text in FAULTS)]
    parts = draw_parts(board("dual15"), np.random.default_rng(5), EACH * len(netlists))
    shares = [slice(at, at + EACH) for at in range(0, parts.boards, EACH)]
    each = [Parts(EACH, {key: factor[share] for key, factor in parts.factors.items()}) for share in shares]
    return [bench_circuit(netlist) for netlist in netlists], each


def asked(round_: int, lanes: int, which: Lanes | slice = slice(None)) -> dict[str, Any]:
    """Settings of a round, different for every lane: inputs rise, then loads grow into limits."""
    own = np.linspace(0.0, 1.0, lanes)[which]
    volts = np.minimum(2.0 + 5.0 * round_ + own, 22.0 + 0.1 * own)
    drawn = max(round_ - 4, 0) * (0.1 + 0.2 * own)
    return {
        "supplies": {name: SupplySetting(volts=volts, limit_amps=0.15 + own) for name in ("INP", "INN")},
        "loads": {"OUTP": drawn, "OUTN": 0.5 * drawn},
        "parameters": {"trim_p": 0.3 + 0.4 * own},
        "celsius": 27.0 + 0.5 * round_ + 3.0 * own,
    }


def test_boards_go_on_from_where_they_are_as_they_do_in_their_own_circuit() -> None:
    circuits, parts = on_a_bench()
    fleet = Fleet(circuits, parts)
    own: list[OperatingPoint | None] = [None] * len(circuits)
    limited = np.zeros(0, dtype=bool)
    for round_ in range(8):
        point = fleet.solve(everyone(fleet), **asked(round_, fleet.lanes))
        for at, circuit in enumerate(circuits):
            lanes = slice(EACH * at, EACH * (at + 1))
            own[at] = told = circuit.operating_point(
                parts=parts[at], start=own[at], **asked(round_, fleet.lanes, lanes)
            )
            assert np.array_equal(point.solved[lanes], told.solved)
            assert np.array_equal(point.supply_limited("INP")[lanes], told.supply_limited("INP"))
            assert np.abs(point.of(at).unknowns - told.unknowns).max() < 1e-7
            assert np.abs(point.load_amps("OUTP")[lanes] - told.load_amps("OUTP")).max() < 1e-7
        limited = point.supply_limited("INP")
    assert limited.any() and not limited.all()


def test_some_lanes_in_any_order_get_what_they_get_among_all() -> None:
    circuits, parts = on_a_bench()
    every, some = Fleet(circuits, parts), Fleet(circuits, parts)
    lanes = np.random.default_rng(3).permutation(every.lanes)[:17]
    for round_ in (4, 5, 6):
        among = every.solve(everyone(every), **asked(round_, every.lanes))
        apart = some.solve(lanes, **asked(round_, every.lanes, lanes))
        assert np.abs(among.volts("outp")[lanes] - apart.volts("outp")).max() < 1e-8
        assert np.abs(among.supply_amps("INN")[lanes] - apart.supply_amps("INN")).max() < 1e-8


def test_the_same_calls_give_the_same_bits() -> None:
    circuits, parts = on_a_bench()
    one, other = Fleet(circuits, parts), Fleet(circuits, parts)
    for round_ in (4, 5):
        here, there = (fleet.solve(everyone(fleet), **asked(round_, fleet.lanes)) for fleet in (one, other))
        assert all(np.array_equal(here.of(at).unknowns, there.of(at).unknowns) for at in range(len(circuits)))


def latches() -> Fleet:
    """A latch, whole and with its load open; `i` amps turn it on."""
    models = ".param i=0\n.model QN NPN(IS=1e-14 IKF=0.5)\n.model QP PNP(IS=1e-14 IKF=0.5)\n"
    netlist = read_netlist(f"t\n{LATCH}I1 0 g {{i}}\n{models}")
    netlists = netlist, with_fault(netlist, parse_fault("RL.1:open"))
    return Fleet([Circuit(netlist) for netlist in netlists], [Parts(10)] * 2)


def test_of_two_states_a_board_stays_in_the_one_it_is_in_until_it_is_forgotten() -> None:
    fleet = latches()
    kicked = fleet.solve(everyone(fleet), parameters={"i": np.tile([0.0, 2e-3], 10)})
    after = fleet.solve(everyone(fleet), parameters={"i": 0.0})
    assert ((kicked.volts("out") > 6.0) == (after.volts("out") > 6.0)).all()
    assert (after.volts("out") < 6.0).tolist() == [False, True] * 10
    fleet.forget(np.arange(10))
    again = fleet.solve(everyone(fleet), parameters={"i": 0.0})
    assert (again.volts("out") < 6.0).tolist() == [False] * 10 + [False, True] * 5


def test_a_node_of_one_wiring_is_not_a_number_on_boards_without_it() -> None:
    fleet = latches()
    point = fleet.solve(everyone(fleet))
    (node,) = set(fleet.circuits[1].layout.names) - set(fleet.circuits[0].layout.names)
    assert np.isnan(point.volts(node)).tolist() == [True] * 10 + [False] * 10
    with pytest.raises(CircuitError, match="there is no node 'nowhere'"):
        point.volts("nowhere")


def test_a_lane_without_a_solution_is_told_by_its_own_node_and_starts_from_rest_next_time() -> None:
    cards = "V1 a 0 {v}\nR1 a b 100\nD1 b 0 DX\nD2 a 0 DX\n.param v=0.5\n.model DX D(IS=1e-14)\n"
    netlist = read_netlist(f"t\n{cards}")
    fleet = Fleet([Circuit(with_fault(netlist, parse_fault("D1:cold"))), Circuit(netlist)], [Parts(8)] * 2)
    volts = np.linspace(0.3, 0.7, 16)
    good = fleet.solve(everyone(fleet), parameters={"v": volts})
    volts[13] = 50.0  # straight across D2
    point = fleet.solve(everyone(fleet), parameters={"v": volts})
    assert np.flatnonzero(~point.solved).tolist() == [13] and np.isnan(point.volts("b")[13])
    assert point.worst_node(13) in ("a", "b")
    volts[13] = 0.65
    back = fleet.solve(everyone(fleet), parameters={"v": volts})
    assert back.solved.all() and np.abs(np.delete(back.volts("b") - good.volts("b"), 13)).max() < 1e-8


def test_circuits_between_different_ends_are_refused() -> None:
    with pytest.raises(CircuitError, match="hangs on other ends than the first circuit"):
        Fleet([bench_circuit(board("dual15")), Circuit(fed_board("dual15"))], [Parts(1)] * 2)
    with pytest.raises(CircuitError, match="give one set for each circuit"):
        Fleet([Circuit(fed_board("dual15"))], [])


@pytest.mark.parametrize("lanes", [[0, 0], [20], [-1], []])
def test_lanes_that_are_not_there_or_asked_for_twice_are_refused(lanes: list[int]) -> None:
    with pytest.raises(CircuitError, match="are not lanes 0 to 19, each once"):
        latches().solve(np.array(lanes, dtype=np.intp))


@pytest.mark.parametrize(
    ("lanes", "told"), [(2, r"settings hold \[2, 3\] boards"), (1, "settings are for 3 boards and there are 1 lanes")]
)
def test_settings_for_another_number_of_lanes_are_refused(lanes: int, told: str) -> None:
    with pytest.raises(CircuitError, match=told):
        latches().solve(np.arange(lanes), celsius=np.full(3, 27.0))
