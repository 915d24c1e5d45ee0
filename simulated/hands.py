"""The simulated operator: turns a trimmer the way a person would, and answers questions."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from simulated.board import TrimmerDescription
from simulated.clock import LoneClock

__all__ = ["Hands"]

# What a hand takes, all invented: only bench time depends on it.
REACTION_SECONDS = 1.0  # a look at the reading, and back to the screwdriver
TURNS_PER_SECOND = 1.0
ANSWER_SECONDS = 20.0  # a look at the board with a magnifier; invented
FIRST_TURNS = 1.0  # without any experience or word of a trimmer, try one turn
PLAY_TURNS = 0.02, 0.08  # what a screw turns before the wiper follows, after every change of direction; from memory
FINEST_TURNS = 1.0 / 72.0  # five degrees: what fingers can do
MOST_TURNS = 5.0  # then look again
SMALLEST_FELT_TURNS = 0.05  # below this the reading's noise says more than the turn


class Trimmed(Protocol):
    """A board as far as hands reach."""

    @property
    def trimmers(self) -> Mapping[str, float]:
        """Each trimmer's travel clockwise, 0..1, by its netlist parameter."""

    def turn(self, parameter: str, position: float) -> None:
        """Put a trimmer's wiper to a position, 0..1 clockwise."""


@dataclass
class _Feel:
    """What the hands have learnt of a trimmer: the last turn made, what was missing before it, volts per turn."""

    missing_volts: float
    clockwise: bool
    turns_made: float
    volts_per_turn: float | None = None


class Hands:
    """Turns by what the last turn did, with the small errors of a hand; the same seed makes the same hands."""

    def __init__(
        self,
        board: Trimmed,
        trimmers: tuple[TrimmerDescription, ...],
        clock: LoneClock,
        rng: np.random.Generator,
    ) -> None:
        self._board, self._clock, self._rng = board, clock, rng
        self._trimmers = {trimmer.name: trimmer for trimmer in trimmers}
        self._feel: dict[str, _Feel] = {}
        self._slack: dict[str, float] = {}  # play not yet taken up
        self._play = {trimmer.name: float(rng.uniform(*PLAY_TURNS)) for trimmer in trimmers}

    def answer(self, answers: tuple[str, ...]) -> str:
        """Answer a question: the simulated builder finds nothing by eye, and says yes where that is an answer."""
        self._clock.advance(ANSWER_SECONDS)
        return "yes" if "yes" in answers else answers[0]

    def turn(self, name: str, *, clockwise: bool, missing_volts: float, about_turns: float | None = None) -> bool:
        """Turn a trimmer the given way, by what seems right for the volts missing; False when it is at its end.

        `about_turns` is what the hands are told it may take, which they believe until they know better.
        """
        trimmer = self._trimmers[name]
        slope = self._volts_per_turn(name, clockwise, missing_volts)
        aimed = (about_turns or FIRST_TURNS) if slope is None else missing_volts / slope
        turns = min(MOST_TURNS, max(FINEST_TURNS, aimed * float(self._rng.normal(0.95, 0.08))))
        self._clock.advance(REACTION_SECONDS + turns / TURNS_PER_SECOND)
        before = self._board.trimmers[trimmer.parameter]
        wiper = self._beyond_play(name, clockwise, turns)
        after = min(max(before + (wiper if clockwise else -wiper) / trimmer.turns, 0.0), 1.0)
        self._board.turn(trimmer.parameter, after)
        self._feel[name] = _Feel(missing_volts, clockwise, abs(after - before) * trimmer.turns, slope)
        return after != before or wiper == 0.0

    def _beyond_play(self, name: str, clockwise: bool, turns: float) -> float:
        """Return how much of a turn reaches the wiper: after a change of direction the screw's play comes first."""
        feel = self._feel.get(name)
        if feel is not None and feel.clockwise != clockwise:
            self._slack[name] = self._play[name]
        slack = self._slack.get(name, 0.0)
        self._slack[name] = max(0.0, slack - turns)
        return max(0.0, turns - slack)

    def _volts_per_turn(self, name: str, clockwise: bool, missing_volts: float) -> float | None:
        """Return what the last turn did to the rail, unless it was too small to tell; None before the first turn."""
        feel = self._feel.get(name)
        if feel is None:
            return None
        overshot = clockwise != feel.clockwise
        moved = feel.missing_volts + missing_volts if overshot else feel.missing_volts - missing_volts
        if feel.turns_made < SMALLEST_FELT_TURNS or moved <= 0.0:
            return feel.volts_per_turn
        return moved / feel.turns_made
