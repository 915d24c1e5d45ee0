"""The command tree: commands are declared as header patterns with parameters and a handler, and found by header.

A pattern is written as manuals print it: capitals are the short form, `[...]` a default node that may be left
out, `<1:4>` a numeric suffix (1 when not sent), a `?` at the end makes it a query:
`[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]`.
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from itertools import product
from typing import TypeVar, overload

from simulated.instruments.errors import ScpiError
from simulated.instruments.parameters import Parameter

__all__ = ["Command", "CommandTree", "command"]

A = TypeVar("A")
B = TypeVar("B")

_NODE = re.compile(r"(\[)?:?(\*?[A-Z][A-Za-z]*)(?:<([0-9]+):([0-9]+)>)?\]?")


@dataclass(frozen=True)
class Command:
    """A header pattern, what it takes, and what it does; `run` returns the answer of a query, else None."""

    pattern: str
    parameters: tuple[Parameter[object], ...]
    run: Callable[..., str | None]  # its arguments are checked against the parameters by `command`
    ends_message: bool = False  # the answer is arbitrary ASCII: only the terminator ends it (488.2 10.14)


@overload
def command(pattern: str, run: Callable[[], str | None], /) -> Command: ...
@overload
def command(pattern: str, run: Callable[[A], str | None], a: Parameter[A], /) -> Command: ...
@overload
def command(pattern: str, run: Callable[[A, B], str | None], a: Parameter[A], b: Parameter[B], /) -> Command: ...
def command(pattern: str, run: Callable[..., str | None], /, *parameters: Parameter[object]) -> Command:
    """Declare a command; the types of the handler's arguments must be those its parameters yield."""
    return Command(pattern, parameters, run)


@dataclass
class _Node:
    suffixes: range = range(0)
    children: dict[str, "_Node"] = field(default_factory=dict)
    commands: dict[bool, Command] = field(default_factory=dict)  # by "is a query"


class CommandTree:
    """All commands of an instrument; ValueError for a header declared twice."""

    def __init__(self, commands: Iterable[Command]) -> None:
        self._root = _Node()
        for each in commands:
            self._add(each)

    def find(self, mnemonics: tuple[str, ...], *, query: bool) -> Command:
        """Return the command of a header counted from the root; ScpiError -113, or -114 for its suffix."""
        node = self._root
        for mnemonic in mnemonics:
            node = _child(node, mnemonic, mnemonics)
        if query not in node.commands:
            raise _undefined(mnemonics, query=query)
        return node.commands[query]

    def suffix_of(self, mnemonics: tuple[str, ...]) -> int:
        """Return the number in a header that was found, 1 where none was sent."""
        node, suffix = self._root, 1
        for mnemonic in mnemonics:
            if mnemonic not in node.children:
                suffix = int(mnemonic[len(mnemonic.rstrip("0123456789")) :])
            node = _child(node, mnemonic, mnemonics)
        return suffix

    def _add(self, new: Command) -> None:
        nodes = list(_NODE.finditer(new.pattern.removesuffix("?")))
        for taken in product(*((True, False) if each[1] else (True,) for each in nodes)):
            node = self._root
            for match, is_sent in zip(nodes, taken, strict=True):
                if is_sent:
                    node = _grow(node, match)
            is_query = new.pattern.endswith("?")
            if is_query in node.commands:
                raise ValueError(f"'{new.pattern}' is declared twice, see '{node.commands[is_query].pattern}'")
            node.commands[is_query] = new


def _grow(node: _Node, match: "re.Match[str]") -> _Node:
    word = match[2]
    long, short = word.upper(), "".join(c for c in word if not c.islower())
    child = node.children.get(long) or node.children.get(short) or _Node()
    node.children[long] = node.children[short] = child
    if match[3]:
        child.suffixes = range(int(match[3]), int(match[4]) + 1)
    return child


def _child(node: _Node, mnemonic: str, header: tuple[str, ...]) -> _Node:
    found = node.children.get(mnemonic)
    if found is not None:
        return found
    word = mnemonic.rstrip("0123456789")
    found = node.children.get(word)
    if found is None or not found.suffixes:
        raise _undefined(header, query=False)
    if int(mnemonic[len(word) :]) not in found.suffixes:
        raise ScpiError(-114, mnemonic)
    return found


def _undefined(mnemonics: tuple[str, ...], *, query: bool) -> ScpiError:
    return ScpiError(-113, ":".join(mnemonics) + ("?" if query else ""))
