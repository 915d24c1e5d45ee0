"""Bring the bench into its safe state and verify it: loads off, outputs off, 0 V, charge gone.

A failure on one instrument never keeps the others from being made safe. What can't be verified is said.
"""

from collections.abc import Callable, Sequence

from station.asks import SafeState
from station.clock import Clock
from station.errors import StationError
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
    volts: list[tuple[str, float]] = []
    for terminal in terminals:
        try:
            volts.append((terminal, _bled(left_volts, terminal, safe_below, clock)))
        except (StationError, OSError) as error:
            problems.append(f"{terminal}: the voltage left there can't be read ({error})")
    charged = [f"{name} still holds {format_value(v, 'V', digits=3)}" for name, v in volts if abs(v) >= safe_below]
    if span := _between_rails(volts, safe_below):
        charged.append(span)
    return SafeState(not problems and not charged, (*problems, *charged), tuple(volts), clock.seconds())


def _bled(left_volts: Callable[[str], float], terminal: str, safe_below: float, clock: Clock) -> float:
    """Return the volts left at a terminal once they are below `safe_below`, or after the longest wait."""
    end = clock.seconds() + MOST_SECONDS
    while abs(volts := left_volts(terminal)) >= safe_below and clock.seconds() < end:
        clock.wait(POLL_SECONDS)
    return volts


def _between_rails(volts: Sequence[tuple[str, float]], safe_below: float) -> str:
    """Return what is wrong between the highest and the lowest terminal: two safe rails add up."""
    if not volts:
        return ""
    low, high = min(volts, key=lambda pair: pair[1]), max(volts, key=lambda pair: pair[1])
    span = high[1] - low[1]
    return f"{span:.3g} V are left between {low[0]} and {high[0]}" if span >= 2.0 * safe_below else ""
