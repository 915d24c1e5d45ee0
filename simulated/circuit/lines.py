"""Turn a netlist's text into logical lines: continuations joined, comments gone, includes followed.

Each line keeps the place it came from, `file:line`, for every later message.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from .errors import NetlistError

__all__ = ["Line", "logical_lines"]

# `$` and `//` start a comment only behind a blank, `;` anywhere: as the simulators read them.
_COMMENT = re.compile(r";|(?:^|(?<=\s))(?:\$|//)")
_INCLUDE = re.compile(r"\.inc(?:lude)?\s+(.+)", re.IGNORECASE)
_DEEPEST_INCLUDE = 10
_LONGEST = 20_000  # characters of a card with its continuations


@dataclass(frozen=True)
class Line:
    """One logical line and the place of its first physical line."""

    place: str
    text: str


def logical_lines(text: str, *, name: str, folder: Path | None, first: int = 1, depth: int = 0) -> list[Line]:
    """Return the logical lines of a netlist's text from line `first` on, up to `.end`."""
    lines: list[Line] = []
    for line in _joined(text, name, first):
        if line.text.lower().split()[0] == ".end":
            break
        if include := _INCLUDE.fullmatch(line.text):
            lines += _included(include.group(1), line, folder, depth)
        else:
            lines.append(line)
    return lines


def _joined(text: str, name: str, first: int) -> Iterator[Line]:
    pending: list[str] = []
    place = ""
    for number, raw in enumerate(text.splitlines()[first - 1 :], start=first):
        stripped = raw.strip()
        if not stripped or stripped.startswith("*"):
            continue
        bare = _COMMENT.split(stripped, maxsplit=1)[0].strip()
        if not bare:
            continue
        if "\0" in bare:
            raise NetlistError(f"{name}:{number}", "this line holds a zero byte; give a netlist in plain text")
        if not bare.startswith("+"):
            if pending:
                yield _line(place, pending)
            place, pending = f"{name}:{number}", [bare]
        elif pending:
            pending.append(bare[1:].strip())
        else:
            raise NetlistError(f"{name}:{number}", "'+' continues no line; remove it or write the card it belongs to")
    if pending:
        yield _line(place, pending)


def _line(place: str, words: list[str]) -> Line:
    text = " ".join(word for word in words if word)
    if len(text) > _LONGEST:
        raise NetlistError(place, f"a card of {len(text)} characters is too long; write it as several cards")
    return Line(place, text)


def _included(written: str, line: Line, folder: Path | None, depth: int) -> list[Line]:
    path_text = written.strip().strip("\"'")
    if folder is None:
        raise NetlistError(
            line.place, f".include {path_text} needs a netlist that lies in a folder; write its cards here"
        )
    home = folder.resolve()
    path = (home / path_text).resolve()
    if not path.is_relative_to(home):
        raise NetlistError(
            line.place, f".include {path_text} leaves the netlist's own folder; copy that file beside the netlist"
        )
    if depth >= _DEEPEST_INCLUDE:
        raise NetlistError(
            line.place, f".include {path_text} is nested {depth} deep; remove the file that includes itself"
        )
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise NetlistError(
            line.place, f".include {path_text} cannot be read ({error}); write the name of a text file"
        ) from error
    return logical_lines(text, name=path_text, folder=home, depth=depth + 1)
