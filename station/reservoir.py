"""Work out what a transformer, rectifier and reservoir give: volts, ripple, and how long the charge stays.

The figures are a designer's, on paper: a sine without internal resistance, diodes with a fixed drop, a reservoir that
carries the load alone for half a mains period (charge balance; printed elsewhere is the optimistic quarter period).
"""

import math
from dataclasses import dataclass

__all__ = [
    "RawSupply",
    "mean_volts",
    "peak_volts",
    "ripple_pp",
    "ripple_rms",
    "transformer_regulation",
]


def peak_volts(rms_volts: float, diodes: int = 0, drop_volts: float = 0.0) -> float:
    """Return the peak of a sine, less what the diodes in its way drop: the volts of a reservoir without load."""
    return rms_volts * math.sqrt(2.0) - diodes * drop_volts


def ripple_pp(amps: float, ripple_hertz: float, farads: float) -> float:
    """Return the peak-to-peak ripple of a reservoir that carries a load for a whole period of the ripple."""
    return amps / (ripple_hertz * farads)


def ripple_rms(pp_volts: float) -> float:
    """Return the rms of a saw-tooth."""
    return pp_volts / (2.0 * math.sqrt(3.0))


def mean_volts(peak: float, pp_volts: float) -> float:
    """Return what a d.c. voltmeter shows of a reservoir with a saw-tooth ripple."""
    return peak - pp_volts / 2.0


def transformer_regulation(unloaded_volts: float, loaded_volts: float) -> float:
    """Return how far a transformer rises off load, as a fraction of its rated (loaded) voltage: not of the other."""
    return (unloaded_volts - loaded_volts) / loaded_volts


@dataclass(frozen=True)
class RawSupply:
    """One rail of a raw supply: the secondary's rated volts (rms), how far mains and transformer take it from there
    (fractions), the diodes in its way, its reservoir, and the current that is always drawn.

    `diodes` is 1 a rail for a bridge on a centre-tapped secondary, 2 for a bridge on a secondary of its own.
    """

    secondary_volts: float
    mains: float
    regulation: float
    diodes: int
    drop_volts: float
    farads: float
    mains_hertz: float
    amps: float = 0.0

    @property
    def ripple_hertz(self) -> float:
        """Twice the mains: both half-waves are used."""
        return 2.0 * self.mains_hertz

    @property
    def ripple_pp(self) -> float:
        """The peak-to-peak ripple under the current that is always drawn."""
        return ripple_pp(self.amps, self.ripple_hertz, self.farads)

    @property
    def highest_volts(self) -> float:
        """The volts at the highest mains without load: what board and reservoir have to stand."""
        return peak_volts(
            self.secondary_volts * (1.0 + self.regulation) * (1.0 + self.mains), self.diodes, self.drop_volts
        )

    @property
    def rated_span(self) -> tuple[float, float]:
        """The peak volts at the secondary's rated voltage, from the lowest mains to the highest."""
        low, high = (
            peak_volts(self.secondary_volts * share, self.diodes, self.drop_volts)
            for share in (1.0 - self.mains, 1.0 + self.mains)
        )
        return low, high

    @property
    def shown_span(self) -> tuple[float, float]:
        """What a d.c. voltmeter may show: from the lowest mains, transformer loaded, to the highest without load."""
        return mean_volts(self.rated_span[0], self.ripple_pp), self.highest_volts

    @property
    def trough_volts(self) -> float:
        """The lowest momentary volts: lowest mains, rated secondary, at the bottom of the ripple."""
        return self.rated_span[0] - self.ripple_pp
