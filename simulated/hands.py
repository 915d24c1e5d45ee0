"""The simulated operator: turns a trimmer the way a person would, and answers questions."""

from dataclasses import dataclass

import numpy as np

from simulated.board import SimulatedBoard, TrimmerDescription
from simulated.clock import VirtualClock

__all__ = ["Hands"]

TURN_SECONDS = 2.0  # a look at the reading and a turn; invented, only bench time depends on it
ANSWER_SECONDS = 20.0  # a look at the board with a magnifier; invented
FIRST_TURNS = 1.0  # without any experience of a trimmer, try one turn
FINEST_TURNS = 1.0 / 72.0  # five degrees: what fingers can do


@dataclass
class _Feel:
    """What the hands have learnt of a trimmer: where it was, how many volts were missing, volts per turn."""

    missing_volts: float
    turns_made: float
    volts_per_turn: float | None = None


class Hands:
    """Turns by what the last turn did, with the small errors of a hand; the same seed makes the same hands."""

    def __init__(
        self,
        board: SimulatedBoard,
        trimmers: tuple[TrimmerDescription, ...],
        clock: VirtualClock,
        rng: np.random.Generator,
    ) -> None:
        self._board, self._clock, self._rng = board, clock, rng
        self._trimmers = {trimmer.name: trimmer for trimmer in trimmers}
        self._feel: dict[str, _Feel] = {}

    def answer(self, answers: tuple[str, ...]) -> str:
        """Answer a question: the simulated builder finds nothing by eye, and says yes where that is an answer."""
        self._clock.advance(ANSWER_SECONDS)
        return "yes" if "yes" in answers else answers[0]

    def turn(self, name: str, *, clockwise: bool, missing_volts: float) -> bool:
        """Turn a trimmer the given way, by what seems right for the volts missing; False when it is at its end."""
        self._clock.advance(TURN_SECONDS)
        trimmer = self._trimmers[name]
        turns = self._turns(name, missing_volts)
        before = self._board.trimmers[trimmer.parameter]
        wanted = before + (turns if clockwise else -turns) / trimmer.turns
        after = min(max(wanted, 0.0), 1.0)
        self._board.turn(trimmer.parameter, after)
        self._feel[name] = _Feel(missing_volts, abs(after - before) * trimmer.turns, self._slope(name, missing_volts))
        return after != before

    def _turns(self, name: str, missing_volts: float) -> float:
        slope = self._slope(name, missing_volts)
        aimed = FIRST_TURNS if slope is None else missing_volts / slope
        return max(FINEST_TURNS, aimed * float(self._rng.normal(0.95, 0.08)))

    def _slope(self, name: str, missing_volts: float) -> float | None:
        """Return volts per turn as felt in the last turn, unless it was too small to feel."""
        feel = self._feel.get(name)
        if feel is None:
            return None
        moved = abs(feel.missing_volts - missing_volts)
        if feel.turns_made < 0.05 or moved < 1e-4:
            return feel.volts_per_turn
        return feel.volts_per_turn or moved / feel.turns_made
