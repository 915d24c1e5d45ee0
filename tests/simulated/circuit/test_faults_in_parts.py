"""What single fault kinds do to parts of every sort, beyond the stored cases."""

import pytest

from simulated.circuit import Circuit, Netlist, parse_fault, read_netlist, with_fault
from simulated.circuit.expressions import Number
from simulated.circuit.trimmers import find_trimmer, trimmers

from .boards import board, fed_board


def faulty(netlist: Netlist, text: str) -> Netlist:
    return with_fault(netlist, parse_fault(text))


def value(text: str, part: str = "R109") -> float:
    tree = faulty(board("dual15"), f"{part}:value:{text}").element(part).value
    assert isinstance(tree, Number)
    return tree.value


@pytest.mark.parametrize(
    ("text", "ohms"),
    [
        ("47k", 47e3),
        ("x10", 47e3),
        ("/10", 470.0),
        ("neighbour+", 5.1e3),
        ("neighbour-", 4.3e3),
        ("+20%", 5640.0),
        ("-20%", 3760.0),
        ("band3=orange", 47e3),
    ],
)
def test_a_wrong_value_can_be_written_in_many_ways(text: str, ohms: float) -> None:
    assert value(text) == pytest.approx(ohms, rel=1e-12)


@pytest.mark.parametrize(("text", "lead"), [("ebc", "e"), ("bec", "b"), ("b-e-c", "b"), ("cbe", "c")])
def test_the_lead_in_the_collectors_hole_is_the_first_named(text: str, lead: str) -> None:
    holes = board("dual15").element("Q101").nodes
    nodes = faulty(board("dual15"), f"Q101:rotated:{text}").element("Q101").nodes
    assert nodes["cbe".index(lead)] == holes[0]
    assert sorted(nodes) == sorted(holes)


def test_a_package_turned_round_leaves_a_lead_in_the_air() -> None:
    netlist = faulty(board("dual15"), "XU101:rotated:vcc-out-inp-nc-inn")
    assert netlist.element("XU101.EB").nodes[1] == "f_xu101_3"


def test_the_complement_has_the_models_of_the_other_polarity() -> None:
    netlist = faulty(board("dual15"), "Q101:swapped")
    assert netlist.element("Q101").model == "pnpp"


def test_a_complement_that_the_netlist_lacks_has_the_same_parameters() -> None:
    bare = read_netlist("t\nV1 a 0 5\nR1 a c 1k\nR2 a b 1meg\nQ1 c b 0 FAST\n.model FAST NPN(BF=77 IS=1e-15)\n")
    netlist = faulty(bare, "Q1:swapped")
    model = netlist.models[netlist.element("Q1").model or ""]
    assert (model.kind, model.parameters["bf"]) == ("PNP", Number(77.0))


def test_two_parts_exchanged_have_each_others_values_and_models() -> None:
    resistors = faulty(board("dual15"), "R108:swapped:R109")
    assert (resistors.element("R108").value, resistors.element("R109").value) == (Number(4700.0), Number(8200.0))
    assert faulty(board("dual15"), "Q101:swapped:Q201").element("Q201").model == "npnp"


def test_a_stuck_trimmer_no_longer_follows_its_parameter() -> None:
    circuit = Circuit(faulty(fed_board("dual15"), "RV101:end:1"))
    turned = [circuit.operating_point(parameters={"trim_p": travel}).volts("outp")[0] for travel in (0.1, 0.9)]
    assert turned[0] == turned[1] == pytest.approx(16.58, abs=0.02)  # dual15's sheet: 16.59 V at trim 1, no load


def test_a_rheostat_with_a_lifted_wiper_is_its_whole_track() -> None:
    assert faulty(board("adj3t"), "RV1:wiper").element("RV1").value == Number(2000.5)
    assert faulty(board("adj3t"), "RV1:open").element("RV1").value == Number(1e9)


def test_the_leg_of_a_trimmer_is_opened_at_the_track_it_belongs_to() -> None:
    netlist = faulty(board("dual15"), "RV101.3:open")
    assert netlist.element("RV101B").nodes == ("pw", "f_rv101b_1")
    assert netlist.element("RFAULT").nodes == ("pr", "f_rv101b_1")


POT = "t\nV1 a 0 5\n.param top={1-turn} turn=0.25\nRVR1A a w {10k*top+1}\nRVR1B w 0 {10k*turn+1}\nRL w 0 1meg\n"


def test_a_trimmer_without_a_contact_of_its_own_and_with_a_computed_parameter_is_found() -> None:
    (trimmer,) = trimmers(read_netlist(POT))
    assert (trimmer.name, trimmer.parameter, trimmer.wiper, trimmer.contact) == ("RVR1", "turn", "w", None)


def test_the_wiper_of_such_a_trimmer_lifts_off_both_tracks() -> None:
    netlist = faulty(read_netlist(POT), "VR1:wiper")
    assert netlist.element("RVR1A").nodes[1] == netlist.element("RVR1B").nodes[0] == "f_rvr1a_1"
    assert netlist.element("RFAULT").nodes == ("w", "f_rvr1a_1")


def test_resistors_that_share_a_parameter_but_no_wiper_are_no_trimmer() -> None:
    assert find_trimmer(fed_board("dual15"), "RLOUT") is None  # two loads follow `rload`


@pytest.mark.parametrize(
    ("text", "nodes"),
    [
        ("pref-pfb:bridge", ("pref", "pfb")),
        ("outp-GND:bridge", ("outp", "0")),
        ("Q101.c-b:bridge", ("p1", "pdr")),
        ("XU101.inp-inn:bridge", ("pref", "pfb")),  # `inn` is a pin here, though a node has that name
        ("R106.1-Q101.b:bridge", ("pe", "pdr")),
        ("RV101.1-w:bridge", ("pt", "pfb")),
        ("U101.out-p1:bridge", ("po", "p1")),
        ("C101.plus-vp:bridge", ("p1", "vp")),
        ("R105:bridge", ("pdr", "pe")),
    ],
)
def test_a_bridge_joins_two_nodes_or_pins(text: str, nodes: tuple[str, str]) -> None:
    assert faulty(board("dual15"), text).element("RFAULT").nodes == nodes


def test_a_bridge_reaches_nodes_with_dashes_in_their_names() -> None:
    bare = read_netlist("t\nV1 net-_r1-pad1_ 0 5\nR1 net-_r1-pad1_ net-_r1-pad2_ 1k\nR2 net-_r1-pad2_ 0 1k\n")
    netlist = faulty(bare, "net-_r1-pad1_-net-_r1-pad2_:bridge")
    assert netlist.element("RFAULT").nodes == ("net-_r1-pad1_", "net-_r1-pad2_")


@pytest.mark.parametrize(("text", "part"), [("LED101.k:open", "DLED101"), ("F101:blown", "RF101"), ("U1:rotated", "")])
def test_a_part_may_be_named_as_on_the_board(text: str, part: str) -> None:
    name = "dual15" if part else "adj3t"
    netlist = board(name)
    assert faulty(netlist, text).elements != netlist.elements


def test_a_cold_joint_has_the_ohms_written() -> None:
    assert faulty(board("dual15"), "Q101.b:cold:1k").element("RFAULT").value == Number(1000.0)
    assert faulty(board("dual15"), "R106:cold").element("RFAULT").value == Number(100.0)
