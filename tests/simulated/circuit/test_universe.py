from collections import Counter
from functools import cache

import pytest

from simulated.circuit import (
    BoardNotes,
    Circuit,
    Defect,
    FaultClass,
    FaultError,
    Netlist,
    parse_fault,
    universe,
    with_fault,
)

from .boards import BOARDS, board, fed_board, stored
from .fault_words import in_words
from .test_faults import faulty, parts_of

# From the boards' sheets: bridges, packages turned round (dual in line 2<->6, 3<->7, 4<->8), confusions.
NOTES = {
    "dual15": BoardNotes(
        neighbours=(
            *(("pref", "pfb"), ("pref", "0"), ("po", "p1"), ("pdr", "vp"), ("vp", "gnd"), ("p1", "vp")),
            *(("pw", "pt"), ("pw", "pr"), ("pfb", "nfb")),
        ),
        turned={"U101": "vcc-out-inp-nc-inn", "XU201": "vcc-out-inp-nc-inn"},
        confused={"R109": ("470", "47k"), "DLED101": ("DLEDG",), "DZ101": ("DRECT",)},
    ),
    "adj3t": BoardNotes(neighbours=(("adj", "vo"), ("vo", "vi"), ("vo", "gnd"))),
    "bat5": BoardNotes(neighbours=(("ref", "fb"), ("vo", "vb"), ("vo", "gnd")), polarised=("C1", "C3")),
}


@cache
def listed(name: str) -> tuple[Defect, ...]:
    return universe(board(name), NOTES[name])


def as_set(netlist: Netlist) -> frozenset[object]:
    return frozenset((e.name, e.nodes, e.value, e.model) for e in netlist.elements)


def texts(name: str) -> list[str]:
    return [str(defect.fault) for defect in listed(name)]


@pytest.mark.parametrize("name", BOARDS)
def test_every_defect_can_be_made_and_changes_the_circuit(name: str) -> None:
    healthy = parts_of(board(name))
    assert [d for d in listed(name) if parts_of(with_fault(board(name), d.fault)) == healthy] == []


@pytest.mark.parametrize("name", BOARDS)
def test_no_defect_is_listed_twice(name: str) -> None:
    assert [text for text, times in Counter(texts(name)).items() if times > 1] == []


# Two faults at once; a terminal's joint, which is no part's; a two-pin part open at its other pin, as good as listed.
BEYOND = {"D070", "D084", "A035", "B060", "D092", "D093", "A036", "B030"}


@pytest.mark.parametrize("name", BOARDS)
def test_the_universe_holds_the_stored_faults(name: str) -> None:
    netlists = [as_set(with_fault(fed_board(name), defect.fault)) for defect in listed(name)]
    cases = stored(f"{name}_faults")["faults"]
    missing = {case["id"] for case in cases if as_set(faulty(name, *in_words(case))) not in netlists}
    assert missing == BEYOND & {case["id"] for case in cases}


def test_parasitics_and_the_inside_of_macros_are_no_parts() -> None:
    parts = {defect.fault.part.partition(".")[0] for defect in listed("dual15")}
    assert not parts & {"RESR101", "RT101", "RV101A", "RV101W"}
    assert {"RV101", "XU101", "RF101"} <= parts
    assert len({part for part in parts if "-" not in part}) == 60  # mounted parts, says the sheet; the rest are bridges


def test_an_electrolytic_is_told_by_its_size_where_the_notes_do_not_say() -> None:
    assert "C103:reversed" in texts("dual15")  # 1 uF, and the sheet's parts list says electrolytic
    assert "C4:reversed" not in texts("bat5")  # 1 uF too, but the notes name C1 and C3 only


def test_each_class_is_there() -> None:
    assert {defect.fault_class for defect in listed("dual15")} == set(FaultClass)


@pytest.mark.parametrize(("name", "part"), [("dual15", "C101"), ("adj3t", "C3"), ("bat5", "C1")])
def test_an_electrolytic_dries_out_and_its_joint_can_be_cold(name: str, part: str) -> None:
    damaged = {str(d.fault) for d in listed(name) if d.fault_class is FaultClass.DAMAGED}
    assert {f"{part}:value:-50%", f"{part}:cold:5"} <= damaged
    assert f"{part}:cold" in texts(name)


def test_a_ceramic_capacitor_does_not_dry_out() -> None:
    assert "C102:cold" in texts("dual15")
    assert not {"C102:cold:5", "C102:value:-50%"} & set(texts("dual15"))


# 0.02 x BV/IBV of the reference's model; in adj3t it is inside the regulator.
@pytest.mark.parametrize(
    ("name", "fault", "node"),
    [("dual15", "DZ101:cold:45", "pref"), ("adj3t", "XU1.DZ:cold:38", "outp"), ("bat5", "DZ1:cold:250", "ref")],
)
def test_a_reference_drifts_by_two_percent(name: str, fault: str, node: str) -> None:
    assert fault in texts(name)
    healthy, drifted = (
        Circuit(netlist).operating_point().volts(node)[0]
        for netlist in (fed_board(name), with_fault(fed_board(name), parse_fault(fault)))
    )
    assert drifted / healthy == pytest.approx(1.02, abs=0.006)  # none runs at just its test current


def test_a_soft_reference_lowers_its_rail_and_a_rectifier_is_none() -> None:
    assert "DZ101:bridge:2200" in texts("dual15")  # BV/IBV = 5.6 V / 2.5 mA
    assert not [text for text in texts("dual15") if text.startswith("D101:") and text.split(":")[1] == "bridge"]


def test_a_pass_transistor_that_shorted_is_listed_as_the_bridge_it_looks_like() -> None:
    assert "Q101.c-e:short" in texts("dual15")


def test_unlit_leds_are_taken_for_one_another() -> None:
    assert {"DLED101:swapped:DLEDG", "DLED102:swapped:DLEDR"} <= set(texts("dual15"))
    assert not [text for text in texts("bat5") if text.startswith("DLED1:swapped")]  # the only one there


def test_a_look_alike_that_the_notes_name_too_is_listed_once() -> None:
    notes = BoardNotes(confused={"DLED101": ("dledg",)})
    named = [str(d.fault) for d in universe(board("dual15"), notes)]
    assert [text for text in named if text.upper() == "DLED101:SWAPPED:DLEDG"] == ["DLED101:swapped:DLEDG"]


@pytest.mark.parametrize(
    "notes",
    [
        BoardNotes(neighbours=(("pref", "pbf"),)),
        BoardNotes(polarised=("C999",)),
        BoardNotes(confused={"R999": ("1k",)}),
        BoardNotes(unmounted=("R999",)),
    ],
)
def test_a_note_on_a_part_that_is_not_there_is_told(notes: BoardNotes) -> None:
    with pytest.raises(FaultError, match=r"write (one of|A-B)"):
        universe(board("dual15"), notes)


def test_what_is_not_mounted_is_left_out() -> None:
    assert not [d for d in universe(board("bat5"), BoardNotes(unmounted=("R10",))) if d.fault.part == "R10"]


def test_a_universe_is_solved() -> None:
    for defect in listed("adj3t")[::25]:
        assert Circuit(with_fault(fed_board("adj3t"), defect.fault)).operating_point().solved.all(), str(defect.fault)
