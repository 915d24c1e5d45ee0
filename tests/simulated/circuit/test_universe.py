from collections import Counter
from functools import cache

import pytest

from simulated.circuit import BoardNotes, Circuit, Defect, FaultClass, FaultError, Netlist, universe, with_fault

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
