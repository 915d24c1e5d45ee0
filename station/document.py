"""Read a YAML file and remember where each value stands, so that every error can name its line and column."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from station.errors import InputError, Problem

__all__ = ["Document", "Path_", "parse_document", "read_text"]

Path_ = tuple[str | int, ...]  # keys and indices from the top of the document to a value
Place = tuple[int, int]  # line and column, counted from 1
MOST_BYTES = 1_000_000


class _Loader(yaml.SafeLoader):
    """YAML with the core schema only: no dates, no sexagesimal numbers, and 'yes', 'no', 'on' stay words."""

    yaml_implicit_resolvers: dict[str, list[tuple[str, re.Pattern[str]]]] = {}  # noqa: RUF012  pyyaml's own name


for _tag, _pattern, _first in (
    ("bool", r"true|false", "tf"),
    ("null", r"null|~|", ["n", "~", ""]),
    ("int", r"[-+]?[0-9]+", list("-+0123456789")),
    ("float", r"[-+]?(\.[0-9]+|[0-9]+\.[0-9]*)([eE][-+]?[0-9]+)?|\.nan|[-+]?\.inf", list("-+.0123456789")),
):
    _Loader.add_implicit_resolver(f"tag:yaml.org,2002:{_tag}", re.compile(rf"^(?:{_pattern})$"), list(_first))


@dataclass(frozen=True)
class Document:
    """A file's data with the place of each key and value."""

    file: str
    data: Any
    places: dict[Path_, Place]

    def problem(self, path: Path_, what: str, instead: str = "") -> Problem:
        """Return a problem at a path, or at the nearest enclosing value that has a place."""
        while path and path not in self.places:
            path = path[:-1]
        line, column = self.places.get(path, (1, 1))
        return Problem(self.file, line, column, what, instead)


def read_text(path: Path) -> str:
    """Return a text file's content; InputError where it is missing, too large, empty or not UTF-8 text."""
    name = str(path)
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise InputError.about("there is no such file", "check the name", file=name) from None
    except OSError as error:
        raise InputError.about(f"it can't be read ({error.strerror})", "check the path", file=name) from None
    if len(raw) > MOST_BYTES:
        raise InputError.about(f"it holds {len(raw)} bytes, too many for a text of ours", "check the name", file=name)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        what = f"byte {error.start + 1} is not UTF-8 text"
        instead = "save the file as UTF-8, or check that it is the right one"
        raise InputError([Problem(name, line, 0, what, instead)]) from None
    if not text.strip():
        raise InputError.about("the file is empty", "write at least its first key", file=name)
    return text


def parse_document(text: str, file: str) -> Document:
    """Return the document in a YAML text whose top is a mapping; InputError names the place of what is wrong."""
    try:
        root = yaml.compose(text, Loader=_Loader)
    except yaml.reader.ReaderError as error:
        line = text[: error.position].count("\n") + 1
        what = f"character {error.position + 1} ({error.character!r}) does not belong in a text file"
        raise InputError([Problem(file, line, 0, what, "check that it is the right file")]) from None
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        raise InputError([Problem(file, *place, f"this is not YAML: {error.problem}", _advice(error))]) from None
    if not isinstance(root, yaml.MappingNode):
        raise InputError([Problem(file, 1, 1, "the file has no keys", "write 'key: value' lines")])
    reader = _Reader(file)
    data = reader.plain(root, ())
    if reader.problems:
        raise InputError(reader.problems)
    return Document(file, data, reader.places)


def _advice(error: yaml.MarkedYAMLError) -> str:
    problem = error.problem or ""
    if "\\t" in problem:
        return "indent with spaces, not tabs"
    if "mapping values" in problem:
        return "put a text that holds ': ' in quotes"
    return "check indentation, brackets and quotes just before this place"


class _Reader:
    """Turn YAML nodes into plain data, noting places and what no file of ours may hold."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.places: dict[Path_, Place] = {}
        self.problems: list[Problem] = []
        self._seen: set[int] = set()
        self._loader = _Loader("")

    def plain(self, node: yaml.Node, path: Path_) -> Any:  # noqa: ANN401  this is the YAML edge
        place = (node.start_mark.line + 1, node.start_mark.column + 1)
        self.places.setdefault(path, place)
        if id(node) in self._seen:
            self._wrong(place, "an alias (*name) is used", "write the value out")
            return None
        self._seen.add(id(node))
        if isinstance(node, yaml.MappingNode):
            return {key: self.plain(value, (*path, key)) for key, value in self._pairs(node, path)}
        if isinstance(node, yaml.SequenceNode):
            return [self.plain(item, (*path, index)) for index, item in enumerate(node.value)]
        if not node.tag.startswith("tag:yaml.org,2002:"):
            self._wrong(place, f"the tag {node.tag} is used", "write a plain value")
            return None
        return self._loader.construct_object(node)

    def _pairs(self, node: yaml.MappingNode, path: Path_) -> Iterator[tuple[str, yaml.Node]]:
        keys: set[str] = set()
        for key_node, value in node.value:
            place = (key_node.start_mark.line + 1, key_node.start_mark.column + 1)
            if not isinstance(key_node, yaml.ScalarNode):
                self._wrong(place, "a key is a list or mapping", "write a word as key")
                continue
            key = str(key_node.value)
            if key in keys:
                self._wrong(place, f"the key '{key}' stands here a second time", "keep one of them")
                continue
            keys.add(key)
            self.places[(*path, key)] = place
            yield key, value

    def _wrong(self, place: Place, what: str, instead: str) -> None:
        self.problems.append(Problem(self.file, *place, what, instead))
