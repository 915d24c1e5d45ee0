"""A simulated supply from the side of its commands: what can be set, asked and switched, whatever it is called."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from simulated.instruments.hearing import Watchdog
from simulated.instruments.supply_channel import SupplyChannel, SupplyRatings, Trip
from simulated.ports import Regulation

__all__ = ["Knob", "Panel"]

Name = Literal["volts", "limit_amps", "protection_volts", "protection_seconds", "trips_on_limit"]


@dataclass(frozen=True)
class Knob:
    """One setting of every channel."""

    put: Callable[[int, float], None]
    get: Callable[[int], Any]


@dataclass(frozen=True)
class Panel:
    """The outputs and how they are switched: `common_switch` where one relay serves all of them.

    With `hides_trip` a tripped output still answers that it is on. `shows_both` is for measured values: volts and amps
    in one answer, whichever was asked for.
    """

    outputs: Sequence[SupplyChannel]
    ratings: SupplyRatings
    watchdog: Watchdog | None = None
    common_switch: bool = False
    hides_trip: bool = True
    shows_both: bool = False

    def knob(self, name: Name) -> Knob:
        """Return a setting by its field in SupplySettings."""

        def put(channel: int, value: float) -> None:
            output, changed = self.outputs[channel - 1], dict[str, Any]({name: value})
            output.take(replace(output.settings, **changed))

        return Knob(put, lambda channel: getattr(self.outputs[channel - 1].settings, name))

    def turn(self, channel: int, on: bool) -> None:
        """Switch an output, or all of them."""
        for output in self.outputs if self.common_switch else (self.outputs[channel - 1],):
            output.take(replace(output.settings, on=bool(on)))

    def is_on(self, channel: int) -> bool:
        """Return what is answered to whether an output is on."""
        output = self.outputs[channel - 1]
        return output.settings.on if self.hides_trip else output.delivers

    def clear(self, channel: int, trips: Trip) -> None:
        """Forget trips of an output."""
        self.outputs[channel - 1].clear(trips)

    def limits(self, channel: int) -> bool:
        """Return whether an output is in constant current."""
        return self.outputs[channel - 1].regulation() is Regulation.CURRENT

    def volts(self, channel: int) -> float:
        """Measure the volts of an output."""
        return self.outputs[channel - 1].measure_volts()

    def amps(self, channel: int) -> float:
        """Measure the amps of an output."""
        return self.outputs[channel - 1].measure_amps()

    def both(self, channel: int) -> str:
        """Measure both, as a two-line display shows them."""
        held = "CC" if self.limits(channel) else "CV"
        return f"{self.volts(channel):.3f}V {self.amps(channel):.4f}A {held}"
