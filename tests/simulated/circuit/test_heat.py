"""What each part burns: against ngspice, against what goes in, and against a worked example."""

import re
import subprocess

import pytest

from simulated.circuit import Circuit, read_netlist
from simulated.circuit.heat import part_watts
from tests.simulated.circuit.boards import BOARDS, REFERENCE, fed_board, stored
from tests.simulated.circuit.ngspice import available

PLAIN = {"dual15": ("Q101", "Q201", "Q204", "DZ101", "DLED102", "R106", "R110"), "bat5": ("Q1", "Q4", "DLED1", "R7")}
PLAIN["adj3t"] = ("D1", "DLED2", "R3", "R4")


@pytest.mark.parametrize("name", BOARDS)
def test_all_parts_together_burn_what_the_sources_feed(name: str) -> None:
    circuit = Circuit(fed_board(name))
    point = circuit.operating_point()

    watts = part_watts(circuit, point)

    fed = sum(
        float(point.branch_amps(source)[0] * (point.volts(plus) - point.volts(minus))[0])
        for source, (plus, minus, _) in stored(f"{name}_op")["bench"]["sources"].items()
    )
    assert sum(watts.values()) == pytest.approx(fed, rel=2e-3)  # what sources inside subcircuits do is left out


@pytest.mark.skipif(not available(), reason="ngspice is not installed")
@pytest.mark.parametrize("name", BOARDS)
def test_a_part_burns_what_ngspice_says(name: str) -> None:
    circuit = Circuit(fed_board(name))

    watts = part_watts(circuit, circuit.operating_point())

    reference = ngspice_watts(name, PLAIN[name])
    assert {part: watts[part] for part in PLAIN[name]} == pytest.approx(reference, rel=1e-4, abs=1e-9)


def ngspice_watts(name: str, parts: tuple[str, ...]) -> dict[str, float]:
    bench = stored(f"{name}_op")["bench"]
    cards = [f"{source} {plus} {minus} {volts}" for source, (plus, minus, volts) in bench["sources"].items()]
    cards += [f"RL{node} {node} 0 {bench['loads_ohm']['half']['outp']}" for node in bench["loads_ohm"]["half"]]
    asked = " ".join(f"@{part.lower()}[p]" for part in parts)
    control = f".control\nset numdgt=12\nop\nprint {asked}\nquit\n.endc\n.end\n"
    board = (REFERENCE / f"{name}.cir").read_text()
    deck = board + "\n".join(cards) + "\n.options reltol=1e-6 abstol=1e-14 vntol=1e-9 gmin=1e-12\n" + control
    done = subprocess.run(["ngspice", "-b"], input=deck, capture_output=True, text=True, timeout=60, check=False)
    found = re.findall(r"(?m)^@(\S+)\[p\] = (-?[0-9.]+e[+-][0-9]+)\s*$", done.stdout)
    return {part.upper(): float(value) for part, value in found}


# trade.md SAFE-09, own computation there: a bleeder of 2.2 kohm at 42.2 V
def test_a_bleeder_burns_what_the_worked_example_says() -> None:
    circuit = Circuit(read_netlist("a bleeder\nV1 a 0 42.2\nR1 a 0 2200\n", name="bleeder"))
    assert part_watts(circuit, circuit.operating_point())["R1"] == pytest.approx(0.8094727, rel=1e-6)


def test_a_subcircuit_is_one_part() -> None:
    text = "two in one\nV1 a 0 10\nX1 a 0 TWO\n.subckt TWO p m\nR1 p n 50\nR2 n m 50\n.ends\n"
    circuit = Circuit(read_netlist(text, name="two"))
    assert part_watts(circuit, circuit.operating_point()) == pytest.approx({"X1": 1.0})


def test_a_trimmer_that_was_turned_burns_as_it_stands() -> None:
    circuit = Circuit(read_netlist("a trimmer\n.param turn=0.5\nV1 a 0 10\nR1 a 0 {100*turn}\n", name="trimmer"))
    turned = {"turn": 0.25}
    point = circuit.operating_point(parameters=turned)
    assert part_watts(circuit, point, parameters=turned)["R1"] == pytest.approx(4.0)
