"""Charges of junctions: as laws by themselves, and as frequency responses against ngspice over temperature."""

import json

import numpy as np
import pytest
from numpy.typing import NDArray

from simulated.circuit import Circuit, CircuitError, NetlistError, read_netlist
from simulated.circuit.charges import depletion, depletion_of
from simulated.circuit.smallsignal import transfer
from simulated.circuit.transient import Transient

from . import ngspice, ngspice_dynamics
from .ngspice_dynamics import HERTZ, RESPONSES, TEMPERATURES

STORED = json.loads(ngspice_dynamics.STORED.read_text())["responses"]
# Measured: 7e-6 at a substrate node whose response is 1e-6 itself, 2e-6 elsewhere.
SHARE, FLOOR = 1e-5, 1e-6
VOLTS = np.linspace(-20.0, 1.2, 400)[None, :]


def responses(deck: str, celsius: float, nodes: list[str]) -> NDArray[np.complex128]:
    """Complex responses (F, nodes)."""
    circuit = Circuit(read_netlist(ngspice_dynamics.text_of(deck)))
    point = circuit.operating_point(celsius=celsius)
    return np.asarray(transfer(circuit, point, source=RESPONSES[deck], nodes=nodes, hertz=HERTZ, celsius=celsius)[0])


def worst(deck: str, celsius: float, reference: dict[str, list[list[float]]]) -> tuple[float, str]:
    """The largest relative deviation and its node."""
    parts = np.array(list(reference.values()))
    wanted = (parts[..., 0] + 1j * parts[..., 1]).T
    off = np.abs(responses(deck, celsius, list(reference)) - wanted) / (np.abs(wanted) + FLOOR)
    return max(zip(off.max(axis=0).tolist(), reference, strict=True))


@pytest.mark.parametrize("celsius", TEMPERATURES)
@pytest.mark.parametrize("deck", RESPONSES)
def test_a_decks_response_agrees_with_the_stored_results(deck: str, celsius: int) -> None:
    off = worst(deck, celsius, STORED[deck][str(celsius)])
    assert off[0] < SHARE, off


@pytest.mark.skipif(not ngspice.available(), reason="ngspice is not installed; the stored results were compared")
@pytest.mark.parametrize("deck", RESPONSES)
def test_a_decks_response_agrees_with_ngspice_itself(deck: str) -> None:
    off = worst(deck, 50.0, ngspice_dynamics.responses(ngspice_dynamics.wobbled(deck), 50.0))
    assert off[0] < SHARE, off


@pytest.mark.parametrize("bend_share", [0.0, 0.5, 0.9])
def test_a_junctions_capacitance_is_the_slope_of_its_charge(bend_share: float) -> None:
    layer = depletion_of(*(np.array([[value]]) for value in (1e-10, 0.75, 0.33, bend_share)))
    charge, farads = depletion(VOLTS, layer)
    middle = (VOLTS[:, 1:] + VOLTS[:, :-1]) / 2.0
    assert np.diff(charge) / np.diff(VOLTS) == pytest.approx(depletion(middle, layer)[1], rel=5e-3)
    assert (np.diff(farads) > 0.0).all()


def test_a_junction_without_volts_has_no_charge_and_its_nominal_capacitance() -> None:
    layer = depletion_of(*(np.array([[value]]) for value in (1e-10, 0.75, 0.33, 0.5)))
    charge, farads = depletion(np.zeros((1, 1)), layer)
    assert (charge[0, 0], farads[0, 0]) == pytest.approx((0.0, 1e-10), abs=1e-20)


def test_a_capacitor_takes_its_value_from_its_model() -> None:
    netlist = read_netlist("t\nV1 a 0 1\nR1 a b 1k\nC1 b 0 CM\n.model CM C(CAP=1u)\n")
    circuit = Circuit(netlist)
    found = transfer(circuit, circuit.operating_point(), source="V1", nodes=["b"], hertz=[1000.0 / (2.0 * np.pi)])
    assert abs(found[0, 0, 0]) == pytest.approx(np.sqrt(0.5), rel=1e-6)


def test_a_capacitor_without_a_value_is_told_by_its_line() -> None:
    netlist = read_netlist("t\nV1 a 0 1\nR1 a b 1k\nC1 b 0 CM\n.model CM C(TC1=0)\n", name="deck")
    with pytest.raises(NetlistError, match="deck:4: C1 has no value; write 'Cname node node value'"):
        Transient(Circuit(netlist))


def test_a_negative_capacitor_is_refused() -> None:
    with pytest.raises(CircuitError, match="a capacitor or coil has no finite value of zero or more"):
        Transient(Circuit(read_netlist("t\nV1 a 0 1\nR1 a b 1k\nC1 b 0 -1u\n")))
