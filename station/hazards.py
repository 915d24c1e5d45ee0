"""Work out what can hurt somebody at a board (volts between its terminals, charge, heat, mains) and word it.

Arithmetic and words only: the figures come from the profile, the board sheet and a dry run on the nominal board. They
inform; what has to be done about them is said by local codes and by people licensed for the work.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from station.quantities import format_value

__all__ = [
    "ACKNOWLEDGED",
    "DRY_VOLTS",
    "LOCAL_RULES",
    "Hazard",
    "Hazards",
    "Heat",
    "Store",
    "coulombs",
    "decay_seconds",
    "joined",
    "joules",
]

# Accessible voltage that counts as hazardous live, direct current. Dry: EN 61010-1, 6.3.1, as quoted in print; wet:
# its third edition, from memory, not re-read.
DRY_VOLTS, WET_VOLTS = 60.0, 35.0
WARM_KELVIN = 25.0  # a surface at 50 C in a room at 25 C is worth a warning: common practice, no source
TOLD_WATTS = 0.25  # a small resistor's usual rating: below it no part is worth naming
TOLD_PARTS = 3
TOUCH_COULOMBS = 45e-6  # counts only above the voltage limit; EN 61010-1, 6.3.1, as quoted in print
SMALL_SHARE = 0.01  # of all energy: a capacitor that holds less says nothing about how long to wait
LOCAL_RULES = "Local codes and your licensed practice for live work come first."
ACKNOWLEDGED = "acknowledged"


class Hazard(Enum):
    """A kind of danger that a step brings; the first step of each kind is acknowledged."""

    POWER = "first power"
    OVERLOAD = "overload on purpose"
    MAINS = "mains side"


def joules(farads: float, volts: float) -> float:
    """Return the energy of a charged capacitor: C V^2 / 2."""
    return 0.5 * farads * volts * volts


def coulombs(farads: float, volts: float) -> float:
    """Return the charge of a capacitor: C V."""
    return farads * volts


def decay_seconds(ohms: float, farads: float, *, from_volts: float, to_volts: float) -> float:
    """Return how long a capacitor takes to fall through a plain resistor: R C ln(V0 / V1); 0 where it is below."""
    return ohms * farads * math.log(from_volts / to_volts) if from_volts > to_volts else 0.0


@dataclass(frozen=True)
class Store:
    """A capacitor at the highest it is charged to, and the resistance that empties it, infinite where nothing does."""

    part: str
    farads: float
    volts: float
    bleed_ohms: float

    @property
    def joules(self) -> float:
        """What it holds."""
        return joules(self.farads, self.volts)

    @property
    def shocks(self) -> bool:
        """Whether its charge is hazardous to touch."""
        return self.volts > DRY_VOLTS and coulombs(self.farads, self.volts) > TOUCH_COULOMBS

    def seconds_to(self, volts: float) -> float:
        """Return how long it takes to fall to `volts` with everything off."""
        return decay_seconds(self.bleed_ohms, self.farads, from_volts=self.volts, to_volts=volts)


@dataclass(frozen=True)
class Heat:
    """What parts burn at worst in a step (watts by part), and the most that all of them burn at one moment."""

    watts: Mapping[str, float]
    total_watts: float


@dataclass(frozen=True)
class Hazards:
    """What is known of a run's dangers; what is not known is left out of the words.

    `volts` are the highest that terminals are fed, in the board's frame; `heat` is by step title.
    """

    volts: Mapping[str, float] = field(default_factory=dict)
    stores: tuple[Store, ...] = ()
    heat: Mapping[str, Heat] = field(default_factory=dict)
    safe_below_volts: float = 2.0
    kelvin_per_watt: float | None = None
    mains_volts: float | None = None

    def widest(self) -> tuple[float, str, str]:
        """Return the highest volts between two terminals, GND among them, and which: lower, higher."""
        volts = {"GND": 0.0, **self.volts}
        low, high = min(volts, key=volts.__getitem__), max(volts, key=volts.__getitem__)
        return volts[high] - volts[low], low, high

    def rails_text(self) -> str:
        """Say how high the rails add up, and what that means for dry and wet hands."""
        if not self.volts:
            return ""
        volts, low, high = self.widest()
        both = "GND" not in (low, high)
        found = (
            f"{'Rails add up: u' if both else 'U'}p to {format_value(volts, 'V', digits=3)} d.c. from {low} to {high}"
        )
        dry, wet = f"{DRY_VOLTS:g} V", f"{WET_VOLTS:g} V"
        if volts > DRY_VOLTS:
            return f"{found}, above the {dry} that are hazardous to touch: cover it, one hand, nobody works alone."
        if volts > WET_VOLTS:
            return f"{found}: below the {dry} limit for dry skin, above the {wet} for wet: keep hands and bench dry."
        return f"{found}: below the limits of {dry} dry and {wet} wet."

    def stored_text(self) -> str:
        """Say what the capacitors hold, and how long they take to run empty on their own."""
        total = sum(store.joules for store in self.stores)
        if not total:
            return ""
        large = [store for store in self.stores if store.joules >= SMALL_SHARE * total]
        slowest = max(large, key=lambda store: store.seconds_to(self.safe_below_volts))
        found = f"Capacitors hold up to {format_value(total, 'J', digits=2)}"
        if any(store.shocks for store in self.stores):
            found += f" and more than the {TOUCH_COULOMBS * 1e6:g} µC that are hazardous above {DRY_VOLTS:g} V"
        seconds, safe = slowest.seconds_to(self.safe_below_volts), format_value(self.safe_below_volts, "V")
        if math.isinf(seconds):
            return f"{found}, and no resistor is sure to empty {slowest.part}: discharge it through one, then measure."
        return (
            f"{found}; {slowest.part} takes up to {seconds:.0f} s to fall below {safe} through "
            f"{format_value(slowest.bleed_ohms, 'ohm', digits=2)} alone, and a dark LED proves nothing: measure."
        )

    def heat_text(self, title: str) -> str:
        """Say which parts burn how much at worst in a step, and how warm the board gets if that goes on."""
        heat = self.heat.get(title, Heat({}, 0.0))
        hot = sorted(((each, part) for part, each in heat.watts.items() if each >= TOLD_WATTS), reverse=True)
        if not hot:
            return ""
        named = ", ".join(f"{part} {format_value(each, 'W', digits=2)}" for each, part in hot[:TOLD_PARTS])
        told = f"Hottest by estimate: {named}."
        rise = heat.total_watts * (self.kelvin_per_watt or 0.0)
        if rise < WARM_KELVIN:
            return told
        return f"{told} If it goes on, the board ends some {rise:.0f} K above the room: too hot to touch for long."

    def mains_text(self) -> str:
        """Say what to mind where mains reach the board."""
        if self.mains_volts is None:
            return ""
        return (
            f"Mains of {self.mains_volts:g} V reach this board or its transformer: covers on, metal earthed, isolate "
            "before any change; an autotransformer isolates nothing. Only for people licensed for it."
        )

    def text(self, hazard: Hazard) -> str:
        """Say what is computed for a kind of danger, beside what its step says itself."""
        if hazard is Hazard.MAINS:
            return self.mains_text()
        return joined(self.rails_text(), self.stored_text()) if hazard is Hazard.POWER else ""


def joined(*texts: str) -> str:
    """Return what is not empty, as one text."""
    return " ".join(text for text in texts if text)
