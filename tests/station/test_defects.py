from pathlib import Path

import pytest

from station.defects import chosen, hottest, universe_of
from station.errors import InputError
from tests.dividers import NETLIST, SHEET, divider

LONG = "R1:open, " * 40


def faults_of(more: str = "", *, netlist: str = NETLIST) -> list[str]:
    """The faults of a divider whose sheet says more."""
    return [fault for fault, _ in universe_of(divider(sheet=SHEET + more, netlist=netlist).board)]


def choice(*words: str) -> list[str]:
    board = divider().board
    return [fault for fault, _ in chosen(universe_of(board), words, board)]


def refusal(*words: str) -> str:
    with pytest.raises(InputError) as refused:
        choice(*words)
    return str(refused.value)


def test_neighbours_are_bridged_and_terminals_stand_for_their_nodes() -> None:
    assert faults_of("neighbours: [[OUTP, GND], [R1.1, outp]]\n")[-2:] == ["outp-0:bridge", "R1.1-outp:bridge"]


@pytest.mark.parametrize(
    ("value", "fault"), [("47 kΩ", "R1:value:47000"), ("4.7 ohm", "R1:value:4.7"), ("2k2", "R1:value:2k2")]
)
def test_a_confused_value_is_written_as_the_netlist_writes_values(value: str, fault: str) -> None:
    assert fault in faults_of(f"parts: {{R1: {{confused with: {value}}}}}\n")


def test_only_what_the_sheet_calls_polarised_can_be_reversed() -> None:
    two = NETLIST + "C1 inp 0 100u\nC2 outp 0 10u\n"
    assert {"C1:reversed", "C2:reversed"} <= set(faults_of(netlist=two))
    assert [fault for fault in faults_of("parts: {C2: {polarised: true}}\n", netlist=two) if "rev" in fault] == [
        "C2:reversed"
    ]


def test_a_sheet_that_names_what_the_netlist_has_not_is_refused_with_its_name() -> None:
    with pytest.raises(InputError, match=r"^board\.yaml: .*R9"):
        faults_of("neighbours: [[R9.1, GND]]\n")


def test_no_words_choose_the_whole_universe() -> None:
    assert choice() == faults_of()


def test_a_class_a_fault_and_a_file_choose_together_in_the_universes_order(tmp_path: Path) -> None:
    listed = tmp_path / "some"
    listed.write_text("# seen in March\n\n  R2:open  \nsolder bridge\n", encoding="utf-8")
    assert choice("R3:cold", str(listed), "R1:open") == [
        *("R1:open", "R1:short", "R2:open", "R2:short", "R3:cold", "R3:short"),
    ]


@pytest.mark.parametrize(
    ("word", "message"),
    [
        ("cold jont", "'cold jont' is no class of faults and no fault; write 'cold joint'"),
        ("wrong value: decad", "'wrong value: decad' is no class of faults and no fault; write 'wrong value: decade'"),
        ("fuse", "no fault of this board is of the class 'fuse'; write one of cold joint, open or missing joint, "),
        ("R9:open", "board.cir has no part 'R9'; write one of R3, R2, R1"),
        ("R1.q:open", "R1.q:open: there is no pin 'q'; write one of 1, 2"),
        ("R1:opn", "fault 'R1:opn': kind 'opn' is not known; write one of open, blown"),
        (
            "R1.1:open",
            "'R1.1:open' can be simulated, but is none of the 24 faults of this board's universe; "
            "write one of them, such as 'R1:open'",
        ),
        ("nofile.txt", "there is no file 'nofile.txt'; give a text file, one fault a line"),
        ("", "'' is no class of faults and no fault; write one of "),
        (LONG, "R1:open, R1:open"),
    ],
)
def test_a_word_that_chooses_nothing_is_refused_and_the_nearest_is_told(word: str, message: str) -> None:
    told = refusal("R1:open", word)
    assert message in told and "\n" not in told


def test_a_wrong_line_of_a_file_is_told_with_its_place(tmp_path: Path) -> None:
    listed = tmp_path / "some"
    listed.write_text("R1:open\n# once\nR9:open\n", encoding="utf-8")
    assert refusal(str(listed)) == f"{listed}:3: board.cir has no part 'R9'; write one of R3, R2, R1"


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"# nothing yet\n\n", "it lists no fault; write one a line, such as R1:open"),
        (b"\xff\xfe\x00", "it is not UTF-8 text; give a text file, one fault a line"),
    ],
)
def test_a_file_without_a_fault_does_not_choose_all(tmp_path: Path, content: bytes, message: str) -> None:
    (tmp_path / "some").write_bytes(content)
    assert refusal(str(tmp_path / "some")) == f"{tmp_path / 'some'}: {message}"


def test_a_resistor_that_a_fault_overloads_is_named_with_what_it_dissipates() -> None:
    """A short leaves R1 with all of 10 V: 0.1 W of 1 kohm, which no resistor minds, 1 W of 100 ohm."""
    assert hottest(divider().board, ["R2:short"]) == {}
    strong = divider(netlist="* ten times the current\nR1 inp outp 100\nR2 outp 0 100\nR3 inp 0 1meg\n").board
    assert hottest(strong, ["R2:short", "R3:open"]) == {
        "R2:short": "R1 dissipates 1 W at full load, 0.25 W on a good board"
    }
