"""Work out from a proof's boards what would make the profile better: one more reading, tighter limits, idle steps."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.board import Board
from station.lockstep import Condition
from station.profile import Profile
from station.proof import Advice
from station.quantities import format_value
from station.sight import condition_text, place_text

__all__ = ["Boards", "advised"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# How far beyond all good boards a new limit stands: a share of their span, and what an instrument's doubt asks for.
SPAN_SHARE, VOLTS, VOLTS_SHARE, AMPS, AMPS_SHARE = 0.25, 2e-3, 2e-4, 1e-3, 2e-3
WORTH = 1e-3  # of the universe: less is not worth a line of advice
MOST_LIMITS = 3
CURRENT_HEADROOM = 1.3  # of the current limit above the loads of a reading


@dataclass(frozen=True)
class Boards:
    """Boards that passed: those without a fault, and those with one, each with its share of the universe's weight.

    `visited` has volts of all terminals and amps of all inputs under each condition (boards, T), `values` what the
    profile's lines judged (boards, L); NaN for what was not there. `good` are the rows without a fault.
    """

    good: Bools
    weights: Floats
    visited: Mapping[Condition, Floats]
    values: Floats


def advised(profile: Profile, boards: Boards, caught_by: Mapping[str, float]) -> tuple[Advice, ...]:
    """Return the advice, the most useful first; `caught_by` is the weight that each step was the first to catch."""
    if not boards.good.any():
        return ()
    reading, limits = _reading(profile, boards), _limits(profile, boards)
    found = [*([reading] if reading is not None else []), *limits]
    return (*sorted(found, key=lambda advice: -(advice.gain or 0.0)), *_idle(profile, caught_by))


def _margin(values: Floats, *, volts: bool) -> Floats:
    fixed, share = (VOLTS, VOLTS_SHARE) if volts else (AMPS, AMPS_SHARE)
    return np.asarray(fixed + share * np.abs(values))


def _window(good: Floats, *, volts: bool) -> tuple[float, float]:
    """Return limits that all good boards keep with room to spare, rounded outward to readable figures."""
    low, high = float(good.min()), float(good.max())
    room = SPAN_SHARE * (high - low) + float(_margin(np.array([low, high]), volts=volts).max())
    step = 10.0 ** math.floor(math.log10(max(room, 1e-12)))
    return math.floor((low - room) / step) * step, math.ceil((high + room) / step) * step


def _reading(profile: Profile, boards: Boards) -> Advice | None:
    """Return the one more reading that would catch most of what passes, at a condition that was visited anyway."""
    best: tuple[float, Condition, int, tuple[float, float]] | None = None
    for condition, seen in boards.visited.items():
        if not _is_whole(condition, profile.board):
            continue
        for column in range(seen.shape[1]):
            own = seen[:, column]
            good = own[boards.good]
            if not np.isfinite(good).all():
                continue
            volts = place_text(profile.board, column)[1] == "voltage"
            window = _window(good, volts=volts)
            doubt = _margin(own, volts=volts) / 2.0
            caught = (own < window[0] - doubt) | (own > window[1] + doubt)
            gain = float(boards.weights[~boards.good & caught].sum())
            if best is None or gain > best[0] + 1e-12:
                best = gain, condition, column, window
    if best is None or best[0] < WORTH:
        return None
    gain, condition, column, window = best
    terminal, quantity = place_text(profile.board, column)
    text = f"one more reading, {terminal} {quantity} with {condition_text(condition)}"
    return Advice(text, gain, _step(profile.board, condition, terminal, quantity, window))


def _is_whole(condition: Condition, board: Board) -> bool:
    """Whether all inputs are fed, to one magnitude: only so can a step ask for it; and not on the way up."""
    fed = dict(condition[0])
    inputs = board.terminals("input")
    magnitudes = {round(abs(fed.get(name, 0.0)), 6) for name in inputs}
    least = min(abs(form.nominal or 0.0) for form in inputs.values()) / 2.0
    return len(magnitudes) == 1 and min(magnitudes) >= least


def _step(board: Board, condition: Condition, terminal: str, quantity: str, window: tuple[float, float]) -> str:
    """Return a step of a profile that takes a reading at a condition."""
    unit = "V" if quantity == "voltage" else "A"
    volts = max(abs(value) for _, value in condition[0])
    loads = {name: amps for name, amps in condition[1] if amps}
    nominal = {abs(form.nominal or 0.0) for form in board.terminals("input").values()} == {volts}
    words = ["name: one more look"]
    words += [] if nominal else [f"inputs: {volts:.6g} V"]
    if loads:
        words.append("loads: {" + ", ".join(f"{name}: {amps:.6g} A" for name, amps in loads.items()) + "}")
        words.append(f"current limit: {CURRENT_HEADROOM * max(loads.values()):.3g} A")
    limit = f"{_written(window[0])} {unit} .. {_written(window[1])} {unit}"
    return "- measure: {" + ", ".join([*words, f"{terminal}: {{{quantity}: {limit}}}"]) + "}"


def _written(value: float) -> str:
    return f"{value + 0.0:.6f}".rstrip("0").rstrip(".")


def _limits(profile: Profile, boards: Boards) -> list[Advice]:
    """Return which limits could be tightened without failing good boards, and what that would catch."""
    found = []
    lines = [line for step in profile.steps for line in step.lines]
    for at, line in enumerate(lines):
        own = boards.values[:, at]
        good = own[boards.good]
        if line.limit is None or line.limit.unit not in ("V", "A") or not np.isfinite(good).all():
            continue
        window = _window(good, volts=line.limit.unit == "V")
        # A side that the profile leaves open stays open.
        low = None if line.limit.low is None else max(float(line.limit.low), window[0])
        high = None if line.limit.high is None else min(float(line.limit.high), window[1])
        caught = np.zeros(own.shape, dtype=bool) if low is None else own < low
        caught |= False if high is None else own > high
        gain = float(boards.weights[~boards.good & caught].sum())
        if gain >= WORTH:
            limit = _limit_text(low, high, line.limit.unit)
            found.append(Advice(f"tighten {line.title} to {limit}: no good board leaves it", gain))
    return sorted(found, key=lambda advice: -(advice.gain or 0.0))[:MOST_LIMITS]


def _limit_text(low: float | None, high: float | None, unit: str) -> str:
    shown = [format_value(edge, unit, digits=4) for edge in (low, high) if edge is not None]
    return " .. ".join(shown) if len(shown) == 2 else f"{'at most' if low is None else 'at least'} {shown[0]}"


def _idle(profile: Profile, caught_by: Mapping[str, float]) -> Sequence[Advice]:
    """Name steps that were the first to catch nothing, but for those that others need."""
    needed = ("inspect", "ramp", "trim", "soak", "final", "discharge")  # or see what only waiting or stress shows
    idle = [
        step.setup.title
        for step in profile.steps
        if step.form.kind not in needed and not caught_by.get(step.setup.title, 0.0)
    ]
    return [Advice(f"'{title}' adds nothing: it was never the first step to fail a faulty board") for title in idle]
