"""Two samples beside each other: do their means and spreads differ, and by how much?"""

import math
from dataclasses import dataclass

from station.quality.factors import f_probability, t_factor, t_probability
from station.quality.sample import Sample


@dataclass(frozen=True, slots=True)
class Comparison:
    """Second less first. Means by Welch's t, spreads by the F ratio of variances; both want normal values."""

    first: str
    second: str
    """Populations."""
    difference: float
    low: float
    high: float
    p: float
    """Of equal means."""
    relative: float
    """Difference / first mean."""
    degrees_of_freedom: float
    spread_ratio: float
    """Second standard deviation / first."""
    spread_low: float
    spread_high: float
    spread_p: float
    """Of equal spreads, two-sided."""
    level: float


def compare_samples(first: Sample, second: Sample, *, level: float = 0.95) -> Comparison:
    """Return the comparison of two samples in one unit (Welch, Biometrika 34, 1947).

    Raises StudyDataError below 2 values, or if all of one are the same.
    """
    from scipy.special import fdtri

    for each in (first, second):
        each.need(2, "a comparison")
    means = float(first.values.mean()), float(second.values.mean())
    variances = float(first.values.var(ddof=1)), float(second.values.var(ddof=1))
    shares = variances[0] / first.size, variances[1] / second.size
    error = math.sqrt(sum(shares))
    freedom = sum(shares) ** 2 / (shares[0] ** 2 / (first.size - 1) + shares[1] ** 2 / (second.size - 1))
    difference = means[1] - means[0]
    half = t_factor(freedom, level=level) * error
    ratio, tail = variances[1] / variances[0], (1.0 - level) / 2.0
    above, below = second.size - 1, first.size - 1
    upper = f_probability(ratio, above, below)
    return Comparison(
        first=first.population,
        second=second.population,
        difference=difference,
        low=difference - half,
        high=difference + half,
        p=t_probability(difference / error, freedom),
        relative=difference / means[0] if means[0] else math.nan,
        degrees_of_freedom=freedom,
        spread_ratio=math.sqrt(ratio),
        spread_low=math.sqrt(ratio / float(fdtri(above, below, 1.0 - tail))),
        spread_high=math.sqrt(ratio / float(fdtri(above, below, tail))),
        spread_p=min(1.0, 2.0 * min(upper, 1.0 - upper)),
        level=level,
    )
