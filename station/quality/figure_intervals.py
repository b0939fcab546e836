"""How well a datasheet's own figures are known, and whether two revisions differ by more than chance.

Behind a minimum stands the percentile (1 - coverage) / 2 of the units; a minimum is a cautious bound of it, which moves
as more is known though the process stays. One-sided tolerance bounds are confidence bounds of a percentile (ISO
16269-6): those of 2.5 %, 50 % and 97.5 % confidence make its interval and its median-unbiased estimate. Behind a
typical value stands the mean. Two revisions are compared by these, not by the bounds.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from station.quality.normality import LEAST_VALUES, normality_test
from station.quality.promise import promise_across_lots
from station.quality.readings import StudyDataError
from station.quality.sample import Sample
from station.quality.tolerance import distribution_free_interval, normal_interval

CONFIDENCE = 0.95
_Bound = Callable[[float, float, str], float]
_LOW, _HIGH = 0.5 - CONFIDENCE / 2, 0.5 + CONFIDENCE / 2


@dataclass(frozen=True, slots=True)
class Known:
    """An estimate and its 95 % interval, in the values' unit."""

    estimate: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class FigureIntervals:
    """What stands behind minimum, typical and maximum; None where too few values say it."""

    minimum: Known | None
    typical: Known | None
    maximum: Known | None


NOT_KNOWN = FigureIntervals(None, None, None)


def figure_intervals(sample: Sample, lots: np.ndarray, *, coverage: float) -> FigureIntervals:
    """Return what stands behind the figures of `stated_range`, by the same route as there.

    `lots`: a lot's label a value, shape (N,). With several lots the lot is a random effect.
    """
    try:
        bound = _bound_of(sample, lots)
    except StudyDataError:  # values that don't vary
        return FigureIntervals(None, _typical(sample, lots), None)
    return FigureIntervals(_end(bound, coverage, "lower"), _typical(sample, lots), _end(bound, coverage, "upper"))


def interval_of_change(before: Known | None, after: Known | None) -> tuple[float, float] | None:
    """Return the 95 % interval of the change, after less before; None if one of them is not known.

    From the two intervals, lopsided ones too (MOVER: Zou and Donner, Statistics in Medicine 27, 2008). The two are
    taken as independent; revisions that share lots are not: then the interval is wider than need be.
    """
    if before is None or after is None:
        return None
    change = after.estimate - before.estimate
    down = math.hypot(after.estimate - after.low, before.high - before.estimate)
    up = math.hypot(after.high - after.estimate, before.estimate - before.low)
    return change - down, change + up


def _typical(sample: Sample, lots: np.ndarray) -> Known | None:
    from scipy.special import stdtrit

    names = np.unique(lots)
    values = (
        sample.values if names.size == 1 else np.array([sample.values[lots == name].mean() for name in names])
    )
    if values.size < 2:
        return None
    reach = float(stdtrit(values.size - 1, _HIGH) * values.std(ddof=1) / math.sqrt(values.size))
    mean = float(values.mean())
    return Known(mean, mean - reach, mean + reach)


def _end(bound: _Bound, coverage: float, side: str) -> Known | None:
    try:
        middle, *ends = (bound(0.5 + coverage / 2, each, side) for each in (0.5, _LOW, _HIGH))
    except StudyDataError:
        return None
    return Known(middle, min(middle, *ends), max(middle, *ends))


def _bound_of(sample: Sample, lots: np.ndarray) -> _Bound:
    """The one-sided bound of (coverage, confidence, side), by the route that fits the sample; chosen once."""
    several = np.unique(lots).size > 1
    normal = not several and sample.size >= LEAST_VALUES and normality_test(sample).accepted

    def bound(coverage: float, confidence: float, side: str) -> float:
        if several:
            found = promise_across_lots(sample, lots, coverage=coverage, confidence=confidence, side=side).interval
        elif normal:
            found = normal_interval(sample, coverage=coverage, confidence=confidence, side=side)
        else:
            found = distribution_free_interval(sample, coverage=coverage, confidence=confidence, side=side)
        end = found.lower if side == "lower" else found.upper
        if end is None:
            raise StudyDataError(f"no {side} bound")
        return end

    return bound
