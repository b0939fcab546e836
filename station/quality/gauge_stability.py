"""Stability: one part measured on many occasions (AIAG MSA, 4th edition, chapter III-B; NIST e-Handbook 6.3.2).

Charted as mean and range, or as individuals and moving ranges with one reading an occasion; and the drift an
occasion by a straight line.
"""

import math
from dataclasses import dataclass

import numpy as np

from station.quality.factors import t_probability
from station.quality.ranges import range_moments
from station.quality.readings import StudyDataError

_D2_DIGITS = 3
"""Handbooks print d2 with three decimals, and their limits follow from it."""


@dataclass(frozen=True, slots=True, eq=False)
class Stability:
    """Chart of the occasions' means, with limits of 3 standard deviations, and the drift. In the readings' unit."""

    readings_per_occasion: int
    means: np.ndarray
    centre: float
    mean_range: float
    """Of the occasions, or of neighbours where there is one reading an occasion."""
    deviation: float
    """Within: mean range / d2."""
    lower: float
    upper: float
    outside: tuple[int, ...]
    """Indices of the occasions outside the limits."""
    drift_per_occasion: float
    drift_p: float


def stability_study(values: np.ndarray) -> Stability:
    """Return the chart of `values`, shape (occasions, readings); occasions in order of time.

    Raises StudyDataError for fewer than 10 occasions or readings without variation.
    """
    occasions, size = values.shape
    if occasions < 10:
        raise StudyDataError(f"a stability study needs 10 occasions or more (25 are usual); got {occasions}")
    means = values.mean(axis=1)
    ranges = np.abs(np.diff(means)) if size == 1 else np.ptp(values, axis=1)
    mean_range = float(ranges.mean())
    if mean_range == 0.0:
        raise StudyDataError("the readings don't vary within occasions: record more digits")
    d2 = round(range_moments(max(2, size))[0], _D2_DIGITS)
    deviation = mean_range / d2
    centre, reach = float(means.mean()), 3.0 * deviation / math.sqrt(size)
    outside = np.flatnonzero((means < centre - reach) | (means > centre + reach))
    slope, p = _drift(means)
    return Stability(
        size,
        means,
        centre,
        mean_range,
        deviation,
        centre - reach,
        centre + reach,
        tuple(map(int, outside)),
        slope,
        p,
    )


def _drift(means: np.ndarray) -> tuple[float, float]:
    n = means.size
    order = np.arange(n) - (n - 1) / 2.0
    square = float(order @ order)
    slope = float(order @ means) / square
    rest = means - means.mean() - slope * order
    error = math.sqrt(float(rest @ rest) / (n - 2) / square)
    return slope, t_probability(slope / error, n - 2) if error > 0.0 else 0.0
