"""Linearity and bias: does the bias change over the measuring range (AIAG MSA, 4th edition, Tables III-B 4 and 5)?

All single biases are regressed on their reference values, not the averages. The third edition misprints the slope.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from station.quality.factors import t_factor, t_probability
from station.quality.gauge_type1 import Bias, bias_study
from station.quality.readings import StudyDataError


@dataclass(frozen=True, slots=True, eq=False)
class Linearity:
    """bias = intercept + slope x reference, with t tests of both, and the band of the mean bias.

    `references`, `fitted`, `band_low`, `band_high` have the shape (points,); the references rise.
    """

    slope: float
    intercept: float
    slope_error: float
    intercept_error: float
    slope_t: float
    intercept_t: float
    slope_p: float
    intercept_p: float
    r_squared: float
    deviation_about_line: float
    degrees_of_freedom: int
    t_critical: float
    references: np.ndarray
    fitted: np.ndarray
    band_low: np.ndarray
    band_high: np.ndarray
    zero_within_band: bool
    """Whether a bias of zero lies in the band over the whole range: then linearity is acceptable (AIAG)."""
    biases: tuple[Bias, ...]
    """One for each reference value that has 10 readings or more and is not without variation."""
    bias_by_reference: dict[float, float]
    mean_reference: float
    reference_squares: float
    """Sum of the squares of all references about their mean."""

    def band(self, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return the line and its band's half width at references `at`, same shape."""
        n = self.degrees_of_freedom + 2
        share = 1.0 / n + (at - self.mean_reference) ** 2 / self.reference_squares
        return self.intercept + self.slope * at, self.t_critical * self.deviation_about_line * np.sqrt(share)


def linearity_study(references: Sequence[float], readings: Sequence[float], *, level: float = 0.95) -> Linearity:
    """Return the regression of bias on reference; both sequences have the length of the readings.

    Raises StudyDataError for fewer than 3 reference values, fewer than 2 readings of one, or no scatter.
    """
    x, y = np.asarray(references, dtype=float), np.asarray(readings, dtype=float)
    points, counts = np.unique(x, return_counts=True)
    if points.size < 3 or counts.min() < 2:
        raise StudyDataError(
            "a linearity study needs 3 reference values or more with 2 readings each or more (5 and 10 are "
            f"usual); got {points.size} reference values with {counts.min() if counts.size else 0} readings at least"
        )
    bias = y - x
    centred, n = x - x.mean(), x.size
    sxx = float(centred @ centred)
    slope = float(centred @ bias) / sxx
    intercept = float(bias.mean()) - slope * float(x.mean())
    rest = bias - intercept - slope * x
    freedom, spread = n - 2, float(((bias - bias.mean()) ** 2).sum())
    s = math.sqrt(float(rest @ rest) / freedom)
    if s <= 1e-12 * max(1e-300, float(np.abs(y).max())):
        raise StudyDataError("the readings don't scatter about the line at all: were they computed, or copied?")
    slope_error = s / math.sqrt(sxx)
    intercept_error = s * math.sqrt(1.0 / n + float(x.mean()) ** 2 / sxx)
    factor = t_factor(freedom, level=level)
    half = factor * s * np.sqrt(1.0 / n + (points - x.mean()) ** 2 / sxx)
    fitted = intercept + slope * points
    return Linearity(
        slope,
        intercept,
        slope_error,
        intercept_error,
        slope / slope_error,
        intercept / intercept_error,
        t_probability(slope / slope_error, freedom),
        t_probability(intercept / intercept_error, freedom),
        1.0 - float(rest @ rest) / spread,
        s,
        freedom,
        factor,
        points,
        fitted,
        fitted - half,
        fitted + half,
        _zero_within(intercept, slope, factor * s, n, x, sxx),
        tuple(bias_study(y[x == p], float(p), level=level) for p in points if _can_test(y[x == p])),
        {float(p): float(bias[x == p].mean()) for p in points},
        float(x.mean()),
        sxx,
    )


def _can_test(values: np.ndarray) -> bool:
    return values.size >= 10 and float(np.ptp(values)) > 0.0


def _zero_within(intercept: float, slope: float, reach: float, n: int, x: np.ndarray, sxx: float) -> bool:
    """Zero is in the band where (a + b x)^2 <= reach^2 (1/n + (x - mean)^2 / Sxx): a parabola, so by its top."""
    mean = float(x.mean())

    def excess(at: float) -> float:
        return (intercept + slope * at) ** 2 - reach**2 * (1.0 / n + (at - mean) ** 2 / sxx)

    low, high = float(x.min()), float(x.max())
    curvature = slope**2 - reach**2 / sxx
    candidates = [low, high]
    if curvature < 0.0:
        top = -(intercept * slope + reach**2 * mean / sxx) / curvature
        candidates.append(min(high, max(low, top)))
    return all(excess(at) <= 0.0 for at in candidates)
