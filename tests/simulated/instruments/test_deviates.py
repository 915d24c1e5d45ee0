"""The noise of readings, drawn in blocks."""

import numpy as np
from scipy import stats

from simulated.instruments.accuracy import noise


def test_deviates_are_those_of_the_generator_in_its_order() -> None:
    """numpy's own generator, drawn from one by one, is the reference."""
    deviates, reference = noise(np.random.default_rng(5)), np.random.default_rng(5)
    assert [next(deviates) for _ in range(100)] == [float(reference.standard_normal()) for _ in range(100)]


def test_deviates_are_normal() -> None:
    """Kolmogorov and Smirnov's test, of scipy, on the seed that stands here."""
    deviates = noise(np.random.default_rng(6))
    assert stats.kstest([next(deviates) for _ in range(5000)], "norm").pvalue > 0.01
