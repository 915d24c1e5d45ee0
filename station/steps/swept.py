"""Hold what one output does in a sweep, and tell whether it had settled on the way.

A sweep ends where it began. An output that does not come back there had not settled, however steady each look was: a
slow tail below the noise of two quick looks shows in the whole sweep only.
"""

import math

from msgspec.structs import replace

from station.asks import Quantity, Read, Reading, Wait
from station.lines import Line
from station.quantities import format_value
from station.steps.kinds import Setup, Taken
from station.steps.settling import APART_SECONDS, FIRST_PAUSE_SECONDS, Settled, agree, settled
from station.uncertainty import Result, rectangular

__all__ = ["DEAD_VOLTS", "Sweep"]

# So many standard deviations of one reading does noise alone spread eight readings apart (2.85, control charts' d2).
NOISE_SPAN = 3.0
# An output has come back if it is off by no more than noise explains once in a hundred thousand times, or by no
# more than this share of what its limit allows.
BACK_NOISES, BACK_SHARE = 4.5, 0.1
DEAD_VOLTS = 1e-3  # an output below has no regulation


class Sweep:
    """One output in a sweep: how it began, its points, and how it ended in the same condition.

    `late_seconds` is how long an output took that came back late: what each of its points needs; 0 for all others.
    """

    def __init__(self, setup: Setup, line: Line, begin: Settled, per: float) -> None:
        self.line, self.points = line, list[tuple[float, Reading]]()
        self._setup, self._begin, self._end, self._per = setup, begin.reading, begin.reading, per
        self._unrest, self.late_seconds = begin.unrest, 0.0

    @classmethod
    async def begun(cls, setup: Setup, line: Line, effort: float, within: float, per: float = 1.0) -> "Sweep":
        """Look at the output before the sweep, with the least effort, from `effort` on, that can pass a perfect one.

        `per` turns a change of the output, as a share, into what the line judges.
        """
        assert line.limit is not None
        seen = await settled(setup, line.terminal, effort=effort, within=within, apart=APART_SECONDS)
        for more in setup.rule.efforts:
            volts = abs(seen.reading.value)
            noise = seen.reading.u_random / max(volts, DEAD_VOLTS) / per
            perfect = setup.rule.could_pass(NOISE_SPAN * noise, math.sqrt(2.0) * noise, line.limit)
            if perfect or seen.unrest or volts < DEAD_VOLTS:
                break
            if more > seen.reading.effort:
                seen = await settled(setup, line.terminal, effort=more, earlier=seen.reading, within=within)
        return cls(setup, line, seen, per)

    async def point(self, at: float, within: float, apart: float = FIRST_PAUSE_SECONDS) -> None:
        """Take the reading of one point; an output that did not settle once is not waited for again."""
        found = await self._look(0.0 if self._unrest else within, apart)
        self.points.append((at, found.reading))
        self._unrest = self._unrest or found.unrest

    @property
    def effort(self) -> float:
        """The effort that its readings were asked with."""
        return self._begin.effort

    async def end(self, within: float) -> None:
        """Look at the output under the condition under which the sweep began; one that is off is followed back."""
        self._end = (await self._look(within, APART_SECONDS)).reading
        now, waited = self._end, APART_SECONDS
        while self._strayed(now) and waited < within:
            pause = min(waited, within - waited)
            await Wait(pause)
            waited += pause
            now = await Read(self.line.terminal, Quantity.VOLTAGE, self._begin.effort)
        if self._strayed(self._end) and not (self._unrest or self._strayed(now)):  # else waiting would not help
            self.late_seconds = waited

    async def _look(self, within: float, apart: float) -> Settled:
        effort = self._begin.effort
        return await settled(self._setup, self.line.terminal, effort=effort, within=within, apart=apart)

    def frozen(self) -> str:
        """Say so where all points show the very same number, whatever was drawn."""
        values = {reading.value for _, reading in self.points}
        if len(values) > 1 or abs(self._begin.value) < DEAD_VOLTS:
            return ""
        shown = format_value(values.pop(), "V", digits=7)
        return f"{self.line.terminal} not settled: exactly {shown} under every load, as if the meter were frozen"

    def taken(self, result: Result, unrest: str) -> Taken:
        """Return what the sweep gave; an output that did not come back is as doubtful as it is off."""
        if not self._strayed(self._end):
            return Taken(result, self._unrest or unrest)
        doubt = math.hypot(result.u, rectangular(abs(self._end.value - self._begin.value)) / self._base / self._per)
        before, after = (format_value(each.value, "V", digits=6) for each in (self._begin, self._end))
        why = f"{self.line.terminal} not settled: {before} before the sweep, {after} after it"
        return Taken(replace(result, u=doubt), self._unrest or unrest or why)

    @property
    def _base(self) -> float:
        return max(abs(self._begin.value), DEAD_VOLTS)

    def _strayed(self, now: Reading) -> bool:
        assert self.line.limit is not None
        allowed = BACK_SHARE * float(self.line.limit.high or 0.0) * self._base * self._per
        return abs(now.value - self._begin.value) > allowed and not agree(self._begin, now, BACK_NOISES)
