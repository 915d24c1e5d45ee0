import pytest

from simulated.circuit import (
    Circuit,
    CircuitError,
    FaultError,
    apply_edit,
    fault_kind,
    fault_kinds,
    parse_fault,
    read_netlist,
    with_fault,
)
from simulated.circuit.expressions import Number

from .boards import board, deviation, fed_board, stored

# How the stored single faults are written by hand: the same netlists must result.
SAME = {
    "R101:open": "D003",
    "R105:short": "D013",
    "D101:reversed": "D033",
    "D101.k:open": "D037",
    "DLED102.k:open": "D041",
    "C101:reversed": "D045",
    "Q104.c-b:short": "D052",
    "Q102.b:open": "D058",
    "R102:value:4.7k": "D008",
    "RV101W:open": "D025",
}


@pytest.mark.parametrize("text", SAME)
def test_a_fault_in_words_is_the_stored_edit(text: str) -> None:
    fault = next(f for f in stored("dual15_faults")["faults"] if f["id"] == SAME[text])
    edited = fed_board("dual15")
    for edit in fault["edits"]:
        edited = apply_edit(edited, edit)
    in_words = with_fault(fed_board("dual15"), parse_fault(text))
    assert {e.name: (e.nodes, e.value, e.model) for e in in_words.elements} == {
        e.name: (e.nodes, e.value, e.model) for e in edited.elements
    }


@pytest.mark.parametrize("text", ["R108:open", "Q101.c-b:short", "R109:value:47k", "XU101.inn:open"])
def test_a_fault_is_written_as_it_is_read(text: str) -> None:
    assert str(parse_fault(text)) == text


def test_the_unfaulted_netlist_is_left_alone() -> None:
    before = board("dual15").elements
    with_fault(board("dual15"), parse_fault("R108:open"))
    assert board("dual15").elements == before


def test_two_faults_can_be_in_one_board() -> None:
    netlist = with_fault(with_fault(board("dual15"), parse_fault("R105:short")), parse_fault("R205:short"))
    assert [element.name for element in netlist.elements[-2:]] == ["RFAULT", "RFAULT2"]


def test_a_fault_inside_one_subcircuit_leaves_the_other_alone() -> None:
    netlist = with_fault(board("dual15"), parse_fault("XU101.R1:value:1k"))
    assert netlist.element("XU101.R1").value == Number(1000.0)
    assert netlist.element("XU201.R1").value == Number(2.5e9)


def test_a_pin_inside_a_subcircuit_opens_to_a_node_in_there() -> None:
    netlist = with_fault(board("dual15"), parse_fault("xu101.qo1.b:open"))
    assert netlist.element("XU101.QO1").nodes[1] == "xu101.f_qo1_1"
    assert netlist.element("XU101.RFAULT").nodes == ("xu101.b", "xu101.f_qo1_1")


def test_an_open_pin_of_an_op_amp_parts_the_outside_from_all_inside() -> None:
    netlist = with_fault(board("dual15"), parse_fault("XU101.inn:open"))
    assert netlist.element("XU101.RID").nodes == ("pref", "f_xu101_1")
    assert netlist.element("RFAULT").nodes == ("pfb", "f_xu101_1")


def test_a_reversed_electrolytic_leaks_with_the_boards_own_or_the_built_in_model() -> None:
    bare = read_netlist("t\nV1 a 0 5\nR1 a b 100\nC1 b 0 100u\n")
    point = Circuit(with_fault(bare, parse_fault("C1:reversed"))).operating_point()
    assert 1.0 < point.volts("b")[0] < 3.0  # about 2.2 V at 50 mA


WRONG = {
    "R108": r"write REFDES\[.PIN\]:KIND",
    ":open": r"write REFDES\[.PIN\]:KIND",
    "R108:opn": "kind 'opn' is not known; write one of open",
    "R1080:open": "dual15 has no part 'R1080'; write one of R108",
    "RV101:open": "dual15 has no part 'RV101'; write one of RV101",
    "Q101:open": "name the one pin that is open, as in Q101.c:open; pins c, b, e",
    "Q101:short": "name two pins, as in Q101.c-b:short; pins c, b, e",
    "Q101.x:open": "there is no pin 'x'; write one of c, b, e",
    "XU101:open": "pins inp, inn, vcc, vee, out",
    "Q101:reversed": "only a two-pin part can be reversed",
    "Q101:value:3": "only resistors, capacitors and coils have a value",
    "R109:value": "is not a number",
    "R109:value:-3": "write a positive one",
    "R106.1-1:short": "name two pins",
}


@pytest.mark.parametrize("text", WRONG)
def test_a_fault_that_cannot_be_made_says_what_can(text: str) -> None:
    with pytest.raises(FaultError, match=WRONG[text]):
        with_fault(board("dual15"), parse_fault(text))


def test_every_kind_says_what_it_does() -> None:
    assert set(fault_kinds()) >= {"open", "short", "reversed", "value"}
    assert all(text.endswith((".", ";")) or text for text in fault_kinds().values())


def test_a_kind_registered_twice_or_without_docstring_is_refused() -> None:
    with pytest.raises(CircuitError, match="is there already"):
        fault_kind("open")(lambda netlist, site: netlist)
    with pytest.raises(CircuitError, match="has no docstring"):
        fault_kind("brand new")(lambda netlist, site: netlist)


def test_an_edit_that_is_not_understood_is_told() -> None:
    with pytest.raises(FaultError, match="write an op of value, model, nodes, param or add"):
        apply_edit(board("dual15"), {"op": "melt", "element": "R101"})


def test_an_open_resistor_gives_the_stored_voltages() -> None:
    point = Circuit(with_fault(fed_board("dual15"), parse_fault("R108:open"))).operating_point()
    fault = next(f for f in stored("dual15_faults")["faults"] if f["id"] == "D018")
    assert deviation(point, 0, fault["results"]["half"])[0] < 1e-6
