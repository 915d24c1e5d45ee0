"""Draw what a proof found: coverage over bench time, and what became of each class of faults.

Only geometry and words are made here; the template draws them. Pictures are 460 units wide, so that their letters can
still be read on a page of 400 pixels, and are told apart by dashes, marks and hatching, never by colour.
"""

import math
from dataclasses import dataclass

from station.coverage import Course
from station.proof import FaultFound, Proof
from station.report.proof_words import share_text
from station.report.wording import seconds_text

__all__ = ["Bar", "Bars", "Curve", "Part", "Picture", "Tick", "class_bars", "coverage_picture", "fates"]

WIDTH = 460.0
LEFT, RIGHT = 44.0, 440.0  # of the area that is drawn on
TOP, BOTTOM = 14.0, 214.0
NEAR = 13.0  # two labels closer than this, both ways, would be written over each other
ROW, BAR, FIRST_ROW = 36.0, 13.0, 8.0

CAUGHT, UNDECIDED, UNSOLVED = "caught", "Undecided", "no solution"
NOT_DONE, ESCAPED, INVISIBLE = "not simulated", "escapes", "escapes: no terminal shows it"
FATES = (CAUGHT, UNDECIDED, UNSOLVED, NOT_DONE, ESCAPED, INVISIBLE)
HATCHING = dict(zip(FATES, ("caught", "undecided", "unsolved", "not-done", "escaped", "invisible"), strict=True))


@dataclass(frozen=True)
class Tick:
    """A place on an axis, and what is written there."""

    at: float
    text: str


@dataclass(frozen=True)
class Curve:
    """A step curve: its path, its marks (x, y), and the number of the step below or above each that has room for it."""

    path: str
    marks: tuple[tuple[float, float], ...]
    numbers: tuple[tuple[float, float, str], ...]


@dataclass(frozen=True)
class Picture:
    """Coverage over bench time; `ceiling` is where all that terminals show would lie, None where that is everything."""

    written: Curve
    fastest: Curve
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    ceiling: Tick | None
    description: str


@dataclass(frozen=True)
class Part:
    """A piece of a bar, hatched by what became of the faults."""

    x: float
    width: float
    hatching: str
    told: str


@dataclass(frozen=True)
class Bar:
    """A class of faults, from `y` down."""

    y: float
    name: str
    figures: str
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class Bars:
    """What became of each class; `key` names the hatchings that occur: (x, y, hatching, meaning)."""

    bars: tuple[Bar, ...]
    across: tuple[Tick, ...]
    axis: float
    key: tuple[tuple[float, float, str, str], ...]
    height: float
    description: str


def coverage_picture(proof: Proof) -> Picture | None:
    """Return the picture of coverage over bench time; None where no step was taken."""
    if not proof.as_written.order:
        return None
    longest = max(*proof.as_written.seconds, *proof.fastest.seconds, 1.0)
    return Picture(
        _curve(proof.as_written, longest, below=True),
        _curve(proof.fastest, longest, below=False),
        tuple(Tick(_x(seconds, longest), f"{seconds:g}") for seconds in _round_steps(longest)),
        tuple(Tick(_y(fraction), f"{fraction * 100:.0f}") for fraction in (0.0, 0.25, 0.5, 0.75, 1.0)),
        _ceiling(proof),
        f"As written: {_told(proof, proof.as_written)}. Fastest gain first: {_told(proof, proof.fastest)}.",
    )


def _x(seconds: float, longest: float) -> float:
    return round(LEFT + (RIGHT - LEFT) * seconds / longest, 1)


def _y(fraction: float) -> float:
    return round(BOTTOM - (BOTTOM - TOP) * fraction, 1)


def _round_steps(longest: float, most: int = 6) -> list[float]:
    """Return round values from 0 to the longest, at most one more than `most`."""
    decade = 10.0 ** math.floor(math.log10(longest / most))
    step = next(decade * factor for factor in (1.0, 2.0, 5.0, 10.0) if decade * factor * most >= longest)
    return [step * count for count in range(math.floor(longest / step + 1e-9) + 1)]


def _curve(course: Course, longest: float, *, below: bool) -> Curve:
    """Return a curve that rises where a step ends: until then the board has not failed."""
    path, marks, numbers = f"M{LEFT} {_y(0.0)}", list[tuple[float, float]](), list[tuple[float, float, str]]()
    for step, seconds, coverage in zip(course.order, course.seconds, course.coverage, strict=True):
        x, y = _x(seconds, longest), _y(coverage)
        path += f" H{x} V{y}"
        marks.append((x, y))
        number = _beside(x, y, below=below)
        if all(abs(number[0] - left) > NEAR or abs(number[1] - at) > NEAR for left, at, _ in numbers):
            numbers.append((*number, f"{step + 1}"))
    return Curve(path, tuple(marks), tuple(numbers))


def _beside(x: float, y: float, *, below: bool) -> tuple[float, float]:
    """Return where a mark's number stands: clear of its own curve, and of the axes."""
    if y + 14.0 > BOTTOM:
        return x + 5.0, y - 6.0
    return (x + 6.0, y + 14.0) if below else (x - 14.0, y - 5.0)


def _ceiling(proof: Proof) -> Tick | None:
    total = math.fsum(fault.weight for fault in proof.faults)
    visible = math.fsum(fault.weight for fault in proof.faults if fault.visible)
    if not 0.0 < visible < total:
        return None
    return Tick(_y(visible / total), f"all that terminals show: {share_text(visible / total)}")


def _told(proof: Proof, course: Course) -> str:
    steps = zip(course.order, course.seconds, course.coverage, strict=True)
    return ", ".join(f"{share_text(coverage)} after {proof.steps[at]} ({seconds_text(s)})" for at, s, coverage in steps)


def fates(fault: FaultFound) -> dict[str, float]:
    """Return what became of a fault's weight: it is shared out by its boards with a solution, as coverage has it."""
    if not fault.boards:
        return {UNSOLVED if fault.unsolved else NOT_DONE: fault.weight}
    each = fault.weight / fault.boards
    passed = ESCAPED if fault.visible else INVISIBLE
    return {CAUGHT: each * fault.caught, UNDECIDED: each * fault.undecided, passed: each * fault.passed}


def class_bars(proof: Proof) -> Bars | None:
    """Return what became of each class of faults, the heaviest class first; None where there is no fault."""
    classes: dict[str, dict[str, float]] = {}
    for fault in proof.faults:
        sums = classes.setdefault(fault.fault_class, dict.fromkeys(FATES, 0.0))
        for fate, weight in fates(fault).items():
            sums[fate] += weight
    heaviest = max((math.fsum(sums.values()) for sums in classes.values()), default=0.0)
    if not heaviest:
        return None
    ordered = sorted(classes.items(), key=lambda each: -math.fsum(each[1].values()))
    bars = tuple(_bar(FIRST_ROW + ROW * row, name, sums, heaviest) for row, (name, sums) in enumerate(ordered))
    axis = FIRST_ROW + ROW * len(bars)
    occurring = [fate for fate in FATES if any(sums[fate] for sums in classes.values())]
    key = tuple(_key(place, axis + 50.0, fate) for place, fate in enumerate(occurring))
    ticks = tuple(Tick(_across(at / 100.0, heaviest), f"{at:g}") for at in _round_steps(heaviest * 100.0))
    told = "; ".join(f"{bar.name} {bar.figures}" for bar in bars)
    return Bars(bars, ticks, axis, key, axis + 50.0 + 20.0 * math.ceil(len(key) / 2), f"Share of the universe: {told}.")


def _across(fraction: float, heaviest: float) -> float:
    return round(4.0 + (WIDTH - 12.0) * fraction / heaviest, 1)


def _bar(y: float, name: str, sums: dict[str, float], heaviest: float) -> Bar:
    parts, start, total = list[Part](), 0.0, math.fsum(sums.values())
    for fate, weight in sums.items():
        x, end = _across(start, heaviest), _across(start + weight, heaviest)
        if weight:
            parts.append(Part(x, round(end - x, 1), HATCHING[fate], f"{fate} {share_text(weight, 2)}"))
        start += weight
    caught = share_text(sums[CAUGHT] / total if total else 0.0)
    return Bar(y, name, f"{share_text(total)}, caught {caught}", tuple(parts))


def _key(place: int, top: float, fate: str) -> tuple[float, float, str, str]:
    row, column = divmod(place, 2)
    return 4.0 + 200.0 * column, top + 20.0 * row, HATCHING[fate], fate
