"""How a simulated meter shows what alternates on its input: true rms volts, in SCPI.

The figures describe no instrument that exists; they are those of the 6½-digit class, from memory.
"""

from dataclasses import dataclass

import numpy as np

from simulated.clock import VirtualClock
from simulated.instruments.accuracy import Accuracy, Readback, Readout
from simulated.instruments.acquisition import Multiplexer
from simulated.instruments.answers import nr3
from simulated.instruments.parameters import Numeric, OrDefault, WhenGiven
from simulated.instruments.tree import Command, command

__all__ = ["RIPPLE", "RippleRatings", "ripple_commands", "shown_ripple"]

_RANGE = Numeric(0.0, 750.0, None, 1e-6, "V")


@dataclass(frozen=True)
class RippleRatings:
    """What the alternating side is good for; `floor_volts` is what it shows with its input quiet."""

    readback: Readback
    floor_volts: float
    settling_seconds: float


RIPPLE = RippleRatings(
    readback=Readback(Accuracy(0.0006, 30e-6), noise=2e-6, resolution=1e-7), floor_volts=20e-6, settling_seconds=1.0
)
"""0.06 % + 30 µV; the filter settles in a second."""


def shown_ripple(readout: Readout, true_volts: float) -> float:
    """Return one reading of true rms volts: the meter's own floor adds in quadrature."""
    return abs(readout.read(float(np.hypot(true_volts, RIPPLE.floor_volts))))


def ripple_commands(multiplexer: Multiplexer, clock: VirtualClock, rng: np.random.Generator) -> list[Command]:
    """Return `MEASure:VOLTage:AC?`, one settled reading of the connected input."""
    readout = Readout(RIPPLE.readback, rng)

    def measure(_range_volts: float | None) -> str:
        clock.advance(RIPPLE.settling_seconds)
        return nr3(shown_ripple(readout, multiplexer.ripple_volts()))

    return [command("MEASure:VOLTage:AC?", measure, WhenGiven(OrDefault(_RANGE)))]
