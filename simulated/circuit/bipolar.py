"""The Gummel-Poon bipolar transistor in DC: terminal currents and slopes from its junctions.

Equations as the published Berkeley SPICE3 device code has them (from memory, checked against
ngspice 39 in the tests). Arrays are (L, transistors); voltages and currents are those of an NPN,
the caller turns the sign for a PNP.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["BipolarCurrents", "BipolarModel", "base_charge", "base_conductance", "terminal_currents"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class BipolarModel:
    """Parameters at temperature: gains, inverse Early voltages and knee currents (0 = none), roll-off power."""

    forward_gain: Floats
    reverse_gain: Floats
    inverse_early_forward: Floats
    inverse_early_reverse: Floats
    inverse_knee_forward: Floats
    inverse_knee_reverse: Floats
    knee_power: Floats

    @property
    def square_root(self) -> bool:
        """Whether the roll-off is the usual square root everywhere, which is far quicker than a power."""
        return bool((self.knee_power == 0.5).all())


@dataclass(frozen=True)
class BipolarCurrents:
    """Collector and base amps, their slopes over Vbe and Vbc, and the normalised base charge."""

    collector: Floats
    base: Floats
    collector_be: Floats
    collector_bc: Floats
    base_be: Floats
    base_bc: Floats
    charge: Floats


def terminal_currents(
    model: BipolarModel,
    volts: tuple[Floats, Floats],
    ideal: tuple[tuple[Floats, Floats], tuple[Floats, Floats]],
    leakage: tuple[tuple[Floats, Floats], tuple[Floats, Floats]],
) -> BipolarCurrents:
    """Return terminal currents for (Vbe, Vbc) and the (amps, slope) of both ideal and both leakage junctions.

    Leakage includes gmin across each junction, as SPICE has it.
    """
    (forward, forward_slope), (backward, backward_slope) = ideal
    (leak_be, leak_be_slope), (leak_bc, leak_bc_slope) = leakage
    charge, charge_be, charge_bc = base_charge(model, volts, ideal)
    share = 1.0 / charge
    transfer = (forward - backward) * share
    back = backward / model.reverse_gain + leak_bc
    back_slope = backward_slope / model.reverse_gain + leak_bc_slope
    return BipolarCurrents(
        collector=transfer - back,
        base=forward / model.forward_gain + leak_be + back,
        collector_be=(forward_slope - transfer * charge_be) * share,
        collector_bc=-(backward_slope + transfer * charge_bc) * share - back_slope,
        base_be=forward_slope / model.forward_gain + leak_be_slope,
        base_bc=back_slope,
        charge=charge,
    )


def base_charge(
    model: BipolarModel, volts: tuple[Floats, Floats], ideal: tuple[tuple[Floats, Floats], tuple[Floats, Floats]]
) -> tuple[Floats, Floats, Floats]:
    """Return the normalised base charge and its slopes over Vbe and Vbc; arguments as of `terminal_currents`."""
    (vbe, vbc), ((forward, forward_slope), (backward, backward_slope)) = volts, ideal
    # Most models give neither VAR nor IKR: what they would add is then left out, to the same bits.
    reverse_early, reverse_knee = bool(model.inverse_early_reverse.any()), bool(model.inverse_knee_reverse.any())
    early = 1.0 - model.inverse_early_forward * vbc
    injected = model.inverse_knee_forward * forward
    if reverse_early:
        early -= model.inverse_early_reverse * vbe
    if reverse_knee:
        injected += model.inverse_knee_reverse * backward
    np.divide(1.0, early, out=early)
    base4 = np.maximum(1.0 + 4.0 * injected, 1e-12)
    root = np.sqrt(base4) if model.square_root else base4**model.knee_power
    charge = early * (1.0 + root) / 2.0
    bend = 2.0 * model.knee_power * root / base4  # 1/root at the usual power of one half
    charge_be = model.inverse_knee_forward * forward_slope * bend
    charge_bc = charge * model.inverse_early_forward
    if reverse_early:
        charge_be += charge * model.inverse_early_reverse
    if reverse_knee:
        charge_bc += model.inverse_knee_reverse * backward_slope * bend
    charge_be *= early
    charge_bc *= early
    return charge, charge_be, charge_bc


def base_conductance(least: Floats, extra: Floats, half_amps: Floats, charge: Floats, base_amps: Floats) -> Floats:
    """Return siemens of a base resistance that falls from RB to RBM with base charge, or with current (IRB)."""
    by_charge = least + extra / charge
    crowding = np.maximum(base_amps / np.where(half_amps > 0.0, half_amps, 1.0), 1e-9)
    angle = (-1.0 + np.sqrt(1.0 + 14.59025 * crowding)) / 2.4317 / np.sqrt(crowding)
    tangent = np.tan(angle)
    by_current = least + 3.0 * extra * (tangent - angle) / angle / tangent**2
    return 1.0 / np.where(half_amps > 0.0, by_current, by_charge)
