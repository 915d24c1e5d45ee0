"""Devices that are kept from solve to solve must be, bit for bit, those that would be made for each."""

from collections.abc import Iterator
from dataclasses import fields, is_dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from simulated.circuit import Circuit, draw_parts, parse_fault, read_netlist, with_fault
from simulated.circuit.conditioned import devices_of
from simulated.circuit.fleet import Fleet
from simulated.circuit.ready import Ready
from simulated.circuit.stock import Stock

Floats = NDArray[np.float64]

# A trimmer, a zener, diodes with and without knee and recombination, a transistor; resistors that know warmth.
BOARD = """t
.param trim=0.5 load=1k
R1 in a 1k TC=1e-3
R2 a b {1k*trim+1}
R3 b 0 {load}
D1 a 0 DZ
D2 b c DK
D3 c 0 DR
Q1 c a 0 QN
.model DZ D(IS=1e-14 BV=5.1 IBV=5m TCV=1m)
.model DK D(IS=1e-9 IKF=0.1 RS=0.1)
.model DR D(IS=1e-12 ISR=1e-9 NR=2)
.model QN NPN(IS=1e-14 BF=200 RB=10 VAF=80)
V1 in 0 9
"""
FAULTS = ("R1:open", "D2:reversed", "Q1:rotated")
EACH = 5


def arrays(thing: object, name: str = "") -> Iterator[tuple[str, Floats]]:
    if isinstance(thing, np.ndarray):
        yield name, thing
    elif is_dataclass(thing) and not isinstance(thing, type):
        for field in fields(thing):
            yield from arrays(getattr(thing, field.name), f"{name}.{field.name}")


@pytest.mark.parametrize("each", [1, EACH])
@pytest.mark.parametrize("faults", [(), FAULTS])
def test_kept_devices_are_those_that_would_be_made(faults: tuple[str, ...], each: int) -> None:
    netlist, rng = read_netlist(BOARD), np.random.default_rng(5)
    netlists = [netlist, *(with_fault(netlist, parse_fault(fault)) for fault in faults)]
    parts = [draw_parts(one, rng, each) for one in netlists]
    fleet = Fleet([Circuit(one) for one in netlists], parts)
    stock = Stock(fleet.frame, fleet.circuits, parts)
    ready = Ready(stock, fleet.frame.sites, fleet.lanes)
    for turn in range(12):
        lanes = np.flatnonzero(rng.random(fleet.lanes) < 0.7) if turn % 3 else np.arange(fleet.lanes)
        lanes = lanes if lanes.size else np.array([0])
        heat = rng.choice([27.0, 40.0], (lanes.size, 1)) if turn % 4 else np.array([[27.0]])
        parameters: dict[str, float | Floats] = {"trim": rng.choice([0.2, 0.8], lanes.size), "load": 1e3}
        if turn in (6, 7):
            del parameters["load"]  # what is not given has its default again
        kept = dict(arrays(ready.devices(lanes, parameters, heat)))
        made = dict(arrays(devices_of(stock.given(lanes, parameters), fleet.frame.sites, heat)))
        assert all(bool((kept[name] == made[name]).all()) for name in made)
