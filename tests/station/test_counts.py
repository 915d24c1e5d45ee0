from pathlib import Path

import pytest

from station.counts import load_repair_counts, parse_repair_counts
from station.errors import InputError
from station.likelihood import RepairCounts, fault_classes

FAULTS = ("R108:open", "R101:value:+20%", "Q101.c-b:short", "pref-pfb:bridge", "DLED101:swapped:DLEDG")


def counts(text: str) -> RepairCounts:
    return parse_repair_counts(text, "repairs.yaml", FAULTS)


def refusal(text: str) -> list[str]:
    with pytest.raises(InputError) as refused:
        counts(text)
    return str(refused.value).splitlines()


def test_classes_and_single_faults_are_counted() -> None:
    text = "counts:\n  open or missing joint: 12\n  'wrong value: decade': 2\n  R108:open: 3\n  pref-pfb:bridge: 1\n"
    assert counts(text) == RepairCounts(
        by_class=(("open or missing joint", 12), ("wrong value: decade", 2)),
        by_fault=(("R108:open", 3), ("pref-pfb:bridge", 1)),
    )


def test_every_class_can_be_counted() -> None:
    text = "counts:\n" + "".join(f"  '{name}': 1\n" for name in fault_classes())
    assert counts(text).total == len(fault_classes()) == 14


def test_case_and_blanks_do_not_matter() -> None:
    assert counts("counts: {Cold Joint: 1, 'r108: OPEN': 2}") == RepairCounts(
        by_class=(("cold joint", 1),), by_fault=(("R108:open", 2),)
    )


def test_a_file_is_read(tmp_path: Path) -> None:
    path = tmp_path / "repairs.yaml"
    path.write_text("counts: {fuse: 2}\n", encoding="utf-8")
    assert load_repair_counts(path, FAULTS) == RepairCounts(by_class=(("fuse", 2),))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "counts:\n  open or mising joint: 12\n",
            "repairs.yaml:2:3: 'open or mising joint' is neither a class of faults nor a fault of this board; "
            "write 'open or missing joint'",
        ),
        (
            "counts:\n  R108:opn: 12\n",
            "repairs.yaml:2:3: 'R108:opn' is neither a class of faults nor a fault of this board; "
            "write 'R108:open', or count it under its class",
        ),
        (
            "counts:\n  cold joint: 1\n  Cold joint: 2\n",
            "repairs.yaml:3:3: 'Cold joint' is counted a second time; write the sum in one line",
        ),
        (
            "counts: {fuse: -1}\n",
            "repairs.yaml:1:10: fuse: -1 does not fit; note that input should be greater than or equal to 0",
        ),
        ("counts: {fuse: true}\n", "repairs.yaml:1:10: fuse: True does not fit; note that input should be a valid"),
        ("counts: {fuse: 1.5}\n", "repairs.yaml:1:10: fuse: 1.5 does not fit; note that input should be a valid"),
        ("counts: {fuse: two}\n", "repairs.yaml:1:10: fuse: 'two' does not fit; note that input should be a valid"),
        ("counts: 3\n", "repairs.yaml:1:1: counts: 3 does not fit; note that input should be a valid dictionary"),
        ("count: {fuse: 1}\n", "repairs.yaml:1:1: 'count' is not a key known here; write 'counts'"),
        ("wrong value: decade: 2\n", "repairs.yaml:1:20: this is not YAML: mapping values are not allowed here"),
    ],
)
def test_what_is_wrong_is_told_with_its_place(text: str, message: str) -> None:
    (told,) = refusal(text)
    assert told.startswith(message)


def test_a_name_near_nothing_lists_the_classes() -> None:
    (told,) = refusal("counts: {xyzzy: 1}\n")
    assert "write one of 'open or missing joint', 'cold joint'" in told
    assert told.endswith("'fuse', or a fault such as R108:open")


def test_all_that_is_wrong_is_told_at_once_in_the_order_of_the_file() -> None:
    told = refusal("counts:\n  fuze: 1\n  cold joint: -3\n  R108:opn: 2\n")
    assert [line.split(":")[1] for line in told] == ["2", "3", "4"]
