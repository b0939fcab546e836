"""Values that don't belong, by median and median absolute deviation, which the outliers themselves can't move."""

from dataclasses import dataclass

import numpy as np

from station.quality.readings import StudyDataError
from station.quality.sample import Sample

USUAL_CUTOFF = 3.5
"""Iglewicz and Hoaglin 1993, How to detect and handle outliers."""

MAD_TO_SIGMA = 1.482602218505602
"""1 / Phi^-1(3/4): makes the median absolute deviation a standard deviation for normal values."""


@dataclass(frozen=True, slots=True, eq=False)
class Outliers:
    """Robust scores of all values, shape (N,), and which are beyond the cutoff."""

    median: float
    deviation: float
    """Robust standard deviation, 1.4826 MAD."""
    scores: np.ndarray
    """(value - median) / deviation."""
    indices: tuple[int, ...]
    """Those beyond, farthest first."""
    cutoff: float
    population: str


def robust_outliers(sample: Sample, *, cutoff: float = USUAL_CUTOFF) -> Outliers:
    """Return the values more than `cutoff` robust standard deviations from the median.

    Of normal values 0.05 % are beyond 3.5, so that a lot of thousands has some without anything being wrong. If more
    than half of the values are equal, the mean absolute deviation (x 1.2533) stands in for the median one. Raises
    StudyDataError below 5 values, if all are the same, or for a cutoff that is not above 0.
    """
    sample.need(5, "a rule for outliers")
    if not cutoff > 0.0:
        raise StudyDataError(f"the cutoff must be above 0; got {cutoff}")
    median = float(np.median(sample.values))
    off = np.abs(sample.values - median)
    deviation = MAD_TO_SIGMA * float(np.median(off))
    if deviation == 0.0:
        deviation = float(np.sqrt(np.pi / 2.0) * off.mean())
    scores = (sample.values - median) / deviation
    beyond = np.flatnonzero(np.abs(scores) > cutoff)
    farthest = beyond[np.argsort(-np.abs(scores[beyond]), kind="stable")]
    return Outliers(median, deviation, scores, tuple(map(int, farthest)), cutoff, sample.population)
