"""Share the weight of a class of faults out among its members on one board.

Members are fault texts, `R108:open` or `Q101.c-e:short`. A class's weight goes evenly to the places where it can
happen, and from there evenly to the faults that stand for the place: a resistor that has three wrong values nearby is
no likelier to be wrong than one that has two.
"""

import csv
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

__all__ = ["Mode", "failure_modes", "mode_shares", "rows_of", "shares_over"]

Floats = NDArray[np.float64]

# By the letters of the refdes, the longest first. Small capacitors of a regulator board are ceramic.
_KINDS = {
    "DLED": "LED",
    "LED": "LED",
    "DZ": "zener reference",
    "D": "diode",
    "R": "film resistor",
    "C": "ceramic capacitor",
    "L": "coil",
    "Q": "bipolar transistor",
    "X": "linear IC",
}


@dataclass(frozen=True)
class Mode:
    """One way in which a part fails: P(mode | the part failed), and patterns of the faults that stand for it.

    A pattern is matched with what a fault's text has behind the refdes; no pattern: no fault stands for the mode.
    """

    part: str
    name: str
    share: float
    patterns: tuple[str, ...]

    def stands(self, behind: str) -> bool:
        """Whether a fault, its text behind the refdes given, stands for the mode."""
        return any(fnmatchcase(behind, pattern) for pattern in self.patterns)


def rows_of(table: str) -> list[dict[str, str]]:
    """Return the rows of a table that is installed with the station; lines with # at their start are remarks."""
    lines = files("station").joinpath(table).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@cache
def failure_modes() -> Mapping[str, tuple[Mode, ...]]:
    """Return the modes of each kind of part, as the table has them; sources stand at its head."""
    modes = [
        Mode(row["part"], row["mode"], float(row["share"]), tuple(row["faults"].split()))
        for row in rows_of("failure_modes.csv")
    ]
    return {part: tuple(m for m in modes if m.part == part) for part in dict.fromkeys(m.part for m in modes)}


def _refdes(text: str) -> str:
    """Return the part that a fault is at, as the board names it; '' for a bridge from node to node."""
    name = text.partition(":")[0].partition(".")[0]
    return "" if "-" in name and text.partition(":")[2].startswith("bridge") else name


def _behind(text: str) -> str:
    return text.removeprefix(text.partition(":")[0].partition(".")[0])


def shares_over(places: str, members: Sequence[str]) -> Floats:
    """Return each member's share of its class, shape (members,), sum 1; `places` is 'joints', 'pairs' or 'parts'.

    A two-legged part that is open or cold as a whole stands for both of its joints, so it weighs as much as two pins.
    """
    if places == "parts":
        at = Counter(map(_refdes, members))
        weights = [1.0 / at[_refdes(text)] for text in members]
    elif places == "joints":
        weights = [2.0 if _behind(text) in (":open", ":cold") else 1.0 for text in members]
    else:
        weights = [1.0] * len(members)
    found = np.array(weights)  # (members,)
    return found / found.sum() if members else found


def mode_shares(faults: Sequence[str]) -> tuple[Floats, dict[tuple[str, str], float]]:
    """Return what each fault of a board stands for when any one part failed, and what no fault stands for.

    Every part is as likely to fail as any other; within a part the modes count by their shares, within a mode its
    faults evenly. The shares, shape (faults,), and those left over by (kind of part, mode) add up to 1; they are all
    zero and none where no part has modes.
    """
    parts: dict[str, list[int]] = {}
    for place, text in enumerate(faults):
        parts.setdefault(_refdes(text), []).append(place)
    kinds = {refdes: _kind_of(refdes, [_behind(faults[at]) for at in places]) for refdes, places in parts.items()}
    known = {refdes: kind for refdes, kind in kinds.items() if kind}
    shares = np.zeros(len(faults))  # (faults,)
    left: dict[tuple[str, str], float] = {}
    for refdes, kind in known.items():
        for mode in failure_modes()[kind]:
            standing = [at for at in parts[refdes] if mode.stands(_behind(faults[at]))]
            if standing:
                shares[standing] += mode.share / len(standing) / len(known)
            else:
                left[kind, mode.name] = left.get((kind, mode.name), 0.0) + mode.share / len(known)
    return shares, left


def _kind_of(refdes: str, behind: Sequence[str]) -> str:
    """Return the kind of part in the table of modes, '' for none, from its letters and the faults it can have."""
    if ":wiper" in behind:
        return "trimmer"
    if ":blown" in behind:  # a fuse that did its duty is not damaged, and its class has a weight of its own
        return ""
    if refdes.startswith("C") and ":reversed" in behind:
        return "aluminium electrolytic"
    return next((kind for letters, kind in _KINDS.items() if refdes.startswith(letters)), "")
