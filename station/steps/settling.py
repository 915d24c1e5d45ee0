"""Read what has settled instead of waiting a fixed time: look until the looks agree.

Two looks that agree within their noise are enough where nothing was seen to move. Where something moved, its tail is
followed below the noise: all looks must agree in the last third of the time it took. What has not settled in the time
it was given is read all the same, with its spread as doubt, and with the reason.
"""

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import msgspec
from msgspec.structs import replace

from station.asks import Quantity, Read, Reading, Wait
from station.quantities import format_value
from station.uncertainty import rectangular

if TYPE_CHECKING:  # kinds reads what has settled, and says what a setup is
    from station.steps.kinds import Setup

__all__ = [
    "APART_SECONDS",
    "FIRST_PAUSE_SECONDS",
    "SETTLE_WITHIN_SECONDS",
    "Settled",
    "agree",
    "inputs_settled",
    "settled",
]

SETTLE_WITHIN_SECONDS = 2.0  # common practice, no source: a regulator takes milliseconds, its reservoir some tenths
FIRST_PAUSE_SECONDS, PAUSE_GROWTH = 5e-3, 1.5
# Two looks so far apart also see what creeps or swings slowly: an output that only its own divider can discharge.
APART_SECONDS = 0.1
# Of no common measure: evenly spaced looks can all meet a swing at the same height.
LONGEST_PAUSES_SECONDS = (50e-3, 31e-3, 41e-3)
# Two looks differ by more than noise once in four hundred times: that costs a third look.
AGREEING_NOISES = 3.0
# Once something moved, all looks of so long agree: of this share of the time since the first look, and no less than
# a swing of a few hertz can hide in.
QUIET_SHARE, QUIET_SECONDS, QUIET_LOOKS = 1.0 / 3.0, 50e-3, 5
TOLD_LOOKS = 6  # the last looks tell how far a restless reading still moves
# How near an input must be to what it is fed: supplies are a tenth of that off, and a wire's drop is small.
FED_SHARE, FED_VOLTS = 0.01, 0.05

Excuse = Callable[[Reading], str]  # what a reading shows that no settled board would show, '' where nothing


class Settled(msgspec.Struct, frozen=True):
    """A reading, and why it can't be taken as settled ('' where it can); its doubt then holds its spread."""

    reading: Reading
    unrest: str = ""


def agree(one: Reading, other: Reading, noises: float = AGREEING_NOISES) -> bool:
    """Tell whether two readings differ by no more than their noise explains."""
    return abs(one.value - other.value) <= noises * math.hypot(one.u_random, other.u_random)


async def settled(
    setup: "Setup",
    terminal: str,
    quantity: Quantity = Quantity.VOLTAGE,
    *,
    effort: float | None = None,
    before: Reading | None = None,
    earlier: Reading | None = None,
    within: float = SETTLE_WITHIN_SECONDS,
    apart: float = FIRST_PAUSE_SECONDS,
) -> Settled:
    """Return a settled reading, taken with an effort (the rule's quickest).

    `before` is a reading from before a change whose effect must show: a reading that repeats it to the last digit
    is frozen, not settled. `earlier` is one from after the change, which stands for the first look. `within` is
    how long to wait in all, `apart` how long between the first two looks (seconds).
    """
    last = Read(terminal, quantity, effort or setup.rule.efforts[0])
    if before is None:
        return await _watched(setup, last, earlier, within, apart)
    was = before.value

    def frozen(reading: Reading) -> str:
        shown = format_value(was, quantity.unit, digits=7)
        return f"still exactly {shown}, as before the change" if reading.value == was else ""

    return await _watched(setup, last, earlier, within, apart, frozen)


async def inputs_settled(setup: "Setup", magnitudes: dict[str, float], within: float = SETTLE_WITHIN_SECONDS) -> str:
    """Wait until every input is at what it is fed (volts); return what is not, in words.

    A lowered input falls only as fast as the board empties its reservoir: a supply can't take current back.
    """
    for name, magnitude in magnitudes.items():

        def elsewhere(reading: Reading, name: str = name, magnitude: float = magnitude) -> str:
            if abs(abs(reading.value) - magnitude) <= FED_SHARE * magnitude + FED_VOLTS:
                return ""
            shown = format_value(reading.value, "V", digits=4)
            return f"{name} is at {shown}, fed {format_value(magnitude, 'V', digits=4)}"

        look = Read(name, Quantity.VOLTAGE, setup.rule.efforts[0])
        if unrest := (await _watched(setup, look, None, within, FIRST_PAUSE_SECONDS, elsewhere, known=True)).unrest:
            return unrest
    return ""


async def _watched(
    setup: "Setup",
    last: Read,
    earlier: Reading | None,
    within: float,
    apart: float,
    excuse: Excuse = lambda reading: "",
    known: bool = False,
) -> Settled:
    """Look, pause and look until what `last` asks for is settled, or the time is over.

    `excuse` says what is wrong with a steady look; where it is `known` where that has to be, two looks are enough.
    """
    quick = Read(last.terminal, last.quantity, setup.rule.efforts[0])
    looks, times = [earlier or await quick], [0.0]
    pause = 0.0 if earlier else apart
    final = last  # while nothing was seen to move, the second look is the reading itself
    while True:
        if pause:
            await Wait(pause)
        looks.append(await final)
        times.append(times[-1] + max(pause, looks[-1].seconds - looks[-2].seconds, FIRST_PAUSE_SECONDS))
        if _at_rest(looks, times, quick=known) and not excuse(looks[-1]):
            if final is last:
                return Settled(looks[-1])
            final, pause = last, 0.0  # quick looks agree: now the reading itself, which must agree with them
            continue
        if times[-1] >= within:
            return await _restless(looks, excuse(looks[-1]), within, last)
        final = last if last.effort <= quick.effort else quick
        longest = LONGEST_PAUSES_SECONDS[len(looks) % len(LONGEST_PAUSES_SECONDS)]
        pause = min(max(pause * PAUSE_GROWTH, FIRST_PAUSE_SECONDS), longest)


def _at_rest(looks: list[Reading], times: list[float], *, quick: bool) -> bool:
    """Tell whether the last looks agree: two, or once something moved, all in the last part of the time.

    A tail that has faded into the noise took about seven of its time constants; in the last third of that time, two
    and more, what is left of it would have shown.
    """
    if not agree(looks[-2], looks[-1]):
        return False
    if len(looks) == 2 or quick:
        return True
    begin = times[-1] - max(QUIET_SHARE * times[-1], QUIET_SECONDS)
    first = max((at for at, time in enumerate(times) if time <= begin), default=0)
    return all(agree(look, looks[-1]) for look in looks[max(0, min(first, len(looks) - QUIET_LOOKS)) : -1])


async def _restless(looks: list[Reading], excuse: str, within: float, last: Read) -> Settled:
    """Return a reading of what has not settled, with the spread of the last looks as doubt, and the reason."""
    values = [look.value for look in looks[-TOLD_LOOKS:]]
    spread = max(values) - min(values)
    reading = looks[-1] if looks[-1].effort >= last.effort else await last
    doubt = math.hypot(reading.u_random, rectangular(spread / 2.0))
    why = excuse or f"still moving by {format_value(spread, last.quantity.unit, digits=2)}"
    after = format_value(within, "s")
    return Settled(replace(reading, u_random=doubt), f"{last.terminal} not settled within {after}: {why}")
