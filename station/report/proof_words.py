"""Word what a proof found, for terminal and page alike: shares in percent, intervals, counts, boards by name."""

from collections.abc import Iterable

from station.proof import Advice, FaultFound, Healthy, Proof
from station.proportions import Estimate

__all__ = [
    "advice_text",
    "causes_text",
    "counted",
    "escapes_text",
    "estimate_text",
    "firsts_text",
    "headline",
    "healthy_text",
    "names_text",
    "scope_text",
    "share_text",
    "stopped_text",
    "unsolved_boards",
    "unsolved_text",
]

RATE_DECIMALS = 2  # false fails are some in ten thousand


def share_text(fraction: float, decimals: int = 1, *, unit: str = " %") -> str:
    """Return a fraction in percent; only what is exactly none or all is written as 0 or 100."""
    fraction = round(fraction, 12) + 0.0  # float dust of sums is not a share; + 0.0: nor is there a minus zero
    if fraction in (0.0, 1.0):
        return f"{fraction * 100:.0f}{unit}"
    shown, smallest = f"{fraction * 100:.{decimals}f}", 10.0**-decimals
    if float(shown) == 0.0:
        return f"< {smallest:.{decimals}f}{unit}"
    return f"> {100.0 - smallest:.{decimals}f}{unit}" if float(shown) == 100.0 else f"{shown}{unit}"


def estimate_text(estimate: Estimate, decimals: int = 1) -> str:
    """Return '86.1 % (84.9 .. 87.2 %)': a share and its interval."""
    low, high = share_text(estimate.low, decimals, unit=""), share_text(estimate.high, decimals)
    return f"{share_text(estimate.value, decimals)} ({low} .. {high})"


def counted(number: int, what: str) -> str:
    """Return '1 board' or '2 boards'."""
    return f"{number} {what}{'' if number == 1 else 's'}"


def headline(proof: Proof) -> str:
    """Return what came out in one line; of simulated boards, which it says."""
    coverage = share_text(proof.coverage.value) if proof.faults else "not known"
    return f"SIMULATED {proof.profile} revision {proof.revision}  coverage {coverage}; {escapes_text(proof)}"


def scope_text(proof: Proof) -> str:
    """Return of which faults all shares are: the whole universe, or those that were chosen or done of it."""
    if len(proof.faults) >= proof.universe:
        return "the whole universe"
    return f"{len(proof.faults)} of the universe's {counted(proof.universe, 'fault')}"


def escapes_text(proof: Proof) -> str:
    """Return how many faults escape, that is, of how many any board passed."""
    if not proof.faults:
        return "no faulty board was simulated"
    number = len(proof.escapes)
    of = counted(len(proof.faults), "fault")
    return f"{number or 'none'} of {of} escape{'' if number > 1 else 's'}"


def stopped_text(proof: Proof) -> str:
    """Return that a proof was ended early and of how many boards it is; '' for one that was not."""
    if not proof.stopped:
        return ""
    return f"ENDED EARLY: all figures are of the {counted(proof.boards, 'board')} done by then"


def healthy_text(healthy: Healthy) -> str:
    """Return what became of boards without a fault, Undecided apart."""
    if not healthy.boards:
        return "none simulated, so nothing is known of false fails"
    rate = estimate_text(healthy.rate, RATE_DECIMALS)
    return f"{healthy.false_fails} of {healthy.boards} failed: {rate}; {healthy.undecided} Undecided"


def names_text(counts: Iterable[tuple[str, int]]) -> str:
    """Return 'R1:open (3), R2:open (1)'."""
    return ", ".join(f"{name} ({number})" for name, number in counts)


def causes_text(healthy: Healthy) -> str:
    """Return the lines at which healthy boards failed first, the commonest first; '' where none failed."""
    return names_text(sorted(healthy.causes, key=lambda cause: -cause[1]))


def unsolved_boards(proof: Proof) -> tuple[tuple[str, int], ...]:
    """Return the boards without a circuit solution by fault, those of healthy boards last."""
    faulty = [(fault.fault, fault.unsolved) for fault in proof.faults if fault.unsolved]
    healthy = [("no fault", proof.healthy.unsolved)] if proof.healthy.unsolved else []
    return (*sorted(faulty, key=lambda each: -each[1]), *healthy)


def unsolved_text(proof: Proof) -> str:
    """Return how many boards have no circuit solution, by fault; '' where all have one."""
    found = unsolved_boards(proof)
    return f"{counted(sum(number for _, number in found), 'board')}: {names_text(found)}" if found else ""


def advice_text(advice: Advice) -> str:
    """Return an advice with what it gains in front, where that is known."""
    if advice.gain is None:
        return advice.text
    gain = share_text(advice.gain)
    return f"{gain if gain.startswith('<') else f'+{gain}'}: {advice.text}"


def firsts_text(fault: FaultFound) -> str:
    """Return the steps at which a fault's boards failed first, the commonest first."""
    return names_text(sorted(fault.first, key=lambda step: -step[1]))
