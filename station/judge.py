"""Judge results against limits, taking measurement uncertainty into account (JCGM 106:2012, ILAC-G8:09/2019).

A rule is fixed before the first reading. Under `simple` a result inside its limit passes. Under `guarded` it must
lie inside by a guard band w, taken from the expanded uncertainty or from the risk of a false accept; it fails when
it lies outside by w, and in between nothing is proved: Undecided.
"""

import math
from dataclasses import dataclass, field
from functools import cached_property

from scipy.special import ndtri

from station.lines import Judgement, Line, Outcome
from station.quantities import Limit
from station.uncertainty import Result

__all__ = ["EFFORTS", "Rule", "conformity"]

ROOT_2 = math.sqrt(2.0)
EFFORTS = (0.02, 1.0, 10.0)  # power-line cycles; an instrument takes what it has that is nearest


def conformity(value: float, u: float, limit: Limit) -> float:
    """Return the probability that the true value lies inside the limit, for a normal distribution (JCGM 106, 7.2)."""
    if u == 0.0:
        return 1.0 if limit.room(value) >= 0.0 else 0.0
    low, high = limit.edges
    return max(0.0, _normal((value - low) / u) + _normal((high - value) / u) - 1.0)


def _normal(deviate: float) -> float:
    """Return the standard normal distribution up to a deviate."""
    return 0.5 * math.erfc(-deviate / ROOT_2)


@dataclass(frozen=True)
class Rule:
    """A decision rule.

    `guard_factor` r gives w = r·U with U = 2u. Otherwise `risk` is the most that a false accept may have; looks
    before the last get `early_risk` each and the last what is left, so that all looks together keep to `risk`
    (a union bound: nothing is assumed about how the looks hang together).
    """

    guarded: bool = True
    risk: float = 0.02
    guard_factor: float | None = None
    efforts: tuple[float, ...] = field(default=EFFORTS)

    def __post_init__(self) -> None:
        if not 0.0 < self.risk < 0.5:
            raise ValueError(f"a false-accept risk of {self.risk:.6g} can not be kept; write 0 % to 50 %")
        if self.guard_factor is not None and not 0.0 <= self.guard_factor <= 10.0:
            raise ValueError(f"a guard band of {self.guard_factor:.6g} U is not usable; write 0 to 10")
        if not 1 <= len(self.efforts) <= 10 or list(self.efforts) != sorted(self.efforts):
            raise ValueError("the efforts of a rule are one to ten increasing numbers of power-line cycles")

    @property
    def early_risk(self) -> float:
        """The share of the risk that each look before the last may spend: a tenth."""
        return self.risk / 10.0

    @property
    def sweep_effort(self) -> float:
        """The effort of readings that are taken once and can't be looked at longer, as in a soak: the middle one."""
        return self.efforts[len(self.efforts) // 2]

    def risk_left(self, *, last: bool) -> float:
        """Return the false-accept risk that one look may have."""
        return self.risk - self.early_risk * (len(self.efforts) - 1) if last else self.early_risk

    @cached_property
    def _guard_deviates(self) -> dict[bool, float]:
        """The guard band over u, where risks set it: of the last look (True), and of each before it."""
        return {last: -float(ndtri(self.risk_left(last=last))) for last in (False, True)}

    def guard(self, u: float, *, last: bool = True) -> float:
        """Return the guard band w for a standard uncertainty, in its unit."""
        if not self.guarded:
            return 0.0
        if self.guard_factor is not None:
            return self.guard_factor * 2.0 * u
        return self._guard_deviates[last] * u

    def outcome(self, value: float, u: float, limit: Limit, *, last: bool = True) -> Outcome:
        """Return Passed, Failed or Undecided; a value that is no number is refused with ValueError."""
        if not (math.isfinite(value) and 0.0 <= u < math.inf):
            raise ValueError(f"the judge was given {value} ± {u}, which is no reading; such a line is Aborted")
        room, guard = limit.room(value), self.guard(u, last=last)
        dust = 1e-12 * abs(value)  # a reading on the edge of the guard band is on it, as one on the limit is
        if room >= 0.0 and room >= guard - dust and self._both_sides_kept(value, u, limit, last):
            return Outcome.PASSED
        return Outcome.FAILED if room < 0.0 and -room >= guard - dust else Outcome.UNDECIDED

    def _both_sides_kept(self, value: float, u: float, limit: Limit, last: bool) -> bool:
        """Keep the risk where the tolerance is so narrow that both limits weigh; one side alone is w's matter."""
        if not self.guarded or self.guard_factor is not None or limit.low is None or limit.high is None:
            return True
        return conformity(value, u, limit) >= 1.0 - self.risk_left(last=last) - 1e-9

    def judge(self, line: Line, result: Result, *, last: bool = True, unrest: str = "") -> Judgement:
        """Return the judgement of a measured line; with `unrest`, the reason why it isn't settled, never Passed."""
        assert line.limit is not None, f"{line.title} has no limit to judge against"
        outcome = self.outcome(result.value, result.u, line.limit, last=last)
        return Judgement(
            line,
            Outcome.UNDECIDED if unrest and outcome is Outcome.PASSED else outcome,
            result.value,
            result.u,
            conformity(result.value, result.u, line.limit),
            self.guard(result.u, last=last),
            result.effort,
            cause=unrest,
        )

    def could_pass(self, value: float, u: float, limit: Limit) -> bool:
        """Tell whether a look before the last would pass so good a value with this much doubt."""
        return self.outcome(value, u, limit, last=False) is Outcome.PASSED

    def __str__(self) -> str:
        if not self.guarded:
            return "simple acceptance: a reading inside its limit passes; up to half of readings on a limit are wrong"
        if self.guard_factor is not None:
            return (
                f"guarded: passes inside the limit by at least w = {self.guard_factor:g} U (U = 2 u), "
                "fails outside by at least w, else Undecided"
            )
        return (
            f"guarded: passes where the risk of a false accept is at most {self.risk * 100:g} % over all looks, "
            "fails outside by the same guard band, else Undecided"
        )
