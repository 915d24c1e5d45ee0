"""No Newton step goes further than a junction's exponential allows, whatever other junctions and boards do.

The rule is that of the published Berkeley SPICE3 device code as ngspice has it (DEVpnjlim; from memory), one number
at a time.
"""

import math

import numpy as np
import pytest

from simulated.circuit.junctions import Breakdown, limited_junctions

SCALE, CRITICAL = 0.0259, 0.62
NO_ZENER = Breakdown(np.zeros(0, dtype=np.intp), np.zeros((0, 1)), np.zeros((0, 1)))


def pnjlim(new: float, old: float, scale: float, critical: float) -> tuple[float, bool]:
    """Return the volts that are allowed, and whether they are others than were asked for."""
    if new > critical and abs(new - old) > 2.0 * scale:
        if old <= 0.0:
            return scale * math.log(new / scale), True
        asked = (new - old) / scale
        if asked > 0.0:
            return old + scale * (2.0 + math.log(asked - 2.0)), True
        return old - scale * (2.0 + math.log(-asked - 2.0)), True
    floor = -old - 1.0 if old > 0.0 else 2.0 * old - 1.0
    return (floor, True) if new < floor else (new, False)


@pytest.mark.parametrize("restless", [0, 1, 3, 8])
def test_junctions_are_held_as_spice_holds_them_however_many_move(restless: int) -> None:
    rng = np.random.default_rng(restless)
    scale, critical = SCALE * rng.uniform(0.9, 4.0, (8, 50)), np.full((8, 50), CRITICAL)
    old = rng.uniform(-6.0, 0.8, (8, 50))
    new = old + rng.uniform(-0.03, 0.03, (8, 50))  # nearer than any limit
    new[:restless] = rng.uniform(-20.0, 15.0, (restless, 50))

    volts, cut = limited_junctions(new, old, scale, critical, NO_ZENER, axis=0)

    due = [pnjlim(*each) for each in zip(*(a.ravel().tolist() for a in (new, old, scale, critical)), strict=True)]
    assert volts.ravel() == pytest.approx([each for each, _ in due], rel=1e-12)
    assert cut.ravel().tolist() == [held for _, held in due]
    assert cut.any() == bool(restless)


@pytest.mark.parametrize("shared", [True, False])
def test_with_boards_first_and_scales_that_all_share_the_limits_are_the_same(shared: bool) -> None:
    rng = np.random.default_rng(5)
    old, new = rng.uniform(-3.0, 0.8, (6, 4)), rng.uniform(-3.0, 5.0, (6, 4))
    new[2:5] = old[2:5] + 0.01
    scale, critical = np.full((1 if shared else 6, 4), SCALE), np.full((1 if shared else 6, 4), CRITICAL)

    volts, cut = limited_junctions(new, old, scale, critical, NO_ZENER)

    due = [pnjlim(*each, SCALE, CRITICAL) for each in zip(new.ravel().tolist(), old.ravel().tolist(), strict=True)]
    assert volts.ravel() == pytest.approx([each for each, _ in due], rel=1e-12)
    assert cut.ravel().tolist() == [held for _, held in due]


@pytest.mark.parametrize(
    ("new", "old", "scale"),
    [(0.75, 0.65, SCALE), (0.71, 0.65, SCALE), (0.70, 0.65, SCALE), (-1.2, 0.0, SCALE), (-1.2, 0.0, 2.0)],
)
def test_a_step_is_held_where_it_only_just_goes_too_far(new: float, old: float, scale: float) -> None:
    asked, stood = np.full((2, 3), new), np.full((2, 3), old)
    limits = np.full((2, 3), scale), np.full((2, 3), CRITICAL), NO_ZENER

    volts, cut = limited_junctions(asked, stood, *limits, axis=0)

    due, held = pnjlim(new, old, scale, CRITICAL)
    assert volts.ravel() == pytest.approx([due] * 6, rel=1e-12)
    assert cut.ravel().tolist() == [held] * 6
