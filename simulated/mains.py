"""A board that mains feed: it never comes to rest, but repeats itself from period to period.

What a meter shows of it is the average over whole periods, and beside it the rms of what alternates. The periods are
followed one by one. For whoever waits long enough to see where they lead a shortcut is taken: averages that still
move go there as a geometric series does, so the charges are put where it ends, and followed from there until two
periods are alike. What is dissipated on the way (inrush) is not looked at.
"""

import logging
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from simulated.circuit import OperatingPoint, SupplySetting, Tolerance, Transient
from simulated.errors import SimulatedError

__all__ = ["FOLLOWED", "PATIENT_SECONDS", "Alternating"]

logger = logging.getLogger(__name__)

Floats = NDArray[np.float64]

# Forty steps a period: against ngspice a raw supply is a hundredth of a percent off, its ripple two percent.
FOLLOWED = Tolerance(volts=2e-2, share=2e-3, first_seconds=1e-4)
# Two periods whose averages differ by no more are alike: volts, a share of the average, a share of what alternates.
ALIKE_VOLTS, ALIKE_SHARE, ALIKE_SWING = 2e-4, 1e-5, 1e-3
MOST_PERIODS = 60  # what still wanders then is taken as it is
PERIODS_BEFORE_SHORTCUT, PATIENT_SECONDS = 4, 0.5
SLOWEST_RATIO = 0.98  # of two changes of an average: nearer to one, nobody can tell where it leads


class Alternating:
    """One board under mains; `begin` says where it stands, `advance` takes it on."""

    def __init__(self, transient: Transient, begin: OperatingPoint) -> None:
        self._moving, self._begin = transient, begin
        self._moving.start_from(begin)
        self._period = 1.0 / transient.hertz
        self._names = begin.layout.names
        self._owed, self._repeats, self._followed = 0.0, False, 0
        self._averages: list[Floats] = []  # of all nodes (volts), oldest first, since the last change or shortcut
        self._rms = np.zeros(len(self._names))
        self._applied: tuple[object, object] = ({}, {})

    def advance(self, seconds: float, supplies: Mapping[str, SupplySetting], loads: Mapping[str, float]) -> None:
        """Go on for a while; SimulatedError where the board can't be followed."""
        applied = dict(supplies), dict(loads)
        if applied != self._applied:
            self._applied, self._averages = applied, self._averages[-1:]
            self._repeats, self._followed = False, 0
        self._owed += seconds
        patient = self._owed >= PATIENT_SECONDS
        while self._owed >= self._period and not self._repeats:
            self._owed -= self._period
            self._follow(supplies, loads)
            if patient:
                self._take_shortcut()
        if self._repeats:
            self._owed = 0.0

    def _follow(self, supplies: Mapping[str, SupplySetting], loads: Mapping[str, float]) -> None:
        """Follow one period."""
        trace = self._moving.advance(self._period, supplies=supplies, loads=loads, watch=self._names)
        volts = trace.volts[0]  # (T, nodes)
        average = _mean(volts, trace.seconds)
        if not np.isfinite(average).all():
            raise SimulatedError("the simulated board can't be followed through a period of its mains")
        self._rms = np.sqrt(_mean((volts - average) ** 2, trace.seconds))
        self._averages = [*self._averages, average][-PERIODS_BEFORE_SHORTCUT:]
        if len(self._averages) > 1:
            moved = np.abs(average - self._averages[-2])
            alike = ALIKE_VOLTS + ALIKE_SHARE * np.abs(average) + ALIKE_SWING * self._rms
            self._repeats = bool((moved <= alike).all())
        self._followed += 1
        if self._followed >= MOST_PERIODS and not self._repeats:
            logger.warning("the simulated board does not repeat itself under mains: taken as it is")
            self._repeats = True

    def _take_shortcut(self) -> None:
        """Go where the averages lead, if there are enough of them to tell, and they move still."""
        if self._repeats or len(self._averages) < PERIODS_BEFORE_SHORTCUT:
            return
        before, last = (b - a for a, b in zip(self._averages[-3:-1], self._averages[-2:], strict=True))
        ratio = np.abs(last).max() / max(np.abs(before).max(), 1e-12)
        if ratio < SLOWEST_RATIO:
            point = self._moving.point()
            unknowns = point.unknowns.copy()
            unknowns[0, : len(self._names)] += last * ratio / (1.0 - ratio)
            self._moving.start_from(replace(point, unknowns=unknowns))
            self._averages = []

    def point(self) -> OperatingPoint:
        """Return where the board stands on average over its last period."""
        if not self._averages:
            return self._begin if not self._followed else self._moving.point()
        point = self._moving.point()
        unknowns = point.unknowns.copy()
        unknowns[0, : len(self._names)] = self._averages[-1]
        return replace(point, unknowns=unknowns)

    def rms_volts(self, node: str) -> float:
        """Return what alternates at a node."""
        return float(self._rms[self._begin.layout.node(node)])


def _mean(values: Floats, seconds: Floats) -> Floats:
    """Return the mean over time of values (T, nodes) at uneven times (T,), by trapezia."""
    between = 0.5 * (values[1:] + values[:-1]) * np.diff(seconds)[:, None]
    return np.asarray(between.sum(axis=0) / (seconds[-1] - seconds[0]))
