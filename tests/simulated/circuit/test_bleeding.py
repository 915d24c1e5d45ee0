"""What capacitors hold, and through what they run empty."""

import math

import numpy as np
import pytest

from simulated.circuit import Circuit, SupplyEnd, SupplySetting, Tolerance, Transient, read_netlist
from simulated.circuit.bleeding import Held, held_charges

LED = ".model DLED D(IS=1e-19 N=1.75 RS=4)\n"


def held(cards: str, *, volts: float = 10.0, **parameters: float) -> dict[str, Held]:
    netlist = read_netlist(f"a board\n{cards}", name="board")
    circuit = Circuit(netlist, supplies=(SupplyEnd("IN", "in", "0"),))
    point = circuit.operating_point(supplies={"IN": SupplySetting(volts)}, parameters=parameters)
    return {each.part: each for each in held_charges(netlist, point, parameters)}


def test_a_capacitor_holds_the_volts_across_it() -> None:
    found = held("R1 in a 1k\nR2 a 0 1k\nC1 in a 10u\nC2 a 0 1u\n")
    assert found["C1"].volts == pytest.approx(5.0) and found["C1"].farads == 1e-5
    assert found["C2"].volts == pytest.approx(5.0)


def test_all_resistors_that_lead_around_it_empty_it() -> None:
    found = held("R1 in 0 3k\nR2 in a 4k\nR3 a 0 2k\nC1 in c 10u\nRESR c 0 0.1\n")
    assert found["C1"].bleed_ohms == pytest.approx(3e3 * 6e3 / 9e3 + 0.1, rel=1e-6)


def test_an_leds_resistor_empties_it_and_a_blocking_diode_does_not() -> None:
    led = held(f"C1 in 0 10u\nDLED1 in a DLED\nR1 a 0 10k\n{LED}")
    blocked = held(f"C1 in 0 10u\nDLED1 a in DLED\nR1 a 0 10k\n{LED}")
    assert led["C1"].bleed_ohms == pytest.approx(10e3, rel=1e-3)
    assert math.isinf(blocked["C1"].bleed_ohms)


def test_a_subcircuit_empties_nothing() -> None:
    assert math.isinf(held("C1 in 0 10u\nX1 in 0 ONE\n.subckt ONE p m\nR1 p m 50\n.ends\n")["C1"].bleed_ohms)


def test_a_parameter_counts_as_it_is_set() -> None:
    board = ".param turn=0.5\nC1 in 0 10u\nR1 in 0 {100*turn}\n"
    assert held(board, turn=0.25)["C1"].bleed_ohms == pytest.approx(25.0, rel=1e-6)


def test_a_board_followed_through_time_runs_empty_as_fast() -> None:
    netlist = read_netlist("a board\nC1 in c 1m\nRESR c 0 0.1\nR1 in 0 1k\nR2 in a 1k\nR3 a 0 500\n", name="board")
    circuit = Circuit(netlist, supplies=(SupplyEnd("IN", "in", "0"),))
    point = circuit.operating_point(supplies={"IN": SupplySetting(10.0)})
    (store,) = held_charges(netlist, point, {})
    seconds = store.bleed_ohms * store.farads * math.log(10.0 / 2.0)

    board = Transient(circuit, tolerance=Tolerance(volts=1e-6, share=1e-5))
    board.start_from(point)
    board.advance(seconds, supplies={"IN": SupplySetting(0.0, 0.0, on=False)})

    assert float(np.asarray(board.point().volts("in"))[0]) == pytest.approx(2.0, rel=1e-3)
