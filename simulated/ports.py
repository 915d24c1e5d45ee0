"""What a simulated instrument's terminals are wired to: the seam between instruments and the board.

An instrument never sees a circuit: it tells its port what it applies, and asks it what results.
All values are as the instrument's own plus and minus terminals see them.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Protocol

__all__ = ["LoadPort", "LoadState", "MeterPort", "Regulation", "SupplyPort", "SupplyState"]


class Regulation(Enum):
    """What holds a supply's output: its voltage setting, its current limit, or nothing (output off)."""

    VOLTAGE = "CV"
    CURRENT = "CC"
    OFF = "OFF"


@dataclass(frozen=True)
class SupplyState:
    """True volts between a channel's plus and minus, and the amps it delivers out of plus."""

    volts: float
    amps: float
    regulation: Regulation


@dataclass(frozen=True)
class LoadState:
    """True volts between a load's plus and minus, and the amps it draws into plus."""

    volts: float
    amps: float


class SupplyPort(Protocol):
    """What hangs on one supply channel."""

    def apply(self, *, volts: float, limit_amps: float, on: bool) -> None:
        """Take over the channel's settings."""

    def state(self) -> SupplyState:
        """Return what results at the terminals now."""


class LoadPort(Protocol):
    """What hangs on one load channel."""

    def apply(self, *, amps: float, on: bool) -> None:
        """Take over the load's constant-current setting."""

    def state(self) -> LoadState:
        """Return what results at the terminals now."""


class MeterPort(Protocol):
    """What hangs on the meter's multiplexed input."""

    def volts(self, channel: int) -> float:
        """Return the true volts at input `channel` (1, 2, ...)."""

    def ripple_volts(self, channel: int) -> float:
        """Return the true rms volts of what alternates at input `channel`."""

    def drive(self, channel: int | None, *, amps: float, most_volts: float) -> None:
        """Let a test current flow into input `channel`, under so many volts at most; None: let none flow any more."""
