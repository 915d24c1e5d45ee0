from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.document import parse_document, read_text
from station.errors import InputError


def refusal(text: str) -> str:
    with pytest.raises(InputError) as refused:
        parse_document(text, "f.yaml")
    return str(refused.value)


def test_every_key_and_value_has_its_place() -> None:
    document = parse_document("board: twin\nsteps:\n  - ramp: {to: nominal}\n", "f.yaml")
    assert document.data == {"board": "twin", "steps": [{"ramp": {"to": "nominal"}}]}
    assert document.places[("steps", 0, "ramp", "to")] == (3, 12)


def test_a_problem_falls_back_to_the_nearest_place() -> None:
    document = parse_document("steps:\n  - ramp: {}\n", "f.yaml")
    assert str(document.problem(("steps", 0, "ramp", "over"), "what", "instead")) == "f.yaml:2:5: what; instead"


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("yes", "yes"),
        ("on", "on"),
        ("true", True),
        ("~", None),
        ("", None),
        ("12", 12),
        ("010", 10),  # no octal
        ("09", 9),
        ("1:30", "1:30"),  # no sexagesimal
        ("2024-01-01", "2024-01-01"),  # no dates
        ("1.5", 1.5),
        ("-.inf", float("-inf")),
        ("1e3", "1e3"),
        ("0x10", "0x10"),
        ("1" * 5000, "1" * 5000),  # Python refuses such an integer
        ("'15'", "15"),
        ("!!str 15", "15"),
    ],
)
def test_plain_values_mean_what_they_look_like(written: str, value: object) -> None:
    assert parse_document(f"a: {written}", "f.yaml").data == {"a": value}


NEAR = "check indentation, brackets and quotes just before this place"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("- a\n- b", "f.yaml:1:1: the file has no keys; write 'key: value' lines"),
        ("just words", "f.yaml:1:1: the file has no keys; write 'key: value' lines"),
        ("# a comment", "f.yaml:1:1: the file has no keys; write 'key: value' lines"),
        ("a: 1\na: 2", "f.yaml:2:1: the key 'a' stands here a second time; keep one of them"),
        ("a: &x 1\nb: *x", "f.yaml:2:4: the alias *x is used; write the value out"),
        ("a: &x [*x]", "f.yaml:1:8: the alias *x is used; write the value out"),  # it holds itself
        ("a: *x", "f.yaml:1:4: the alias *x is used; write the value out"),
        ("a: !secret x", "f.yaml:1:4: the tag !secret is used; write a plain value"),
        ("a: !!binary x", "f.yaml:1:4: the tag !!binary is used; write a plain value"),
        ("a: !!int x", "f.yaml:1:4: the tag !!int is used; write a plain value"),
        ("a: !!timestamp x", "f.yaml:1:4: the tag !!timestamp is used; write a plain value"),
        ("a: !!python/name:os.system x", "f.yaml:1:4: the tag !!python/name:os.system is used; write a plain value"),
        ("a: !!set {b, c}", "f.yaml:1:4: the tag !!set is used; write a plain value"),
        (
            "a: !!python/object/apply:os.system [id]",
            "f.yaml:1:4: the tag !!python/object/apply:os.system is used; write a plain value",
        ),
        ("a: !mine {b: 1}", "f.yaml:1:4: the tag !mine is used; write a plain value"),
        ("? [a]\n: b", "f.yaml:1:3: a key is a list or mapping; write a word as key"),
        (
            "a:\n\tb: 1",
            r"f.yaml:2:1: this is not YAML: found character '\t' that cannot start any token; "
            "indent with spaces, not tabs",
        ),
        (
            "a: b: c",
            "f.yaml:1:5: this is not YAML: mapping values are not allowed here; put a text that holds ': ' in quotes",
        ),
        (
            "a: {b: ready?}",
            "f.yaml:1:13: this is not YAML: expected ',' or '}', but got '?'; put a text that holds '?' in quotes",
        ),
        ("a: [1", f"f.yaml:1:6: this is not YAML: expected ',' or ']', but got '<stream end>'; {NEAR}"),
        (
            "a: 1\n---\nb: 2",
            "f.yaml:2:1: this is not YAML: but found another document; keep one document a file: take '---' out",
        ),
        (
            "a: b\0c",
            "f.yaml:1: character 5 (U+0000) does not belong in a text file; check that it is the right file",
        ),
        ("[" * 5000, "f.yaml: its values are nested too deeply; write it flatter"),
        (
            'a: "\\UFFFFFFFF"',
            "f.yaml: this is not YAML: a version or character code in it is out of range; "
            "look for '%YAML' and for '\\U' in quotes",
        ),
    ],
)
def test_a_text_that_is_not_ours_is_refused_with_its_place(text: str, message: str) -> None:
    assert refusal(text) == message


def test_all_that_is_wrong_is_told_at_once() -> None:
    told = refusal("a: 1\na: 2\nb: !x 3\nc: {d: 1, d: 2}\n")
    assert [line.split(":")[1] for line in told.splitlines()] == ["2", "3", "4"]


@given(text=st.text())
def test_an_arbitrary_text_raises_nothing_else(text: str) -> None:
    with suppress(InputError):
        parse_document(text, "f.yaml")


@given(text=st.text(alphabet="abc:-[]{}&*!?|>'\"%@#,0123456789. \n\t\\U\0", max_size=40))
def test_a_text_of_yaml_signs_raises_nothing_else(text: str) -> None:
    with suppress(InputError):
        parse_document(text, "f.yaml")


def written(tmp_path: Path, content: bytes) -> Path:
    path = tmp_path / "f.yaml"
    path.write_bytes(content)
    return path


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", ": the file is empty; write at least its first key"),
        (b" \n\n", ": the file is empty; write at least its first key"),
        (b"a: 1\nb: \xff", ":2: byte 9 is not UTF-8 text; save the file as UTF-8, or check that it is the right one"),
        (b"a" * 1_000_001, ": it holds more than 1000000 bytes; check that it is the right one"),
    ],
    ids=["empty", "blank", "binary", "huge"],
)
def test_a_file_that_is_no_text_of_ours_is_refused(tmp_path: Path, content: bytes, message: str) -> None:
    path = written(tmp_path, content)
    with pytest.raises(InputError) as refused:
        read_text(path)
    assert str(refused.value) == f"{path}{message}"


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError) as refused:
        read_text(tmp_path / "none.yaml")
    assert str(refused.value) == f"{tmp_path / 'none.yaml'}: there is no such file; check the name"


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(InputError) as refused:
        read_text(tmp_path)
    assert str(refused.value) == f"{tmp_path}: it can't be read (Is a directory); check the path"


def test_a_name_no_disk_can_have_is_refused() -> None:
    with pytest.raises(InputError, match=r"it can't be read \(embedded null byte\); check the path"):
        read_text(Path("a\0b"))


def test_a_byte_order_mark_is_no_content(tmp_path: Path) -> None:
    assert read_text(written(tmp_path, b"\xef\xbb\xbfa: 1")) == "a: 1"


@given(content=st.binary())
def test_arbitrary_bytes_raise_nothing_else(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    with suppress(InputError):
        parse_document(read_text(written(tmp_path_factory.getbasetemp(), content)), "f.yaml")
