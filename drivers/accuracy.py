"""Say how far an instrument may be off, from the table in its data sheet.

The parts of a specification add up linearly: they are one bound (metrology handbooks and makers' worked examples; see
the check values of the tests). What a bound means as a standard uncertainty is not decided here.
"""

import math
from dataclasses import dataclass

__all__ = ["AccuracyRow", "AccuracyTable", "bound", "row_for"]


@dataclass(frozen=True)
class AccuracyRow:
    """The specification of one function on one range, all in the function's base unit.

    Bound = |reading| x `of_reading` + `range` x `of_range` + `counts` x `digit`; the first two are fractions, not
    percent. `range` is 0 where an instrument has none, as a supply's readback. `noise_rms` is the noise of one reading
    at 1 power-line cycle, which the bound does not contain.
    """

    function: str
    range: float
    of_reading: float = 0.0
    of_range: float = 0.0
    counts: float = 0.0
    digit: float = 0.0
    noise_rms: float = 0.0

    def __post_init__(self) -> None:
        parts = (self.range, self.of_reading, self.of_range, self.counts, self.digit, self.noise_rms)
        # `not 0 <= part` rather than `part < 0`: a NaN fails every comparison and must not pass here.
        if wrong := [part for part in parts if not 0.0 <= part < math.inf]:
            raise ValueError(f"an accuracy row of '{self.function}' holds {wrong[0]}; write finite values of 0 or more")
        if self.of_reading >= 1.0 or self.of_range >= 1.0:
            raise ValueError(f"an accuracy row of '{self.function}' is {self.of_reading} of reading; write fractions")


@dataclass(frozen=True)
class AccuracyTable:
    """All rows of one instrument; raises ValueError if two are for the same function and range."""

    rows: tuple[AccuracyRow, ...]

    def __post_init__(self) -> None:
        seen: set[tuple[str, float]] = set()
        for row in self.rows:
            if (row.function, row.range) in seen:
                raise ValueError(f"the accuracy table has '{row.function}' on {row.range:g} twice; keep one")
            seen.add((row.function, row.range))


def bound(row: AccuracyRow, reading: float) -> float:
    """Return the largest error allowed at `reading`, in the row's unit; a linear sum, never root-sum-square."""
    return abs(reading) * row.of_reading + row.range * row.of_range + row.counts * row.digit


def row_for(table: AccuracyTable, function: str, range: float) -> AccuracyRow:
    """Return the row of the range that was actually used, not of the smallest that would fit.

    Raises LookupError naming the ranges the table has.
    """
    of_function = [row for row in table.rows if row.function == function]
    for row in of_function:
        if math.isclose(row.range, range, rel_tol=1e-6):
            return row
    ranges = ", ".join(f"{row.range:g}" for row in of_function) or "none at all"
    raise LookupError(f"the accuracy table has no row for '{function}' on the range {range:g}; it has {ranges}")
