"""Read how often a shop found which fault, from a small YAML file, to weigh a board's faults by.

    counts:
      open or missing joint: 12
      "wrong value: decade": 2      # quoted, for the ': ' in it
      R108:open: 3

A key is a class of faults, or one fault of the board; each repair is counted once, under one of them.
"""

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Annotated

from pydantic import Field

from station.document import Document, parse_document, read_text
from station.errors import InputError, Problem
from station.forms import Form, fill, meant
from station.likelihood import RepairCounts, fault_classes

__all__ = ["RepairForm", "load_repair_counts", "parse_repair_counts"]

# Strict: `true` is no count, and 12.0 is no way to write one.
Times = Annotated[int, Field(strict=True, ge=0, le=1_000_000)]


class RepairForm(Form):
    """The keys of the file."""

    counts: dict[str, Times]


def load_repair_counts(path: Path, faults: Sequence[str]) -> RepairCounts:
    """Return the counts in a file for a board that can have `faults`; InputError holds all that is wrong with it."""
    return parse_repair_counts(read_text(path), str(path), faults)


def parse_repair_counts(text: str, file: str, faults: Sequence[str]) -> RepairCounts:
    """Return the counts in a text, `file` being its name; InputError holds all that is wrong with it."""
    document = parse_document(text, file)
    form, problems = fill(RepairForm, document.data, document, ())
    written = document.data.get("counts")
    names, more = _names(written if isinstance(written, dict) else {}, document, faults)
    if form is None or problems or more:
        raise InputError([*problems, *more])
    counted = [(names[key], times) for key, times in form.counts.items()]
    classes = fault_classes()
    return RepairCounts(
        by_class=tuple((name, times) for name, times in counted if name in classes),
        by_fault=tuple((name, times) for name, times in counted if name not in classes),
    )


def _names(keys: Iterable[str], document: Document, faults: Sequence[str]) -> tuple[dict[str, str], list[Problem]]:
    """Return each key's class or fault as the station spells it, and what is wrong with the keys."""
    known = {_folded(name): name for name in (*faults, *fault_classes())}
    names: dict[str, str] = {}
    problems = []
    for key in keys:
        found = known.get(_folded(key))
        if found is None:
            what = f"'{key}' is neither a class of faults nor a fault of this board"
            problems.append(document.problem(("counts", key), what, _instead(key, known)))
        elif found in names.values():
            what = f"'{key}' is counted a second time"
            problems.append(document.problem(("counts", key), what, "write the sum in one line"))
        else:
            names[key] = found
    return names, problems


def _folded(name: str) -> str:
    """Return a name without what people write differently: case, blanks."""
    return "".join(name.casefold().split())


def _instead(key: str, known: Mapping[str, str]) -> str:
    near = meant(_folded(key), known)
    if near is None:
        quoted = ", ".join(f"'{name}'" for name in fault_classes())
        return f"write one of {quoted}, or a fault such as R108:open"
    if known[near] in fault_classes():
        return f"write '{known[near]}'"
    return f"write '{known[near]}', or count it under its class"
