from pathlib import Path

import pytest

from simulated.circuit import Circuit, CircuitError, NetlistError, read_netlist

DIVIDER = """Title line R9 is not read
.PARAM up=1k down='up*2'  ; a comment
Vin IN 0 DC 3
r1 in Out {up}   $ upper
R2 out
* between a card and its continuation
+ gnd {down}
.tran 1u 1m
.end
R3 out 0 1 this is behind the end
"""


def test_a_netlist_is_read_whatever_its_case_comments_and_continuations() -> None:
    netlist = read_netlist(DIVIDER)
    assert [element.name for element in netlist.elements] == ["VIN", "R1", "R2"]
    assert netlist.nodes == ("in", "out")
    assert netlist.params == {"up": 1000.0, "down": 2000.0}


def test_the_divider_divides() -> None:
    point = Circuit(read_netlist(DIVIDER)).operating_point()
    assert point.volts("OUT")[0] == pytest.approx(2.0, abs=1e-9)


def test_ignored_cards_are_named_in_a_warning() -> None:
    assert read_netlist(DIVIDER, name="d.cir").warnings == ("d.cir: ignored cards (line): .tran (8)",)


def test_an_element_in_the_title_line_is_pointed_out() -> None:
    netlist = read_netlist("R1 a 0 1k\nR2 a 0 2k\n", name="x")
    assert "the first line is the title" in netlist.warnings[0]


NESTED = """nested
X1 in out pair r={2*base}
V1 in 0 3
.param base=500
.subckt pair a b r=1
.model local R(TC1=1m)
X1 a m one r={r}
X2 m b one r={r/2}
R1 b 0 1k local
.ends
.subckt one p q params: r=5
R1 p q {r}
.ends
"""


def test_nested_subcircuits_are_opened_with_their_parameters() -> None:
    netlist = read_netlist(NESTED)
    assert [element.name for element in netlist.elements] == ["X1.X1.R1", "X1.X2.R1", "X1.R1", "V1"]
    assert "x1.m" in netlist.nodes
    point = Circuit(netlist).operating_point()
    assert point.volts("out")[0] == pytest.approx(3 * 1000 / 2500, abs=1e-9)


def test_a_top_level_parameter_reaches_into_subcircuits() -> None:
    point = Circuit(read_netlist(NESTED)).operating_point(parameters={"base": 1000.0})
    assert point.volts("out")[0] == pytest.approx(3 * 1000 / 4000, abs=1e-9)


def test_elements_inside_subcircuits_are_found_in_any_case() -> None:
    assert read_netlist(NESTED).element("x1.X2.r1").nodes == ("x1.m", "out")


@pytest.mark.parametrize(
    ("card", "volts"),
    [
        ("V1 a 0 5", 5),
        ("V1 a 0 DC 5 AC 1 0", 5),
        ("V1 a 0 AC 1 DC 5", 5),
        ("V1 a 0 AC 1", 0),
        ("V1 a 0", 0),
        ("V1 a 0 SIN(2 1 50)", 2),
        ("V1 a 0 PULSE(1 5 0 1n 1n 1u 2u)", 1),
        ("V1 a 0 PWL(0 4 1 9)", 4),
        ("V1 a 0 DC {2+1}", 3),
    ],
)
def test_a_source_has_its_dc_value_or_its_value_at_time_zero(card: str, volts: float) -> None:
    assert Circuit(read_netlist(f"t\n{card}\nR1 a 0 1k\n")).operating_point().volts("a")[0] == pytest.approx(volts)


WRONG = {
    "R1 a b": "n:2: R1: the value is missing; write 'Rname node node value'",
    "R1 a 0 4k7": "n:2: R1: '4k7' has digits behind its suffix",
    "R1 a 0 {1k": "n:2: 'R1 a 0 {1k' has braces that do not pair",
    "R1 a 0 {rx}": "n:2: R1: parameter 'rx' is not defined; write '.param rx=VALUE'",
    "R1 a 0 1\nR1 b 0 1": "n:3: element R1 stands in n:2 already; write another name",
    "M1 d g s s NM": r"n:2: M1: MOS transistors \(M\) are not simulated yet; write a subcircuit",
    "E1 a 0 POLY(1) b 0 1 2": "n:2: E1: POLY sources are not simulated, only linear ones",
    "E1 a 0 VALUE={V(b)}": "n:2: E1: VALUE sources are not simulated",
    "F1 a 0 VX 2\nR1 a 0 1": "n:2: F1: voltage source 'VX' is not there",
    "D1 a 0 DX\n.model DY D": "n:2: D1: model 'dx' is not defined; write its .model, or one of dy",
    "Q1 a b 0 DX\n.model DX D": "n:2: Q1: model 'dx' is of type D; write one of type NPN or PNP",
    "R1 a 0 1\n.model NM NMOS": "n:3: .model: models of type NMOS are not simulated",
    "X1 a b op": "n:2: X1: subcircuit 'op' is not defined",
    "X1 a b op\n.subckt op p\nR1 p 0 1\n.ends": "n:2: X1 has 2 nodes, op has 1 pins; write nodes for p",
    "X1 a op\n.subckt op p\nX1 p op\n.ends": "n:4: X1: subcircuit 'op' contains itself",
    "X1 a op zz=1\n.subckt op p r=1\nR1 p 0 {r}\n.ends": "n:2: X1: op has no parameter 'zz'; write one of r",
    ".subckt op p\nR1 p 0 1": "n:2: subcircuit 'op' is not closed; write .ends",
    ".ends": "n:2: .ends closes no subcircuit",
    ".param a=b b=a\nR1 x 0 1": "n:2: parameters 'a', 'b' need each other",
    "+ 5": "n:2: '\\+' continues no line",
    ".lib parts.lib": "n:2: .lib: libraries are not read",
    "": "n:1: the netlist holds no element",
    "R1 a 0 1\0": "n:2: this line holds a zero byte",
}


@pytest.mark.parametrize("cards", WRONG)
def test_a_wrong_card_is_told_with_file_line_and_what_to_write(cards: str) -> None:
    with pytest.raises(NetlistError, match=WRONG[cards]):
        read_netlist(f"title\n{cards}\n", name="n")


def test_an_include_is_followed_below_the_netlists_folder(tmp_path: Path) -> None:
    (tmp_path / "parts.inc").write_text(".model DX D(IS=1n)\n")
    netlist = read_netlist("t\n.include 'parts.inc'\nD1 a 0 DX\n", folder=tmp_path)
    assert "dx" in netlist.models


@pytest.mark.parametrize(
    ("path", "message"),
    [("../secret.inc", "leaves the netlist's own folder"), ("/etc/hosts", "leaves"), ("none.inc", "cannot be read")],
)
def test_an_include_elsewhere_is_refused(tmp_path: Path, path: str, message: str) -> None:
    with pytest.raises(NetlistError, match=message):
        read_netlist(f"t\n.include {path}\nR1 a 0 1\n", folder=tmp_path)


def test_a_file_that_includes_itself_is_refused(tmp_path: Path) -> None:
    (tmp_path / "self.inc").write_text(".include self.inc\n")
    with pytest.raises(NetlistError, match="includes itself"):
        read_netlist("t\n.include self.inc\nR1 a 0 1\n", folder=tmp_path)


def test_an_unknown_model_parameter_is_a_warning() -> None:
    circuit = Circuit(read_netlist("t\nV1 a 0 1\nD1 a 0 DX\n.model DX D(IS=1n QQ=3 CJO=4p)\n", name="n"))
    assert circuit.warnings == ("n:4: model dx: qq not read",)


@pytest.mark.parametrize(
    ("cards", "message"),
    [
        ("Q1 a a 0 QX\n.model QX NPN(BF=0)", "n:3: Q1: BF is 0; write a positive number"),
        ("R1 a 0 {1/(x-1)}\n.param x=1", "n:3: R1: the expression has no finite value"),
    ],
)
def test_a_value_without_sense_is_told_when_the_circuit_is_made(cards: str, message: str) -> None:
    netlist = read_netlist(f"t\nV1 a 0 1\n{cards}\n", name="n")
    with pytest.raises(CircuitError, match=message):
        Circuit(netlist).operating_point()
