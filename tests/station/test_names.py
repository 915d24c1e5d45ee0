"""What people call boards and themselves: refused in words, or shown as it is, and never a file elsewhere."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.asks import SafeState
from station.cli import console
from station.errors import InputError
from station.lines import Outcome
from station.lookup import written_certificate
from station.names import check_operator, check_serial, file_name
from station.record import begin
from station.report.tables import records_table, run_table, said
from station.store import Store
from tests.station.boards import RAMP, profile_of

BAD = ["../x", "a/b", "a\\b", "/etc/x", "..", ".", ".x", "a\0b", "a\nb", "a\x1b[2J", "a\u202eb", "x" * 10_240, "x" * 65]
BAD += [
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1",
    "<script>alert(1)</script>",
    "[red]x",
    ":smile:",
    "C:x",
    "a*",
    "",
    " a",
    "a ",
]
WRITTEN = st.one_of(
    st.sampled_from(BAD), st.text(max_size=70), st.text(alphabet="aB9-._ +#()/\\<>=@[]:", min_size=1, max_size=12)
)


@pytest.mark.parametrize("serial", ["D15-0001", "A", "2024.07 #3", "Ω-7", "日本 12", "B1 (rework)", "7+", "x" * 64])
def test_a_usual_serial_is_one(serial: str) -> None:
    check_serial(serial)
    assert file_name(serial, ".html") == f"{serial}.html"


@pytest.mark.parametrize("serial", BAD)
def test_what_would_be_something_else_elsewhere_is_no_serial(serial: str) -> None:
    with pytest.raises(
        InputError, match="is not a serial number; write 1 to 64 letters, digits, dashes or dots"
    ) as refused:
        check_serial(serial)
    assert str(refused.value).isprintable() and len(str(refused.value)) < 400


@pytest.mark.parametrize("name", ["=1+1", "@SUM(A1)", "-x", "a\nb", "\x1b[2J", "x" * 10_240, " a"])
def test_what_would_be_something_else_elsewhere_is_nobodys_name(name: str) -> None:
    with pytest.raises(InputError, match="is not an operator's name; write at most 64 letters, a letter first"):
        check_operator(name)


@pytest.mark.parametrize("name", ["", "J. O'Neil", "李", "J & S", "m.müller", "op_1"])
def test_a_usual_name_is_one(name: str) -> None:
    check_operator(name)


@given(serial=WRITTEN)
def test_a_serial_is_refused_or_names_one_file_that_can_be_made(serial: str) -> None:
    try:
        check_serial(serial)
    except InputError as refused:
        assert str(refused).isprintable()
        return
    name = file_name(serial, ".html")
    assert Path(name).name == name == f"{serial}.html" and serial[0] not in "=+-@.~"
    assert not set(name) & set('/\\:*?"<>|\0')


@given(serial=WRITTEN)
def test_a_file_about_a_board_stays_in_its_folder_whatever_a_record_says(serial: str) -> None:
    name = file_name(serial, ".html")
    assert Path("folder", name).resolve().parent == Path("folder").resolve()
    assert len(name) <= 105 and not name.startswith((".", "-", "~")) and name.isprintable()


HOSTILE = '<script>alert(1)</script> & "[/red]" :smile: [b]x'


def test_what_a_record_holds_is_text_on_the_page_and_in_the_tables(
    store: Store, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    facts = {"instruments": {"meter": HOSTILE}, "operator": HOSTILE}
    record = begin(store, profile_of(RAMP), HOSTILE, simulated=False, bench=facts, software=HOSTILE)
    record.ended(Outcome.ABORTED, HOSTILE, SafeState(False, problems=(HOSTILE,)))
    stored = store.found(HOSTILE)
    assert stored is not None

    page = written_certificate(store, HOSTILE, tmp_path / "page.html").read_text(encoding="utf-8")
    said(records_table(store.heads()), *run_table(stored))
    console().print(HOSTILE)

    assert "<script" not in page and page.count("&lt;script&gt;alert(1)&lt;/script&gt; &amp; ") == 8
    shown = capsys.readouterr()
    assert shown.out.count(HOSTILE) == 2 and shown.err == f"{HOSTILE}\n"
