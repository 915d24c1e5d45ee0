"""Say what a run is of: the head of its view."""

from dataclasses import dataclass

from station.lines import Line

__all__ = ["Head"]


@dataclass(frozen=True)
class Head:
    """What a run is of, and what it is measured against: its lines, steps and expected bench seconds.

    `attended` says that somebody is there to be told which keys do what.
    """

    serial: str
    profile: str
    revision: str
    simulated: bool
    lines: tuple[Line, ...]
    steps: int
    expected_seconds: float
    attended: bool = False

    def text(self) -> str:
        """Return the head in one line."""
        mark = "SIMULATED  " if self.simulated else ""
        return f"{mark}{self.serial}  {self.profile} revision {self.revision}"
