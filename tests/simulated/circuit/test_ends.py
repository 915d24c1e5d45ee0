"""The bench's ends: check values by Ohm's law on resistors, and the limits dual15's sheet states."""

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from simulated.circuit import (
    Circuit,
    CircuitError,
    LoadEnd,
    MeterEnd,
    SupplyEnd,
    SupplySetting,
    parse_fault,
    read_netlist,
    with_fault,
)

from .boards import bench_circuit, board

Value = float | NDArray[np.float64]
RESISTOR = "t\nR1 a b 1\nR2 b 0 9\n"


def feed(volts: Value, limit: Value = np.inf, on: bool | NDArray[np.bool_] = True) -> SupplySetting:
    return SupplySetting(volts=volts, limit_amps=limit, on=on)


def on_resistors(*loads: LoadEnd) -> Circuit:
    return Circuit(read_netlist(RESISTOR), supplies=(SupplyEnd("S", "a", "0"),), loads=loads)


@pytest.mark.parametrize(
    ("setting", "volts", "amps", "limited"),
    [
        (feed(10.0), 10.0, 1.0, False),
        (feed(10.0, 1.5), 10.0, 1.0, False),
        (feed(10.0, 0.5), 5.0, 0.5, True),
        (feed(10.0, 0.0), 0.0, 0.0, True),
        (feed(0.0, 1.0), 0.0, 0.0, False),
        (feed(10.0, 1.0, on=False), 0.0, 0.0, False),
    ],
)
def test_a_supply_holds_its_voltage_up_to_its_current_limit(
    setting: SupplySetting, volts: float, amps: float, limited: bool
) -> None:
    point = on_resistors().operating_point(supplies={"S": setting})
    assert point.volts("a")[0] == pytest.approx(volts, abs=1e-6)
    assert point.supply_amps("S")[0] == pytest.approx(amps, abs=1e-6)
    assert point.supply_limited("S")[0] == limited


def test_a_supply_not_named_is_off() -> None:
    assert on_resistors().operating_point().volts("a")[0] == pytest.approx(0.0, abs=1e-9)


def test_a_supply_never_takes_current_back() -> None:
    circuit = Circuit(read_netlist("t\nV1 in 0 12\nR1 in a 10\nR2 a 0 1k\n"), supplies=(SupplyEnd("S", "a", "0"),))
    point = circuit.operating_point(supplies={"S": feed(5.0, 1.0)})
    assert point.volts("a")[0] == pytest.approx(12 * 1000 / 1010, rel=1e-6)
    assert point.supply_amps("S")[0] == pytest.approx(0.0, abs=1e-7)
    assert not point.supply_limited("S")[0]


def test_a_channel_turned_round_feeds_a_negative_rail() -> None:
    circuit = Circuit(read_netlist(RESISTOR), supplies=(SupplyEnd("N", "0", "a"),))
    point = circuit.operating_point(supplies={"N": feed(10.0, 0.5)})
    assert point.volts("a")[0] == pytest.approx(-5.0, abs=1e-6)
    assert point.supply_amps("N")[0] == pytest.approx(0.5, abs=1e-6)


@pytest.mark.parametrize(
    ("volts", "set_amps", "drawn"),
    [
        (10.0, 2.0, 2.0),
        (10.0, 0.0, 0.0),
        # Source of v over 1 ohm, load like 0.25 ohm below its 0.5 V: v / 1.25 flows.
        (0.5, 2.0, 0.4),
        (-10.0, 2.0, 0.0),
    ],
)
def test_a_load_draws_its_current_down_to_its_minimum_voltage(volts: float, set_amps: float, drawn: float) -> None:
    circuit = Circuit(read_netlist(f"t\nV1 a 0 {volts}\nR1 a b 1\n"), loads=(LoadEnd("L", "b", "0"),))
    point = circuit.operating_point(loads={"L": set_amps})
    assert point.load_amps("L")[0] == pytest.approx(drawn, abs=1e-6)
    assert point.volts("b")[0] == pytest.approx(volts - drawn, abs=1e-6)


def test_a_load_beyond_the_current_limit_collapses_the_supply() -> None:
    circuit = on_resistors(LoadEnd("L", "b", "0"))
    point = circuit.operating_point(supplies={"S": feed(10.0, 0.5)}, loads={"L": 2.0})
    # 0.5 A into 9 ohm beside the load's 0.25 ohm
    assert point.volts("b")[0] == pytest.approx(0.5 * 9 * 0.25 / 9.25, rel=1e-5)
    assert point.supply_limited("S")[0]


def test_a_meter_input_loads_what_it_measures() -> None:
    circuit = Circuit(read_netlist("t\nV1 a 0 10\nR1 a b 10meg\n"), meters=(MeterEnd("M", "b", "0"),))
    assert circuit.operating_point().volts("b")[0] == pytest.approx(5.0)


def test_every_lane_has_settings_of_its_own() -> None:
    point = on_resistors().operating_point(
        supplies={"S": feed(np.array([10.0, 10.0, 4.0]), np.array([2.0, 0.5, 2.0]), np.array([True, True, False]))}
    )
    assert point.volts("a") == pytest.approx([10.0, 5.0, 0.0], abs=1e-6)
    assert point.supply_limited("S").tolist() == [False, True, False]


def test_dual15_limits_where_its_sheet_says() -> None:
    circuit = bench_circuit(board("dual15"))
    supplies = {"INP": feed(22.0, 3.0), "INN": feed(22.0, 3.0)}
    amps = np.array([0.0, 1.0, 1.34, 1.6])
    point = circuit.operating_point(supplies=supplies, loads={"OUTP": amps})
    # dual15's sheet: 14.994 V, 14.974 V, 1 % low at about 1.33 A, 1.463 A into a short
    assert point.volts("outp")[:2] == pytest.approx([14.9945, 14.9744], abs=1e-3)
    assert 13.5 < point.volts("outp")[2] < 14.85
    assert point.load_amps("OUTP")[3] == pytest.approx(1.463, abs=5e-3)


def test_dual15_on_a_supply_that_is_limited_below_its_need() -> None:
    circuit = bench_circuit(board("dual15"))
    point = circuit.operating_point(supplies={"INP": feed(22.0, 0.01), "INN": feed(22.0, 0.15)})
    assert point.supply_limited("INP")[0]
    assert not point.supply_limited("INN")[0]
    assert point.supply_amps("INP")[0] == pytest.approx(0.01, rel=1e-6)
    assert 8.0 < point.volts("inp")[0] < 12.0


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"supplies": {"X": feed(1.0)}}, "there is no supply 'X'; write one of S"),
        ({"loads": {"X": 1.0}}, "there is no load 'X'"),
        ({"supplies": {"S": feed(np.nan)}}, "not finite"),
        ({"supplies": {"S": feed(1.0, -1.0)}}, "below zero"),
        ({"supplies": {"S": feed(np.array([1.0, 2.0]))}, "celsius": np.array([1.0, 2.0, 3.0])}, "boards"),
        ({"parameters": {"trim": 0.5}}, "has no parameter 'trim'"),
    ],
)
def test_a_wrong_setting_is_told(settings: Any, message: str) -> None:
    with pytest.raises(CircuitError, match=message):
        on_resistors().operating_point(**settings)


def test_an_end_on_an_unknown_node_is_told() -> None:
    with pytest.raises(CircuitError, match="INP hangs on node 'imp', which is not there"):
        Circuit(read_netlist(RESISTOR), supplies=(SupplyEnd("INP", "imp", "0"),))


@pytest.mark.parametrize("fault", ["R101:open", "DZ101:reversed", "Q101.c-e:short", "XU101.out:open", "D103:reversed"])
def test_whatever_hangs_on_a_supply_it_is_in_one_of_its_states(fault: str) -> None:
    circuit = bench_circuit(with_fault(board("dual15"), parse_fault(fault)))
    rng = np.random.default_rng(len(fault))
    setting = feed(rng.uniform(0.0, 28.0, 12), 10 ** rng.uniform(-2.5, 0.5, 12))
    loads = {"OUTP": rng.uniform(0.0, 1.6, 12), "OUTN": rng.uniform(0.0, 1.6, 12)}
    point = circuit.operating_point(supplies={"INP": setting, "INN": setting}, loads=loads)
    assert point.solved.all()
    for name, volts in (("INP", point.volts("inp")), ("INN", -point.volts("inn"))):
        amps, limited = point.supply_amps(name), point.supply_limited(name)
        holds_limit = (np.abs(amps - setting.limit_amps) < 1e-7) & (volts <= setting.volts + 1e-6)
        holds_volts = (np.abs(volts - setting.volts) < 1e-6) & (amps <= setting.limit_amps + 1e-7) & (amps > -1e-7)
        blocked = (np.abs(amps) < 1e-7) & (volts > setting.volts)
        assert np.where(limited, holds_limit, holds_volts | blocked).all()
