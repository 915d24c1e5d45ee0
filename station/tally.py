"""Count what became of simulated boards, fault by fault and step by step, and put it together as a proof."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.advising import Boards, advised
from station.coverage import Course, courses, weighted_coverage
from station.defects import hottest
from station.likelihood import Likelihoods
from station.lines import Outcome
from station.lockstep import Condition
from station.lots import CODES, Told
from station.profile import Profile
from station.proof import FaultFound, Healthy, Proof
from station.proportions import Estimate, exact_interval
from station.sight import Seen

__all__ = ["Outcomes", "Tally", "Universe", "Wanted", "line_titles", "outcomes_of"]

FAILED, PASSED = CODES[Outcome.FAILED], CODES[Outcome.PASSED]

NOT_LOOKED = Seen(True, True, where="ended before it was looked into")
NOTHING_KNOWN, NO_COURSE = Estimate(0.0, 0.0, 1.0), Course((), (), ())

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Universe:
    """All faults of a board with their classes and likelihoods, and the places of those that were chosen."""

    faults: tuple[tuple[str, str], ...]
    likelihoods: Likelihoods
    chosen: tuple[int, ...]


@dataclass(frozen=True)
class Wanted:
    """How much is simulated: boards without a fault, boards of each fault, seed, processes."""

    healthy: int
    per_fault: int
    seed: int
    jobs: int


@dataclass(frozen=True)
class Outcomes:
    """What became of boards, in their order: each array (boards, ...); `first_line` is -1 where none failed."""

    caught: Bools
    passed: Bools
    unsolved: Bools
    first_line: NDArray[np.intp]
    failed: Bools  # (boards, lines)


def line_titles(profile: Profile) -> list[str]:
    """Return the titles of all lines that a profile judges, in order."""
    return [line.title for step in profile.steps for line in step.lines]


def _line_steps(profile: Profile) -> list[int]:
    """Return the place of each line's step."""
    return [at for at, step in enumerate(profile.steps) for _ in step.lines]


def outcomes_of(told: Sequence[Told]) -> Outcomes:
    """Return what became of the boards of all lots, one lot after the other."""
    outcomes = np.concatenate([each.outcomes for each in told])
    unsolved = np.concatenate([np.isin(np.arange(len(each.outcomes)), list(each.unsolved)) for each in told])
    failed = (outcomes == FAILED) & ~unsolved[:, None]
    caught = failed.any(axis=1)
    passed = (outcomes == PASSED).all(axis=1) & ~unsolved
    return Outcomes(caught, passed, unsolved, np.where(caught, failed.argmax(axis=1), -1), failed)


class Tally:
    """Puts a proof together from what was told of all boards."""

    def __init__(self, profile: Profile, universe: Universe, wanted: Wanted, told: Sequence[Told]) -> None:
        self._profile, self._universe, self._wanted, self._told = profile, universe, wanted, told
        self._titles, self._steps = line_titles(profile), _line_steps(profile)
        self._all = outcomes_of(told)
        places = np.concatenate([each.start + np.arange(len(each.outcomes)) for each in told])
        fault_of = np.where(places < wanted.healthy, -1, (places - wanted.healthy) // wanted.per_fault)
        # Faults of which no board was done before the end are left out.
        done = np.unique(fault_of[fault_of >= 0])
        self._chosen = [universe.chosen[at] for at in done.tolist()]
        # Of each board: which of these faults it has, or -1 for a good one.
        self._fault_of = np.where(fault_of < 0, -1, np.searchsorted(done, fault_of))
        weights = np.array(universe.likelihoods.weights)[self._chosen]
        self._weights = weights / (weights.sum() or 1.0)

    def hottest(self) -> dict[str, str]:
        """Return which part each fault heats of which boards pass, in words, if one gets hot."""
        passing = {int(at) for at in np.unique(self._fault_of[self._all.passed]) if at >= 0}
        return hottest(self._profile.board, [self._universe.faults[self._chosen[at]][0] for at in sorted(passing)])

    def proof(self, sights: Mapping[str, Seen], hot: Mapping[str, str], seconds: float, *, stopped: bool) -> Proof:
        """Return the proof; `sights` say what each fault shows, and `hot` is what `hottest` returned."""
        profile, universe = self._profile, self._universe
        faults = self._faults(sights, hot)
        caught, boards = ([getattr(fault, name) for fault in faults] for name in ("caught", "boards"))
        visible = [fault.visible for fault in faults]
        weights = [fault.weight for fault in faults]
        coverage = weighted_coverage(weights, caught, boards) if faults else NOTHING_KNOWN
        of_visible = weighted_coverage(weights, caught, boards, among=visible) if any(visible) else NOTHING_KNOWN
        step_seconds = self._step_seconds()
        as_written, fastest = courses(*self._by_step(), step_seconds) if faults else (NO_COURSE, NO_COURSE)
        titles = [step.setup.title for step in profile.steps]
        gains = np.diff([0.0, *as_written.coverage])
        caught_by = {titles[step]: float(gain) for step, gain in zip(as_written.order, gains, strict=True)}
        waiting = set().union(*(each.unfed_steps for each in self._told))
        faulty = self._fault_of >= 0
        ever = np.atleast_1d(self._all.failed[faulty].any(axis=0)).tolist()
        return Proof(
            profile=profile.name,
            revision=profile.revision,
            title=profile.board.form.title,
            seed=self._wanted.seed,
            healthy=self._healthy(),
            faults=faults,
            coverage=coverage,
            coverage_of_visible=of_visible,
            steps=tuple(titles),
            step_seconds=tuple(step_seconds.tolist()),
            as_written=as_written,
            fastest=fastest,
            idle_lines=tuple(title for title, failed in zip(self._titles, ever, strict=True) if not failed),
            waiting_steps=tuple(title for title in titles if title in waiting),
            left_out=universe.likelihoods.left_out,
            advice=advised(profile, self._passing(), caught_by),
            boards=self._all.caught.size,
            seconds=seconds,
            stopped=stopped,
            universe=len(universe.faults),
        )

    def _healthy(self) -> Healthy:
        good, outcomes = self._fault_of < 0, self._all
        causes = Counter(self._titles[at] for at in outcomes.first_line[good & outcomes.caught].tolist())
        solved, false_fails = int((good & ~outcomes.unsolved).sum()), int((good & outcomes.caught).sum())
        undecided = good & ~outcomes.unsolved & ~outcomes.caught & ~outcomes.passed
        return Healthy(
            boards=int(good.sum()),
            false_fails=false_fails,
            undecided=int(undecided.sum()),
            unsolved=int((good & outcomes.unsolved).sum()),
            rate=exact_interval(false_fails, max(solved, 1)),
            causes=tuple(causes.most_common()),
        )

    def _faults(self, sights: Mapping[str, Seen], hot: Mapping[str, str]) -> tuple[FaultFound, ...]:
        found = []
        for at, place in enumerate(self._chosen):
            own, outcomes = self._fault_of == at, self._all
            name, fault_class = self._universe.faults[place]
            sight = sights.get(name, NOT_LOOKED)
            firsts = Counter(self._steps[line] for line in outcomes.first_line[own & outcomes.caught].tolist())
            passed, caught = int((own & outcomes.passed).sum()), int((own & outcomes.caught).sum())
            unsolved = int((own & outcomes.unsolved).sum())
            found.append(
                FaultFound(
                    fault=name,
                    fault_class=fault_class,
                    weight=float(self._weights[at]),
                    caught=caught,
                    passed=passed,
                    undecided=int(own.sum()) - passed - caught - unsolved,
                    unsolved=unsolved,
                    first=tuple((self._profile.steps[step].setup.title, times) for step, times in firsts.most_common()),
                    visible=sight.visible or 2 * caught > int(own.sum()),
                    reason=self._reason(sight) if passed else "",
                    harm=(*sight.harm, *([hot[name]] if name in hot else [])) if passed else (),
                )
            )
        return tuple(found)

    def _reason(self, sight: Seen) -> str:
        """Return why boards with a fault pass."""
        if not sight.visible:
            return "tolerance hides it" if sight.differs else "no steady reading shows it"
        if not sight.terminal:
            return sight.where
        looks = [title for title in self._titles if f": {sight.terminal} " in title and _is_of(title, sight.quantity)]
        place = f"{sight.terminal} {sight.quantity} with {sight.where} would show it"
        return f"within limits: {place}" if looks else f"no line looks there: {place}"

    def _by_step(self) -> tuple[Floats, Floats]:
        """Return which faulty boards each step failed (boards, steps), and each board's share of the weight."""
        faulty = (self._fault_of >= 0) & ~self._all.unsolved
        failed = self._all.failed[faulty]
        steps = np.array(self._steps)
        caught = np.stack([failed[:, steps == at].any(axis=1) for at in range(len(self._profile.steps))], axis=1)
        return caught.astype(np.float64), self._share_of_each_board()[faulty]

    def _step_seconds(self) -> Floats:
        """Return what each step takes on a board that begins it (median, bench time)."""
        found = [
            [each for told in self._told for each in told.step_seconds.get(step.setup.title, [])]
            for step in self._profile.steps
        ]
        return np.array([float(np.median(seconds)) if seconds else 0.0 for seconds in found])

    def _passing(self) -> Boards:
        """Return the boards that passed, good ones and escapes."""
        passed, share = self._all.passed, self._share_of_each_board()
        values = np.concatenate([each.values for each in self._told])[passed]
        return Boards(self._fault_of[passed] < 0, share[passed], self._visited(passed), values)

    def _share_of_each_board(self) -> Floats:
        """Return each board's share of the weight, (boards,): a fault's weight over its boards that have a solution."""
        faulty = self._fault_of >= 0
        solved = np.bincount(self._fault_of[faulty & ~self._all.unsolved], minlength=len(self._weights))
        share = np.zeros(faulty.shape)
        share[faulty] = (self._weights / np.maximum(solved, 1))[self._fault_of[faulty]]
        return share

    def _visited(self, passed: Bools) -> dict[Condition, Floats]:
        """Return what boards that passed showed, under the conditions that every lot visited."""
        common = [
            key for key in self._told[0].visited if all(key in each.visited for each in self._told if each.visited)
        ]
        edges = np.cumsum([0, *(len(each.outcomes) for each in self._told)])
        found = {}
        for key in common:
            width = self._told[0].visited[key].shape[1]
            rows = [
                each.visited.get(key, np.full((len(each.outcomes), width), np.nan))[passed[begin:end]]
                for each, begin, end in zip(self._told, edges[:-1], edges[1:], strict=True)
            ]
            found[key] = np.concatenate(rows)
        return found


def _is_of(title: str, quantity: str) -> bool:
    """Whether a line judges what a reading of a quantity tells: regulation is made of voltages."""
    if "resistance" in title:
        return False
    return "current" in title if quantity == "current" else "current" not in title
