"""Bring the bench into its safe state and verify it: loads off, outputs off, 0 V, charge gone.

A failure on one instrument never keeps the others from being made safe. What can't be verified is said.
"""

from collections.abc import Callable, Sequence

from station.asks import SafeState
from station.clock import Clock
from station.quantities import format_value

__all__ = ["CUT_BY_HAND", "made_safe"]

POLL_SECONDS = 0.5
MOST_SECONDS = 120.0  # a rail that still holds charge after this is told to the operator
CUT_BY_HAND = "The bench could NOT be verified safe: cut the supply by hand, and measure before you touch"

Switch = tuple[str, Callable[[], tuple[str, ...]]]  # what it is, and how to switch it off: returns problems


def made_safe(
    switches: Sequence[Switch],
    left_volts: Callable[[str], float],
    terminals: Sequence[str],
    safe_below: float,
    clock: Clock,
) -> SafeState:
    """Switch everything off, then watch each terminal until it is below `safe_below` (volts); never raises."""
    problems: list[str] = []
    for name, switch_off in switches:
        try:
            problems += (f"{name}: {problem}" for problem in switch_off())
        except Exception as error:  # noqa: BLE001  whatever one instrument does, the next must be made safe
            problems.append(f"{name}: {error}")
    volts, unread = _bled(left_volts, terminals, safe_below, clock)
    problems += unread
    charged = [f"{name} still holds {format_value(v, 'V', digits=3)}" for name, v in volts if abs(v) >= safe_below]
    if _span(volts) >= safe_below:
        charged.append(f"{format_value(_span(volts), 'V', digits=3)} are left between two rails, which add up")
    return SafeState(not problems and not charged, (*problems, *charged), tuple(volts), clock.seconds())


def _bled(
    left_volts: Callable[[str], float], terminals: Sequence[str], safe_below: float, clock: Clock
) -> tuple[list[tuple[str, float]], list[str]]:
    """Watch the terminals until all are below `safe_below`, also one against the other, or the longest wait is over.

    Returns the volts left at each, and the terminals that can't be read, in words.
    """
    end = clock.seconds() + MOST_SECONDS
    while True:
        volts: list[tuple[str, float]] = []
        unread: list[str] = []
        for terminal in terminals:
            try:
                volts.append((terminal, left_volts(terminal)))
            except Exception as error:  # noqa: BLE001  a terminal that can't be read is told, and never raises
                unread.append(f"{terminal}: the voltage left there can't be read ({error})")
        empty = all(abs(v) < safe_below for _, v in volts) and _span(volts) < safe_below
        if empty or unread or clock.seconds() >= end:
            return volts, unread
        clock.wait(POLL_SECONDS)


def _span(volts: Sequence[tuple[str, float]]) -> float:
    """Return the volts between the highest and the lowest terminal, GND included: two safe rails add up."""
    found = [0.0, *(v for _, v in volts)]
    return max(found) - min(found)
