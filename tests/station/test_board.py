from pathlib import Path

import pytest

from station.board import load_board, parse_board
from station.errors import InputError
from tests.station.boards import NETLIST, SHEET, twin


def refusal(text: str) -> list[str]:
    with pytest.raises(InputError) as refused:
        parse_board(text, "board.yaml")
    return str(refused.value).splitlines()


def test_terminals_come_in_the_sheets_order_by_kind() -> None:
    assert list(twin().terminals("input")) == ["INP", "INN"]
    assert list(twin().terminals()) == ["INP", "INN", "OUTP", "OUTN", "TP1"]


def test_a_terminal_has_the_sign_of_its_nominal_voltage() -> None:
    assert [twin().form.terminals[name].sign for name in ("INP", "OUTN", "TP1")] == [1.0, -1.0, 1.0]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "never above: 28 V}\n  INN",
            "never abve: 28 V}\n  INN",
            "board.yaml:5:52: 'never abve' is not a key known here; write 'never above'",
        ),
        (
            "never above: 28 V}\n  INN",
            "never_above: 28 V}\n  INN",
            "board.yaml:5:52: 'never_above' is not a key known here; write 'never above'",
        ),
        ("title: Two rails\n", "", "board.yaml:1:1: the key 'title' is missing; write 'title: ...' here"),
        ("{node: inp,  ", "{", "board.yaml:5:3: the key 'node' is missing; write 'node: ...' here"),
        (
            "kind: probe",
            "kind: prob",
            "board.yaml:9:22: kind: 'prob' is not known; write 'input', 'output' or 'probe'",
        ),
        (
            "nominal: 15 V",
            "nominal: 15",
            "board.yaml:7:36: nominal: '15' has no unit; write it as text with one, such as '15 V'",
        ),
        ("nominal: 15 V", "nominal: 15 Vv", "board.yaml:7:36: nominal: 'Vv' is not a unit known here; write V"),
        (
            "nominal: 15 V",
            "nominal: nan V",
            "board.yaml:7:36: nominal: 'nan V' is not a value; write a number and a unit, such as '10 V'",
        ),
        (
            "nominal: 15 V,  ",
            "",
            "board.yaml:7:3: OUTP: an output has no nominal voltage; write 'nominal: 15 V', or -15 V",
        ),
        (
            ", never above: 18 V}\n  OUTN",
            "}\n  OUTN",
            "board.yaml:7:3: OUTP: an output has no ceiling; write 'never above: 28 V', a magnitude",
        ),
        (
            "nominal: -22 V, never above: 28 V",
            "nominal: -22 V, never above: -28 V",
            "board.yaml:6:3: INN: never above -28 V is below the nominal 22 V; "
            "write the magnitude that the terminal must never see",
        ),
        (
            "nominal: -22 V, never above: 28 V",
            "nominal: -22 V, never above: 20 V",
            "board.yaml:6:3: INN: never above 20 V is below the nominal 22 V; "
            "write the magnitude that the terminal must never see",
        ),
        (
            "sets: OUTN",
            "sets: OUTNN",
            "board.yaml:12:30: trimmer RV201 sets 'OUTNN', which is no output; write 'OUTN'",
        ),
        ("board: twin", "board: ''", "board.yaml:1:1: board: '' does not fit; note that string should have at least"),
        ("TP1: ", "GND: ", "board.yaml:9:3: GND is always there; take it out of the terminals"),
        (
            "title: Two rails",
            "title: Two rails\nsafe below: 0 V",
            "board.yaml:3:1: the safe voltage is not above zero; write for example '2 V'",
        ),
        (
            "title: Two rails",
            "title: Two rails\nneighbours: [[A, B], [C]]",
            "board.yaml:3:22: the key 'entry 2' is missing",
        ),
    ],
)
def test_what_is_wrong_with_a_sheet_is_told_with_its_place(old: str, new: str, message: str) -> None:
    assert SHEET.count(old) == 1
    (told,) = refusal(SHEET.replace(old, new))
    assert told.startswith(message)


def test_all_that_is_wrong_with_a_sheet_is_told_in_the_order_of_the_file() -> None:
    told = refusal(
        SHEET.replace("title", "titel").replace("kind: probe", "kind: prob").replace("rated: 1 A", "rated: 1")
    )
    assert [line.split(":")[1] for line in told] == ["2", "7", "8", "9"]  # a slip in a key is told once


def laid_out(tmp_path: Path, sheet: str = SHEET) -> Path:
    (tmp_path / "board.yaml").write_text(sheet, encoding="utf-8")
    (tmp_path / "board.cir").write_text(NETLIST, encoding="utf-8")
    return tmp_path / "board.yaml"


def test_a_board_keeps_its_texts_for_the_record(tmp_path: Path) -> None:
    board = load_board(laid_out(tmp_path))
    assert (board.name, board.text, board.netlist) == ("twin", SHEET, NETLIST)
    assert board.netlist_path == tmp_path / "board.cir"


def test_a_missing_netlist_is_named(tmp_path: Path) -> None:
    path = laid_out(tmp_path)
    (tmp_path / "board.cir").unlink()
    with pytest.raises(InputError) as refused:
        load_board(path)
    assert str(refused.value) == f"{tmp_path / 'board.cir'}: there is no such file; check the name"


@pytest.mark.parametrize("circuit", ["../board.cir", "/etc/passwd", '"a\\0b"'])
def test_a_netlist_lies_beside_its_sheet(tmp_path: Path, circuit: str) -> None:
    path = laid_out(tmp_path, SHEET.replace("board.cir", circuit))
    with pytest.raises(InputError, match="lies outside the board's folder; keep it beside the sheet"):
        load_board(path)


def test_the_shipped_board_is_a_board() -> None:
    board = load_board(Path(__file__).parents[2] / "profiles" / "dual15" / "board.yaml")
    assert board.name == "dual15"


def test_what_a_netlist_includes_is_kept_for_the_record(tmp_path: Path) -> None:
    path = laid_out(tmp_path)
    (tmp_path / "board.cir").write_text(f'{NETLIST}.include "models.lib"\n.INCLUDE ../outside.lib\n', encoding="utf-8")
    (tmp_path / "models.lib").write_text(".model D1 D\n.include models.lib\n", encoding="utf-8")

    assert load_board(path).included == (("models.lib", ".model D1 D\n.include models.lib\n"),)
