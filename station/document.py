"""Read a YAML file and remember where each value stands, so that every error can name its line and column."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from station.errors import InputError, Problem

__all__ = ["Document", "Path_", "parse_document", "read_text"]

Path_ = tuple[str | int, ...]  # keys and indices from the top of the document to a value
Place = tuple[int, int]  # line and column, counted from 1
MOST_BYTES = 1_000_000
MOST_VALUES = 20_000  # keys counted in; a second's work, and far beyond what a person writes
YAML_TAG = "tag:yaml.org,2002:"
ALIAS_TAG = "!alias"
_COLLECTIONS: dict[type, str] = {yaml.MappingNode: f"{YAML_TAG}map", yaml.SequenceNode: f"{YAML_TAG}seq"}


class _TooMuch(Exception):
    """A text holds more values than a file of ours; its argument is the line where that shows, from 1."""


class _Loader(yaml.SafeLoader):
    """YAML with the core schema only: no dates, no sexagesimal numbers, and 'yes', 'no', 'on' stay words."""

    yaml_implicit_resolvers: dict[str, list[tuple[str, re.Pattern[str]]]] = {}  # noqa: RUF012  pyyaml's own name
    composed = 0

    def compose_node(self, parent: yaml.Node | None, index: Any) -> yaml.Node | None:  # noqa: ANN401  pyyaml's
        """Keep an alias as a mark of its own place; it is refused, never followed."""
        self.composed += 1
        if self.composed > MOST_VALUES:
            raise _TooMuch(self.line + 1)
        if not self.check_event(yaml.AliasEvent):
            return super().compose_node(parent, index)
        event = self.get_event()  # type: ignore[no-untyped-call]  # the stubs leave it open
        return yaml.ScalarNode(ALIAS_TAG, event.anchor, event.start_mark, event.end_mark)


_SCALARS: dict[str, tuple[re.Pattern[str], list[str], Callable[[str], Any]]] = {
    "bool": (re.compile(r"^(?:true|false)$"), list("tf"), lambda text: text == "true"),
    "null": (re.compile(r"^(?:null|~|)$"), ["n", "~", ""], lambda text: None),
    # Python refuses to read integers of thousands of digits; beyond 18 they stay texts here.
    "int": (re.compile(r"^[-+]?[0-9]{1,18}$"), list("-+0123456789"), int),
    "float": (
        re.compile(r"^(?:[-+]?(\.[0-9]+|[0-9]+\.[0-9]*)([eE][-+]?[0-9]+)?|\.nan|[-+]?\.inf)$"),
        list("-+.0123456789"),
        lambda text: float(re.sub(r"\.(?=nan|inf)", "", text)),
    ),
}
for _tag, (_pattern, _first, _) in _SCALARS.items():
    _Loader.add_implicit_resolver(f"{YAML_TAG}{_tag}", _pattern, _first)


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
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise InputError.about("there is no such file", "check the name", file=name) from None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = getattr(error, "strerror", None) or error
        raise InputError.about(f"it can't be read ({reason})", "check the path", file=name) from None
    if len(raw) > MOST_BYTES:
        raise InputError.about(f"it holds more than {MOST_BYTES} bytes", "check that it is the right one", file=name)
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
        what = f"character {error.position + 1} (U+{ord(text[error.position]):04X}) does not belong in a text file"
        raise InputError([Problem(file, line, 0, what, "check that it is the right file")]) from None
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        raise InputError([Problem(file, *place, f"this is not YAML: {error.problem}", _advice(error))]) from None
    except _TooMuch as error:
        what = f"it holds more than {MOST_VALUES} values"
        raise InputError([Problem(file, error.args[0], 0, what, "check that it is the right one")]) from None
    except RecursionError:
        raise InputError.about("its values are nested too deeply", "write it flatter", file=file) from None
    except (ValueError, OverflowError):  # pyyaml turns '\\UFFFFFFFF' and '%YAML 111...' into numbers without a look
        what = "this is not YAML: a version or character code in it is out of range"
        raise InputError.about(what, "look for '%YAML' and for '\\U' in quotes", file=file) from None
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
    if "another document" in problem:
        return "keep one document a file: take '---' out"
    if "got '?'" in problem:
        return "put a text that holds '?' in quotes"
    if "mapping values" in problem:
        return "put a text that holds ': ' in quotes"
    return "check indentation, brackets and quotes just before this place"


class _Reader:
    """Turn YAML nodes into plain data, noting places and what no file of ours may hold."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.places: dict[Path_, Place] = {}
        self.problems: list[Problem] = []

    def plain(self, node: yaml.Node, path: Path_) -> Any:  # noqa: ANN401  this is the YAML edge
        place = (node.start_mark.line + 1, node.start_mark.column + 1)
        self.places.setdefault(path, place)
        if not node.tag.startswith(YAML_TAG) or node.tag != _COLLECTIONS.get(type(node), node.tag):
            return self._refused_tag(node, place)
        if isinstance(node, yaml.MappingNode):
            return {key: self.plain(value, (*path, key)) for key, value in self._pairs(node, path)}
        if isinstance(node, yaml.SequenceNode):
            return [self.plain(item, (*path, index)) for index, item in enumerate(node.value)]
        kind, text = node.tag.removeprefix(YAML_TAG), str(node.value)
        if kind == "str":
            return text
        if kind not in _SCALARS or not _SCALARS[kind][0].match(text):
            return self._refused_tag(node, place)
        return _SCALARS[kind][2](text)

    def _refused_tag(self, node: yaml.Node, place: Place) -> None:
        if node.tag == ALIAS_TAG:
            self._wrong(place, f"the alias *{node.value} is used", "write the value out")
        else:
            self._wrong(place, f"the tag {node.tag.replace(YAML_TAG, '!!')} is used", "write a plain value")

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
