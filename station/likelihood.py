"""Weigh the faults a board can have by how likely each is, from a table of classes or from a shop's own repairs.

The classes' weights (assembly_priors.csv) are engineering judgement; which way a damaged part fails comes from
published shares (failure_modes.csv). Both say so at their head. One fault can stand for several mishaps, and their
weights add up in it: an open resistor is a lost joint, a part that was left out, or one that burnt.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import NDArray

from station.shares import mode_shares, rows_of, shares_over

__all__ = ["JUDGEMENT_COUNTS_AS", "Left", "Likelihoods", "RepairCounts", "fault_classes", "likelihoods"]

JUDGEMENT_COUNTS_AS = 20.0  # repairs: what the table of classes weighs against a shop's own counts; our choice

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RepairCounts:
    """How often a shop found each class of faults, and single faults beside them: (name, times)."""

    by_class: tuple[tuple[str, int], ...] = ()
    by_fault: tuple[tuple[str, int], ...] = ()

    def __post_init__(self) -> None:
        for name, times in (*self.by_class, *self.by_fault):
            if times < 0:
                raise ValueError(f"'{name}' was found {times} times; write a count of zero or more")

    @property
    def total(self) -> int:
        """All repairs counted."""
        return sum(times for _, times in (*self.by_class, *self.by_fault))


@dataclass(frozen=True)
class Left:
    """What the board's faults leave out of all that is likely: a class or mode that none of them stands for.

    `weight` is its share of everything that happens to boards, 0..1, before the rest is scaled to 1.
    """

    name: str
    weight: float


@dataclass(frozen=True)
class Likelihoods:
    """The weights of a board's faults, in the order they were given, sum 1, and what was left out."""

    weights: tuple[float, ...]
    left_out: tuple[Left, ...]


@dataclass(frozen=True)
class _Class:
    name: str
    weight: float
    fault_class: str
    shared_over: str


@dataclass(frozen=True)
class _Shared:
    """A class's shares on one board, shape (faults,), and those that no fault stands for; together they are 1."""

    shares: Floats
    left: dict[str, float] = field(default_factory=dict)


@cache
def _classes() -> tuple[_Class, ...]:
    return tuple(
        _Class(row["class"], float(row["percent"]) / 100.0, row["fault_class"], row["shared_over"])
        for row in rows_of("assembly_priors.csv")
    )


def fault_classes() -> tuple[str, ...]:
    """Return the classes that repairs can be counted under: those of faults, 'part missing', 'insulator missing'."""
    return tuple(found.name for found in _classes())


def likelihoods(
    defects: Sequence[tuple[str, str]],
    repairs: RepairCounts | None = None,
    *,
    judgement_counts_as: float = JUDGEMENT_COUNTS_AS,
) -> Likelihoods:
    """Return the weights of a board's defects, each (fault text, class name), as relative likelihoods of sum 1.

    The weight of a class is (prior * k + count) / (k + total), k being `judgement_counts_as`. A class's count goes to
    its faults as its prior does; the count of a single fault is the fault's own, whatever its class. Give the whole
    universe of the board, and choose afterwards: what is weighed is what can happen to the board. Raises ValueError
    for a class that is not in the table, a fault twice, a count of something that is not there, or a damaged part
    in a way that no mode of failure has.
    """
    repairs = repairs or RepairCounts()
    faults = [fault for fault, _ in defects]
    _check(defects, repairs)
    counted, total = dict(repairs.by_class), judgement_counts_as + repairs.total
    weights, left_out = np.zeros(len(faults)), list[Left]()  # weights (faults,)
    for found in _classes():
        weight = (found.weight * judgement_counts_as + counted.get(found.name, 0)) / total
        shared = _shared(found, defects)
        weights += weight * shared.shares
        left_out += [Left(name, weight * share) for name, share in shared.left.items()]
    for fault, times in repairs.by_fault:
        weights[faults.index(fault)] += times / total
    if wrong := [fault for fault, weight in zip(faults, weights, strict=True) if not weight > 0.0]:
        raise ValueError(f"{wrong[0]} stands for no mode of failure; add it to one in failure_modes.csv")
    return Likelihoods(tuple((weights / (weights.sum() or 1.0)).tolist()), tuple(left_out))


def _shared(found: _Class, defects: Sequence[tuple[str, str]]) -> _Shared:
    shares = np.zeros(len(defects))  # (faults,)
    if found.shared_over == "modes":
        shares, left = mode_shares([fault for fault, _ in defects])
        named = {f"{found.name}: {part}, {mode}": share for (part, mode), share in left.items()}
        return _Shared(shares, named) if shares.any() or named else _Shared(shares, {found.name: 1.0})
    members = [at for at, (_, fault_class) in enumerate(defects) if fault_class == found.fault_class]
    if not members:
        return _Shared(shares, {found.name: 1.0})
    shares[members] = shares_over(found.shared_over, [defects[at][0] for at in members])
    return _Shared(shares)


def _check(defects: Sequence[tuple[str, str]], repairs: RepairCounts) -> None:
    carried = {found.fault_class for found in _classes()} - {""}
    faults = {fault for fault, _ in defects}
    if wrong := {fault_class for _, fault_class in defects} - carried:
        raise ValueError(f"'{min(wrong)}' is no class of faults; write one of {', '.join(sorted(carried))}")
    if len(faults) < len(defects):
        raise ValueError("a fault is listed twice; list each once")
    if lost := [name for name, _ in repairs.by_class if name not in fault_classes()]:
        raise ValueError(f"repairs are counted of '{lost[0]}'; write one of {', '.join(fault_classes())}")
    if lost := [name for name, _ in repairs.by_fault if name not in faults]:
        raise ValueError(f"repairs are counted of '{lost[0]}', which is no fault of this board; write one that is")
