"""Worked examples of regulators, solved as circuits; worked_examples.csv names the source of each row."""

import pytest

from simulated.circuit import Circuit, SupplyEnd, SupplySetting, read_netlist
from tests.station.references import inputs, rows

WORKED = {row["id"]: (inputs(row), float(row["result"])) for row in rows("worked_examples.csv")}


def volts(cards: str, node: str) -> float:
    return float(Circuit(read_netlist(f"t\n{cards}")).operating_point().volts(node)[0])


def zener_stage(volts_in: float) -> float:
    given = WORKED["LIN-04"][0]
    zener = f"VZ k 0 {given['Vz0']}\nRZ out k {given['rz']}\n"
    return volts(f"V1 in 0 {volts_in}\nR1 in out {given['R']}\n{zener}", "out")


def test_a_zener_stage_has_the_output_of_the_book() -> None:
    given, out = WORKED["LIN-04"]
    assert zener_stage(given["V"]) == pytest.approx(out, rel=1e-6)


def test_a_zener_stage_follows_its_input_as_in_the_book() -> None:
    volts_in = WORKED["LIN-04"][0]["V"]
    assert 1e3 * (zener_stage(volts_in + 1.0) - zener_stage(volts_in)) == pytest.approx(WORKED["LIN-03"][1], rel=1e-6)


def test_a_zener_gives_way_to_its_load_by_its_own_resistance() -> None:
    given, millivolts_per_milliamp = WORKED["LOAD-08"]

    def out(load_amps: float) -> float:
        return volts(f"I1 0 out 10m\nVZ k 0 6.7\nRZ out k {given['rz']}\nI2 out 0 {load_amps}\n", "out")

    assert 1e3 * (out(1e-3) - out(0.0)) == pytest.approx(millivolts_per_milliamp, rel=1e-6)


def test_an_amplifier_holds_its_divider_at_the_reference() -> None:
    given, out = WORKED["REF-01"]
    divider = f"R2 out fb {given['R2']}\nR3 fb 0 {given['R3']}\n"
    assert volts(f"V1 ref 0 {given['Vref']}\nE1 out 0 ref fb 1e8\n{divider}", "out") == pytest.approx(out, rel=1e-6)


def test_an_adjustable_regulator_holds_its_reference_above_the_divider() -> None:
    given, out = WORKED["REF-02"]
    divider = f"R1 out adj {given['R1']}\nR2 adj 0 {given['R2']}\n"
    assert volts(f"V1 ref adj {given['Vref']}\nE1 out 0 ref out 1e8\n{divider}", "out") == pytest.approx(out, rel=1e-6)


@pytest.mark.parametrize("row", ["LIM-03", "LIM-04"])
def test_a_current_limit_decides_where_the_load_asks_for_more(row: str) -> None:
    given, out = WORKED[row]
    circuit = Circuit(read_netlist(f"t\nR1 out 0 {given['RL']}\n"), supplies=(SupplyEnd("S", "out", "0"),))
    point = circuit.operating_point(supplies={"S": SupplySetting(volts=given["Vreg"], limit_amps=given["I"])})
    assert float(point.volts("out")[0]) == pytest.approx(out, rel=1e-6)


@pytest.mark.parametrize("row", ["LIM-06", "LIM-07"])
def test_foldback_turns_its_transistor_on_at_the_current_of_the_formula(row: str) -> None:
    given, amps = WORKED[row]
    rail = given.get("Vo", 0.0)
    cards = f"VO out 0 {rail}\nVS emitter out {amps * given['Rsc']}\n"
    base = volts(f"{cards}R1 emitter base {given['R1']}\nR2 base 0 {given['R2']}\n", "base")
    assert base - rail == pytest.approx(given["Vbe"], rel=1e-6)
