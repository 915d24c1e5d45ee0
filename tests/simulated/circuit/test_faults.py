from typing import Any

import pytest

from simulated.circuit import (
    Circuit,
    CircuitError,
    FaultError,
    Netlist,
    apply_edit,
    fault_kind,
    fault_kinds,
    parse_fault,
    read_netlist,
    with_fault,
)
from simulated.circuit.expressions import Number

from .boards import BOARDS, board, deviation, fed_board, lanes, load_ohms, stored
from .fault_words import in_words


def edited(name: str, case: dict[str, Any]) -> Netlist:
    netlist = fed_board(name)
    for edit in case["edits"]:
        netlist = apply_edit(netlist, edit)
    return netlist


def faulty(name: str, *texts: str) -> Netlist:
    netlist = fed_board(name)
    for text in texts:
        netlist = with_fault(netlist, parse_fault(text))
    return netlist


def parts_of(netlist: Netlist) -> dict[str, object]:
    return {element.name: (element.nodes, element.value, element.model) for element in netlist.elements}


# Cases whose words make another netlist of the same circuit: a trimmer stuck at its end keeps its parameter, a
# longer track grows wherever the wiper stands, a lead that hangs in the air has a node of its own name.
OTHERWISE = {"D026", "D027", "D028", "D071", "A013", "A014", "B027", "B028"}
# No DC state to agree on, seen by raising the sources: the operating point is compared, not what a bench would read.
OSCILLATES = {"B005"}


@pytest.mark.parametrize("name", BOARDS)
def test_every_stored_fault_can_be_written_in_words(name: str) -> None:
    cases = stored(f"{name}_faults")["faults"]
    different = {c["id"] for c in cases if parts_of(faulty(name, *in_words(c))) != parts_of(edited(name, c))}
    assert different == {case["id"] for case in cases} & OTHERWISE


@pytest.mark.parametrize("name", BOARDS)
def test_faults_in_words_give_the_stored_voltages(name: str) -> None:
    # Those that make the same netlist are compared by test_demo_boards.
    for case in stored(f"{name}_faults")["faults"]:
        if case["id"] in OTHERWISE | OSCILLATES:
            rload = lanes([load_ohms(name, load) for load in ("noload", "half")])
            point = Circuit(faulty(name, *in_words(case))).operating_point(parameters={"rload": rload})
            for lane, load in enumerate(("noload", "half")):
                assert deviation(point, lane, case["results"][load])[0] < 1e-6, (case["id"], load)


def test_a_ramp_check_that_oscillates_is_in_the_list() -> None:
    verdicts = {
        case["id"]: [check["verdict"] for check in case["ramp_check"].values() if isinstance(check, dict)]
        for name in BOARDS
        for case in stored(f"{name}_faults")["faults"]
    }
    assert {case for case, found in verdicts.items() if "oscillates" in found} == OSCILLATES


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
    "RV10:wiper": "dual15 has no part 'RV10'; write one of RV101",
    "Q101:open": "name the one pin that is open, as in Q101.c:open; pins c, b, e",
    "Q101:short": "name two pins, as in Q101.c-b:short; pins c, b, e",
    "Q101.x:open": "there is no pin 'x'; write one of c, b, e",
    "XU101:open": "pins inp, inn, vcc, vee, out",
    "Q101:reversed": "only a two-pin part can be reversed",
    "Q101:value:3": "only resistors, capacitors and coils have a value",
    "R109:value": "is not a number",
    "R109:value:-3": "write a positive one",
    "R106.1-1:short": "name two pins",
    "Q101:bridge": "name two pins, as in Q101.c-b:bridge; pins c, b, e",
    "RV101:bridge": "name two pins, as in RV101.1-w:bridge; pins 1, w, 3",
    "RV101.4:open": "there is no pin '4'; write one of 1, w, 3",
    "Q101:cold": "name the one pin that is cold, as in Q101.c:cold; pins c, b, e",
    "RV101:cold": "as in RV101.1:cold; pins 1, w, 3",
    "R108:cold:0": "0 ohm is none; write ohms above zero",
    "R108:cold:x": "'x' is not a number",
    "pref-pbf:bridge": "'pbf' is no node and no pin; write A-B, each a node or REFDES.PIN, near",
    "pref-pref:bridge": "both ends are node pref already",
    "XU101:reversed": "write XU101:rotated",
    "R101:rotated": "write REFDES:reversed for one with two",
    "XU101:rotated": "as in XU101:rotated:out-vee-vcc-inn-inp; pins inp, inn, vcc, vee, out",
    "Q101:rotated:bb": "names no lead for each hole; write for example Q101:rotated:e-b-c",
    "Q101:rotated:xyz": "names no lead for each hole",
    "D101:swapped": "name the model or part that is fitted instead",
    "D101:swapped:DX": "'DX' is no model and no part; write one of",
    "R108:swapped:NPNS": "R108 has no model",
    "R108:swapped:C101": "R108 and C101 are no look-alikes",
    "R108:end:1": "only a trimmer has ends",
    "RV101:end:0.5": "'0.5' is no end of its travel; write RV101:end:0 or RV101:end:1",
    "R108:wiper": "only a trimmer has a wiper",
    "R108:blown": "only a fuse .* blows; write R108:open",
    "R108:value:x0": "has a zero where none can be",
    "R108:value:-150%": "makes the value -4100; write a positive one",
    "R109:value:band3=white": "is no likely misreading of 4700; write one of band3=brown, band3=orange",
}


@pytest.mark.parametrize("text", WRONG)
def test_a_fault_that_cannot_be_made_says_what_can(text: str) -> None:
    with pytest.raises(FaultError, match=WRONG[text]):
        with_fault(board("dual15"), parse_fault(text))


def test_every_kind_says_what_it_does() -> None:
    kinds = "open short bridge cold reversed rotated swapped value end wiper blown"
    assert set(fault_kinds()) == set(kinds.split())
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
