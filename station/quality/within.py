"""Standard deviation within rational subgroups: what the process does from one unit to the next.

Three conventions, each named in the result: mean range / d2, mean standard deviation / c4, mean moving range / d2.
Subgroups of unequal size are weighted by the inverse variance of their own estimate (Burr 1969, Control charts for
measurements with varying sample sizes); with equal sizes these are the ordinary R-bar/d2 and s-bar/c4.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from station.quality.ranges import range_moments
from station.quality.readings import StudyDataError

LARGEST_RANGE_GROUP = 15
"""The range wastes information in large subgroups (common practice: s above 10 to 15)."""


@dataclass(frozen=True, slots=True)
class WithinDeviation:
    """A standard deviation within subgroups, unbiased for normal values, in the values' unit."""

    deviation: float
    degrees_of_freedom: float
    """Of the chi-square with the same relative variance 1 / (2 nu) (Patnaik 1950)."""
    convention: str
    subgroups: int
    """Those that counted: of two values or more."""


@dataclass(frozen=True, slots=True, eq=False)
class Subgroups:
    """Statistics of subgroups in order of first appearance; all arrays have the shape (subgroups,)."""

    sizes: np.ndarray
    means: np.ndarray
    ranges: np.ndarray
    deviations: np.ndarray
    """With n - 1; 0 for a subgroup of one."""


def subgroups_of(values: np.ndarray, groups: np.ndarray) -> Subgroups:
    """Return the statistics of `values` by the labels in `groups`, both of shape (N,)."""
    _, first, inverse = np.unique(groups, return_index=True, return_inverse=True)
    rank = np.empty(first.size, dtype=int)
    rank[np.argsort(first)] = np.arange(first.size)
    group = rank[inverse]
    order = np.argsort(group, kind="stable")
    sizes = np.bincount(group)
    starts = np.concatenate(([0], np.cumsum(sizes)[:-1]))
    ordered = values[order]
    means = np.add.reduceat(ordered, starts) / sizes
    # Two passes: one-pass variances lose all digits for values such as 1000000.2.
    squares = np.add.reduceat((ordered - np.repeat(means, sizes)) ** 2, starts)
    ranges = np.maximum.reduceat(ordered, starts) - np.minimum.reduceat(ordered, starts)
    return Subgroups(sizes, means, ranges, np.sqrt(squares / np.maximum(1, sizes - 1)))


def equal_subgroups(count: int, size: int) -> np.ndarray:
    """Return labels that cut `count` values in order into subgroups of `size`; the last may be smaller."""
    if size < 1:
        raise StudyDataError(f"a subgroup has one value or more; got a size of {size}")
    return np.arange(count) // size


def c4(size: int) -> float:
    """Return E[s] / sigma of `size` normal values (ISO 7870-2, table 2). Raises ValueError below 2."""
    if size < 2:
        raise ValueError(f"a standard deviation needs two values or more; got {size}")
    return math.sqrt(2.0 / (size - 1)) * math.exp(math.lgamma(size / 2) - math.lgamma((size - 1) / 2))


def within_by_ranges(subgroups: Subgroups) -> WithinDeviation:
    """Return R-bar/d2. Raises StudyDataError for subgroups above 15, or none of two or more."""
    if int(subgroups.sizes.max()) > LARGEST_RANGE_GROUP:
        raise StudyDataError(
            f"ranges serve subgroups of up to {LARGEST_RANGE_GROUP}; got one of {subgroups.sizes.max()}: "
            "use the standard deviations"
        )
    return _pooled(subgroups.sizes, subgroups.ranges, range_moments, "mean range / d2")


def within_by_deviations(subgroups: Subgroups) -> WithinDeviation:
    """Return s-bar/c4. Raises StudyDataError if no subgroup has two values or more."""
    return _pooled(subgroups.sizes, subgroups.deviations, _deviation_moments, "mean standard deviation / c4")


def within_by_moving_range(values: np.ndarray) -> WithinDeviation:
    """Return the mean moving range of neighbours / d2(2), shape (N,) in order of measurement.

    Its degrees of freedom allow for neighbours sharing a value: variance of the mean moving range in units of
    sigma^2, (N - 1)(2 - 4/pi) + 2 (N - 2) (4/pi)(sqrt(3)/2 + pi/12 - 1) over (N - 1)^2 (Cryer and Ryan 1990).
    Raises StudyDataError below 3 values.
    """
    n = values.size
    if n < 3:
        raise StudyDataError(f"moving ranges need three values or more; got {n}")
    mean = 2.0 / math.sqrt(math.pi)
    own, shared = 2.0 - 4.0 / math.pi, (4.0 / math.pi) * (math.sqrt(3.0) / 2.0 + math.pi / 12.0 - 1.0)
    relative_variance = ((n - 1) * own + 2 * (n - 2) * shared) / ((n - 1) * mean) ** 2
    deviation = float(np.abs(np.diff(values)).mean()) / mean
    _check(deviation)
    return WithinDeviation(deviation, 1.0 / (2.0 * relative_variance), "mean moving range / d2", n - 1)


def _deviation_moments(size: int) -> tuple[float, float]:
    mean = c4(size)
    return mean, math.sqrt(1.0 - mean * mean)


def _pooled(
    sizes: np.ndarray, statistics: np.ndarray, moments: Callable[[int], tuple[float, float]], convention: str
) -> WithinDeviation:
    counted = sizes >= 2
    if not counted.any():
        raise StudyDataError("no subgroup has two values or more: nothing shows the spread within")
    distinct, inverse = np.unique(sizes[counted], return_inverse=True)
    table = np.array([moments(int(size)) for size in distinct])
    mean, spread = table[inverse, 0], table[inverse, 1]
    information = (mean / spread) ** 2
    total = float(information.sum())
    deviation = float((information * statistics[counted] / mean).sum()) / total
    _check(deviation)
    return WithinDeviation(deviation, total / 2.0, convention, int(counted.sum()))


def _check(deviation: float) -> None:
    if deviation == 0.0:
        raise StudyDataError("the values don't vary within subgroups: record more digits")
