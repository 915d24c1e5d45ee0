"""Hold what proving a profile found: how each fault was caught, what good boards suffered, and what could be better.

Terms are those of IEEE 2427: a universe of defects, the likelihood of each, and its detection.
"""

from dataclasses import dataclass

from station.coverage import Course
from station.likelihood import Left
from station.proportions import Estimate

__all__ = ["Advice", "FaultFound", "Healthy", "Proof"]


@dataclass(frozen=True)
class FaultFound:
    """One fault of the universe and what became of its simulated boards.

    `weight` is its share of the universe. Boards are `caught` (Failed), `passed` (escapes), `undecided` (Undecided
    or Aborted) or `unsolved` (no circuit solution: never counted as caught). `first` counts the caught boards by
    the step that failed first. `visible`: some terminal shows the fault under the rated conditions, whatever the
    profile reads. `reason` says why boards pass, '' where none does; `harm` what the fault does to board or load.
    """

    fault: str
    fault_class: str
    weight: float
    caught: int
    passed: int
    undecided: int
    unsolved: int
    first: tuple[tuple[str, int], ...]
    visible: bool
    reason: str = ""
    harm: tuple[str, ...] = ()

    @property
    def boards(self) -> int:
        """Boards that had a solution."""
        return self.caught + self.passed + self.undecided

    @property
    def escaping(self) -> float:
        """The weight that passes: what the fault weighs, times the share of its boards that passed."""
        return self.weight * self.passed / self.boards if self.boards else 0.0


@dataclass(frozen=True)
class Healthy:
    """What became of boards without a fault; `causes` counts the false fails by the line that failed first."""

    boards: int
    false_fails: int
    undecided: int
    unsolved: int
    rate: Estimate  # of false fails
    causes: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True)
class Advice:
    """One thing that would make the profile better, in words.

    `gain` is the coverage it adds (a fraction) where that is known; `write` the YAML to put into the profile, '' where
    something is to be left out.
    """

    text: str
    gain: float | None = None
    write: str = ""


@dataclass(frozen=True)
class Proof:
    """What proving one profile found.

    `as_written` and `fastest` are coverage over bench time, their orders indexes into `steps`. `idle_lines` failed on
    no faulty board; `waiting_steps` see what only waiting shows, which simulated boards at rest do not. `left_out` is
    what is likely and has no fault in the universe. `stopped` if it was ended early: then all is of what was done.
    `universe` is how many faults the board can have: with fewer chosen, all shares are of the chosen ones.
    """

    profile: str
    revision: str
    title: str
    seed: int
    healthy: Healthy
    faults: tuple[FaultFound, ...]
    coverage: Estimate
    coverage_of_visible: Estimate
    steps: tuple[str, ...]
    step_seconds: tuple[float, ...]
    as_written: Course
    fastest: Course
    idle_lines: tuple[str, ...]
    waiting_steps: tuple[str, ...]
    left_out: tuple[Left, ...]
    advice: tuple[Advice, ...]
    boards: int
    seconds: float
    stopped: bool = False
    universe: int = 0

    @property
    def escapes(self) -> tuple[FaultFound, ...]:
        """Faults of which boards passed, the heaviest first."""
        found = [fault for fault in self.faults if fault.passed]
        return tuple(sorted(found, key=lambda fault: -fault.escaping))
