"""Make up a small batch for the demo: twelve simulated boards, three of them with an assembly fault each."""

import numpy as np

from station.testing import Wanted

__all__ = ["DEMO_PROFILE", "FAULTS", "FAULTY", "batch"]

DEMO_PROFILE = "dual15/quick"  # the full one takes five times as long to simulate
BOARDS = 12
FAULTY = 3

# What a builder may have done, and how it is made in the circuit; invented for the demo from common assembly faults.
FAULTS = {
    "R108:open": "R108 not soldered (divider)",
    "R206:open": "R206 not soldered (current sense)",
    "DZ101:reversed": "DZ101 the wrong way round",
    "RF101:open": "fuse F101 left out",
    "DLED102:open": "LED 102 not soldered, dark",
    "DLED202:reversed": "LED 202 the wrong way round",
    "R109:value:47k": "R109 is 47 kΩ, not 4.7 kΩ",
    "Q202.b:open": "Q202 base not soldered",
    "D101:reversed": "D101 the wrong way round",
}


def batch(seed: int) -> tuple[Wanted, ...]:
    """Return the boards of a demo; the seed decides which boards are faulty, and how."""
    rng = np.random.default_rng(seed)
    where = rng.choice(BOARDS, FAULTY, replace=False)
    which = rng.choice(list(FAULTS), FAULTY, replace=False)
    faults = dict(zip(where.tolist(), which.tolist(), strict=True))
    return tuple(
        Wanted(f"D15-{seed:04d}-{number + 1:02d}", seed * 1000 + number, (faults[number],) if number in faults else ())
        for number in range(BOARDS)
    )
