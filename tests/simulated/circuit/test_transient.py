"""Transient: the demo boards' stored ramps and decays, textbook decks against ngspice, formulas, laws."""

import csv
import json
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from simulated.circuit import (
    Circuit,
    CircuitError,
    LoadEnd,
    Netlist,
    SupplyEnd,
    SupplySetting,
    apply_edit,
    draw_parts,
    read_netlist,
)
from simulated.circuit.charges import depletion, depletion_of
from simulated.circuit.dynamics import dynamics_of
from simulated.circuit.transient import Tolerance, Transient
from simulated.motion import ROUGH

from . import ngspice, ngspice_dynamics
from .boards import BOARDS, REFERENCE, bench_circuit, board, load_ohms, stored

Floats = NDArray[np.float64]
# The issue allows 1 % of full scale; measured 0.34 % behind the sources' nodes.
FULL_SCALE = 0.005
FINE: dict[str, Any] = {}
# As the simulated bench follows a board; readings are taken at rest, so the way there may be rough. An input that
# only junctions hold after the cut, as adj3t's behind its diode, is not compared.
# Measured: 3.9 % of full scale (bat5 at no load), elsewhere 1 %.
AS_THE_BENCH: dict[str, Any] = {"tolerance": ROUGH, "junctions_store": False}
BENCH_SCALE, RAILS = 0.045, ("outp", "outn", "p1", "n1", "vi", "vb")
RAMPS = json.loads(ngspice_dynamics.STORED.read_text())["ramps"]
RC = "t\nR1 a b 1k\nC1 b 0 1u\n"


def supplied(name: str, load: str) -> tuple[Circuit, dict[str, float]]:
    """A board between supplies without limit and resistors as loads; and the supplies' nominal volts."""
    bench, netlist = stored(f"{name}_op")["bench"], board(name)
    for node in bench["loads_ohm"]["half"]:
        edit = {"op": "add", "element": f"RL{node}", "nodes": [node, "0"], "value": load_ohms(name, load)}
        netlist = apply_edit(netlist, edit)
    ends = [(source, plus, volts) for source, (plus, _, volts) in bench["sources"].items()]
    supplies = (SupplyEnd(s, *((node, "0") if volts > 0 else ("0", node))) for s, node, volts in ends)
    return Circuit(netlist, supplies=tuple(supplies)), {source: abs(volts) for source, _, volts in ends}


def history(name: str, event: str, load: str) -> tuple[list[str], Floats, Floats]:
    """Stored nodes, times (T,) and volts (T, nodes)."""
    rows = csv.DictReader((REFERENCE / f"{name}_tran.csv").read_text().splitlines())
    own = [row for row in rows if (row["event"], row["load"]) == (event, load)]
    nodes = [column for column in own[0] if column not in ("event", "load", "t")]
    return nodes, np.array([float(row["t"]) for row in own]), np.array([[float(row[n]) for n in nodes] for row in own])


def raised(run: Transient, volts: dict[str, float], seconds: float, times: Floats, nodes: list[str]) -> Floats:
    """Volts (T, nodes) while supplies go from zero to their volts in `seconds` and stay there."""
    zero = {name: SupplySetting(0.0) for name in volts}
    rise = run.advance(seconds, supplies=zero, reaching=volts, watch=nodes)
    stay = run.advance(times[-1] - seconds, supplies=feed(volts), watch=nodes)
    found: Floats = np.concatenate([rise.at(times[times <= seconds]), stay.at(times[times > seconds])], axis=1)
    return np.asarray(found[0])


def feed(volts: dict[str, float], limit: float = np.inf) -> dict[str, SupplySetting]:
    return {name: SupplySetting(value, limit) for name, value in volts.items()}


def of_full_scale(found: Floats, wanted: Floats) -> float:
    return float((np.abs(found - wanted) / np.abs(wanted).max(axis=0)).max())


@pytest.mark.parametrize(("way", "most"), [(FINE, FULL_SCALE), (AS_THE_BENCH, BENCH_SCALE)])
@pytest.mark.parametrize("load", ["noload", "half"])
@pytest.mark.parametrize("name", BOARDS)
def test_every_stored_ramp_agrees(name: str, load: str, way: dict[str, Any], most: float) -> None:
    circuit, volts = supplied(name, load)
    nodes, times, wanted = history(name, "ramp", load)
    found = raised(Transient(circuit, **way), volts, 1.0, times, nodes)
    seen = [at for at, node in enumerate(nodes) if node in RAILS or way is FINE]
    assert of_full_scale(found[:, seen], wanted[:, seen]) < most


@pytest.mark.parametrize(("way", "most"), [(FINE, FULL_SCALE), (AS_THE_BENCH, BENCH_SCALE)])
@pytest.mark.parametrize("load", ["noload", "half"])
@pytest.mark.parametrize("name", BOARDS)
def test_every_stored_decay_agrees(name: str, load: str, way: dict[str, Any], most: float) -> None:
    circuit, volts = supplied(name, load)
    nodes, times, wanted = history(name, "cut", load)
    run = Transient(circuit, **way)
    run.start_from(circuit.operating_point(supplies=feed(volts)))
    found = run.advance(times[-1], watch=nodes).at(times)[0]
    seen = [at for at, node in enumerate(nodes) if node in RAILS or way is FINE]
    assert of_full_scale(found[1:, seen], wanted[1:, seen]) < most  # the first row stands just before the cut


def textbook_ramp(deck: str, nodes: list[str]) -> Floats:
    name, node, volts = ngspice_dynamics.RAMPS[deck]
    netlist = read_netlist(ngspice_dynamics.with_card(ngspice_dynamics.text_of(deck), name, ""))
    run = Transient(Circuit(netlist, supplies=(SupplyEnd("S", node, "0"),)))
    times = np.linspace(0.0, ngspice_dynamics.END_SECONDS, ngspice_dynamics.POINTS)
    return raised(run, {"S": volts}, ngspice_dynamics.RAMP_SECONDS, times, nodes)


@pytest.mark.parametrize("deck", RAMPS)
def test_a_textbook_decks_ramp_agrees_with_the_stored_results(deck: str) -> None:
    found = textbook_ramp(deck, list(RAMPS[deck]))
    assert of_full_scale(found, np.array(list(RAMPS[deck].values())).T) < FULL_SCALE


@pytest.mark.skipif(not ngspice.available(), reason="ngspice is not installed; the stored results were compared")
@pytest.mark.parametrize("deck", RAMPS)
def test_a_textbook_decks_ramp_agrees_with_ngspice_itself(deck: str) -> None:
    reference = ngspice_dynamics.ramp(deck)
    found = textbook_ramp(deck, list(reference))
    assert of_full_scale(found, np.array(list(reference.values())).T) < FULL_SCALE


def one_supply(text: str, *loads: LoadEnd) -> Circuit:
    return Circuit(read_netlist(text), supplies=(SupplyEnd("S", "a", "0"),), loads=loads)


def test_a_capacitor_charges_and_decays_by_the_exponential() -> None:
    run = Transient(one_supply(RC), tolerance=Tolerance(1e-5, 1e-5))
    trace = run.advance(2e-3, supplies=feed({"S": 10.0}), watch=["b"])
    assert trace.volts[0, :, 0] == pytest.approx(10.0 * -np.expm1(-trace.seconds / 1e-3), abs=1e-3)
    assert run.time == pytest.approx(2e-3)
    assert run.supply_amps("S")[0] == pytest.approx(1e-2 * np.exp(-2.0), rel=1e-3)


def test_a_ringing_circuit_rings_by_its_formula() -> None:
    # L = 10 mH, C = 1 uF, R = 20 ohm: alpha = R/2L = 1000/s, omega = sqrt(1/LC - alpha^2)
    netlist = read_netlist("t\nV1 a 0 1\nR1 a m 20\nL1 m b 10m\nC1 b 0 1u\n")
    trace = Transient(Circuit(netlist), tolerance=Tolerance(1e-5, 1e-5)).advance(2e-3, watch=["b"])
    alpha, omega, t = 1e3, np.sqrt(1e8 - 1e6), trace.seconds
    wanted = 1.0 - np.exp(-alpha * t) * (np.cos(omega * t) + alpha / omega * np.sin(omega * t))
    assert trace.volts[0, :, 0] == pytest.approx(wanted, abs=2e-3)


def test_a_step_across_the_end_of_charging_does_not_overshoot() -> None:
    run = Transient(one_supply("t\nR1 a b 0.1\nC1 b 0 1m\nR2 b 0 1k\n"), tolerance=ROUGH)
    trace = run.advance(0.1, supplies=feed({"S": 10.0}, limit=1.0), watch=["b"])
    assert trace.volts.max() == pytest.approx(10.0, abs=0.01)


def test_what_junctions_store_can_be_left_out() -> None:
    # TT of 1 us stores 10 nC at 10 mA: the diode goes on conducting for a while after the step, or does not.
    circuit = one_supply("t\nR1 a b 1k\nD1 b 0 D\n.model D D(IS=1e-14 TT=1u)\n")
    after = []
    for junctions_store in (True, False):
        run = Transient(circuit, junctions_store=junctions_store)
        run.start_from(circuit.operating_point(supplies=feed({"S": 10.0})))
        run.advance(20e-9, supplies=feed({"S": 0.5}))
        after.append(float(run.volts("b")[0]))
    assert after[0] > 0.6 and after[1] == pytest.approx(0.5, abs=0.01)


def test_a_limited_supply_charges_in_a_straight_line_and_then_holds_its_volts() -> None:
    run = Transient(one_supply("t\nC1 a 0 1m\nR1 a 0 100k\n"))
    on = feed({"S": 10.0}, limit=0.1)
    run.advance(0.05, supplies=on)
    assert (run.volts("a")[0], run.supply_limited("S")[0]) == (pytest.approx(5.0, rel=1e-3), True)
    run.advance(0.1, supplies=on)
    assert (run.volts("a")[0], run.supply_limited("S")[0]) == (pytest.approx(10.0, rel=1e-3), False)
    assert run.settled()


def test_no_charge_is_lost_in_capacitances_that_change_with_their_voltage() -> None:
    # 1 mA for 5 ms brings 5 uC, into 1 uF and into a junction of 1 uF at zero volts.
    text = "t\nC1 a 0 1u\nR1 a b 100\nD1 0 b DX\n.model DX D(IS=1e-20 CJO=1u VJ=0.8 M=0.45)\n"
    run = Transient(one_supply(text))
    run.advance(5e-3, supplies=feed({"S": 50.0}, limit=1e-3), watch=["b"])  # so that its last step ends there
    layer = depletion_of(*(np.array([[value]]) for value in (1e-6, 0.8, 0.45, 0.5)))
    held = 1e-6 * run.volts("a")[0] - depletion(-run.volts("b")[:, None], layer)[0][0, 0]
    assert held == pytest.approx(5e-6, rel=1e-5)


def test_a_load_switched_on_discharges_at_its_current() -> None:
    run = Transient(one_supply("t\nC1 a 0 1m\nR1 a 0 1meg\n", LoadEnd("L", "a", "0")))
    run.advance(1e-3, supplies=feed({"S": 10.0}))
    run.advance(0.01, loads={"L": 0.5})
    assert run.volts("a")[0] == pytest.approx(10.0 - 0.5 * 0.01 / 1e-3, rel=1e-3)
    assert run.load_amps("L")[0] == pytest.approx(0.5)


def test_a_run_stops_where_it_is_told_to() -> None:
    run = Transient(one_supply("t\nR1 a 0 1k\nC1 a 0 1u\n"), tolerance=Tolerance(1e-5, 1e-5))
    run.advance(0.1, supplies=feed({"S": 10.0}))
    run.advance(1.0, until=lambda now: now.volts("a")[0] < 5.0)
    assert run.time == pytest.approx(0.1 + 1e-3 * np.log(2.0), abs=2e-6)


def test_looking_often_costs_no_accuracy() -> None:
    circuit, volts = supplied("bat5", "half")
    start = circuit.operating_point(supplies=feed(volts))
    often, once = Transient(circuit), Transient(circuit)
    for run in (often, once):
        run.start_from(start)
    once.advance(0.05)
    for _ in range(50):
        often.advance(1e-3)
    assert often.volts("outp")[0] == pytest.approx(once.volts("outp")[0], abs=0.01)
    assert often.time == pytest.approx(once.time)


def test_a_point_between_two_steps_is_a_start_for_another_run() -> None:
    circuit = one_supply(RC)
    whole, halves = Transient(circuit), Transient(circuit)
    on = feed({"S": 10.0})
    whole.advance(2e-3, supplies=on)
    halves.advance(1e-3, supplies=on)
    rest = Transient(circuit)
    rest.start_from(halves.point())
    rest.advance(1e-3, supplies=on)
    assert rest.volts("b")[0] == pytest.approx(whole.volts("b")[0], rel=2e-3)


def test_a_ramp_ends_where_the_operating_point_is() -> None:
    circuit = bench_circuit(board("dual15"))
    supplies, loads = feed({"INP": 22.0, "INN": 22.0}, limit=1.0), {"OUTP": 0.3}
    run = Transient(circuit)
    run.advance(2.0, supplies=supplies, loads=loads)
    point = circuit.operating_point(supplies=supplies, loads=loads)
    assert run.settled()
    for node in ("outp", "outn", "pref", "xu101.a"):
        assert run.volts(node)[0] == pytest.approx(point.volts(node)[0], abs=1e-4)


def test_every_board_of_a_batch_goes_its_own_way() -> None:
    netlist, circuit = board("bat5"), bat5()
    parts = draw_parts(netlist, np.random.default_rng(5), 3)
    supplies = {"INP": SupplySetting(7.2, np.array([0.2, 0.01, 0.2]))}
    together = Transient(circuit, parts=parts)
    together.advance(0.02, supplies=supplies)
    for lane, limit in enumerate((0.2, 0.01, 0.2)):
        alone = Transient(circuit, parts=parts.board(lane))
        alone.advance(0.02, supplies=feed({"INP": 7.2}, limit))
        assert together.volts("outp")[lane] == pytest.approx(alone.volts("outp")[0], abs=0.01)
    assert together.supply_limited("INP").tolist() == [False, True, False]


def bat5(netlist: Netlist | None = None) -> Circuit:
    return Circuit(
        netlist or board("bat5"), supplies=(SupplyEnd("INP", "inp", "0"),), loads=(LoadEnd("L", "outp", "0"),)
    )


def test_boards_without_an_operating_point_stay_out_and_the_others_go_on() -> None:
    circuit = one_supply(RC)
    on = {"S": SupplySetting(np.array([10.0, 10.0]))}
    point = circuit.operating_point(supplies=on)
    point.solved[1] = False
    run = Transient(circuit)
    run.start_from(point)
    run.advance(1e-3, supplies=on)
    assert run.volts("b")[0] == pytest.approx(10.0)
    assert np.isnan(run.volts("b")[1])


def test_a_swing_without_end_is_stilled_rather_than_followed_for_ever() -> None:
    # dual15 without its output capacitor oscillates at about 1 MHz under load.
    edits: list[Any] = next(fault["edits"] for fault in stored("dual15_faults")["faults"] if fault["id"] == "D093")
    netlist = board("dual15")
    for edit in edits:
        netlist = apply_edit(netlist, edit)
    circuit = bench_circuit(netlist)
    supplies, loads = feed({"INP": 22.0, "INN": 22.0}, limit=2.0), {"OUTP": 0.2}
    run = Transient(circuit)
    run.start_from(circuit.operating_point(supplies=supplies))
    run.advance(1.0, supplies=supplies, loads=loads)
    settled = circuit.operating_point(supplies=supplies, loads=loads)
    assert run.volts("outp")[0] == pytest.approx(settled.volts("outp")[0], abs=0.1)


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"seconds": 0.0}, "time cannot go on by 0 s; give seconds above zero"),
        ({"supplies": {"X": SupplySetting(1.0)}}, "there is no supply 'X'"),
        ({"reaching": {"S": 5.0}}, "supply 'S' is to reach a voltage but is off"),
        ({"loads": {"L": 1.0}}, "there is no load 'L'"),
        ({"watch": ["x"]}, "there is no node 'x'"),
    ],
)
def test_a_wrong_setting_is_told(asked: Any, message: str) -> None:
    with pytest.raises(CircuitError, match=message):
        Transient(one_supply(RC)).advance(**{"seconds": 1.0, **asked})


def test_another_circuits_operating_point_is_refused() -> None:
    run = Transient(one_supply(RC))
    with pytest.raises(CircuitError, match="the operating point is another circuit's"):
        run.start_from(Circuit(read_netlist("t\nV1 x 0 1\nR1 x 0 1\n")).operating_point())


def test_a_rough_step_looks_at_what_holds_charge_slowly_and_at_nothing_else() -> None:
    netlist = read_netlist("t\nR1 in a 1k\nC1 a 0 1u\nC2 b 0 330p\nR2 a b 1k\nC3 b c 2n\nR3 c 0 1k\nR4 in 0 1k\n")
    dynamics = dynamics_of(Circuit(netlist), None, None, None)
    assert [dynamics.layout.names[at] for at in dynamics.slow_nodes] == ["a", "b", "c"]
    small = read_netlist("t\nR1 in a 1k\nC1 a 0 1u\nC2 b 0 330p\nR2 a b 1k\nR4 in 0 1k\n")
    dynamics = dynamics_of(Circuit(small), None, None, None)
    assert [dynamics.layout.names[at] for at in dynamics.slow_nodes] == ["a"]
