"""Control charts of variables (ISO 7870-2): individuals and moving ranges, means with ranges or standard deviations.

Limits are 3 standard deviations of the point plotted, estimated within subgroups. A pair of charts comes from one
estimate. `sequential` has the charts with a memory.
"""

from dataclasses import dataclass

import numpy as np

from station.quality.chart_constants import chart_constants
from station.quality.readings import StudyDataError
from station.quality.run_rules import EVERYDAY, RunRule, Signal, run_signals
from station.quality.sample import Sample
from station.quality.within import (
    Subgroups,
    WithinDeviation,
    subgroups_of,
    within_by_deviations,
    within_by_moving_range,
    within_by_ranges,
)


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """Points with their centre line and limits, all of shape (points,), in the values' unit."""

    title: str
    points: np.ndarray
    centre: np.ndarray
    lower: np.ndarray
    upper: np.ndarray
    signals: tuple[Signal, ...]
    within: WithinDeviation | None
    """What the limits stand on; None if they were given."""
    population: str
    unit_symbol: str


def individuals_charts(sample: Sample, *, rules: tuple[RunRule, ...] = EVERYDAY) -> tuple[Chart, Chart]:
    """Return the chart of single values, N points, and that of moving ranges of two, N - 1 points.

    Raises StudyDataError below 3 values or without variation.
    """
    values = sample.values
    within = within_by_moving_range(values)
    sigma = np.full(values.size, within.deviation)
    first = _chart("single values", values, float(values.mean()), sigma, within, sample, rules)
    ranges = np.abs(np.diff(values))
    return first, _ranges_chart("moving ranges", ranges, np.full(ranges.size, 2), within, sample)


def mean_range_charts(
    sample: Sample, groups: np.ndarray, *, rules: tuple[RunRule, ...] = EVERYDAY
) -> tuple[Chart, Chart]:
    """Return the charts of subgroup means and ranges; `groups` has a label a value, shape (N,).

    Unequal sizes are allowed, from 2 to 15. Raises StudyDataError for others, or fewer than 2 subgroups.
    """
    parts = _subgroups(sample, groups)
    within = within_by_ranges(parts)
    means = _means_chart(parts, within, sample, rules)
    return means, _ranges_chart("ranges", parts.ranges, parts.sizes, within, sample)


def mean_deviation_charts(
    sample: Sample, groups: np.ndarray, *, rules: tuple[RunRule, ...] = EVERYDAY
) -> tuple[Chart, Chart]:
    """Return the charts of subgroup means and standard deviations; sizes of 2 or more, unequal ones allowed.

    Raises StudyDataError for a subgroup of one, or fewer than 2 subgroups.
    """
    parts = _subgroups(sample, groups)
    within = within_by_deviations(parts)
    means = _means_chart(parts, within, sample, rules)
    factors = _factors(parts.sizes, "c4", "B3", "B4")
    centre = within.deviation * factors[0]
    deviations = Chart(
        "standard deviations",
        parts.deviations,
        centre,
        centre * factors[1],
        centre * factors[2],
        _outside(parts.deviations, centre * factors[1], centre * factors[2]),
        within,
        sample.population,
        sample.unit_symbol,
    )
    return means, deviations


def _subgroups(sample: Sample, groups: np.ndarray) -> Subgroups:
    if groups.shape != sample.values.shape:
        raise StudyDataError(f"one subgroup label a value, please; got {groups.size} for {sample.size} values")
    parts = subgroups_of(sample.values, groups)
    if parts.sizes.size < 2 or int(parts.sizes.min()) < 2:
        raise StudyDataError(
            "a chart of subgroups needs two subgroups or more of two values or more each; got "
            f"{parts.sizes.size}, the smallest of {parts.sizes.min()}"
        )
    return parts


def _means_chart(
    parts: Subgroups, within: WithinDeviation, sample: Sample, rules: tuple[RunRule, ...]
) -> Chart:
    centre = float((parts.means * parts.sizes).sum() / parts.sizes.sum())
    sigma = within.deviation / np.sqrt(parts.sizes)
    return _chart("means", parts.means, centre, sigma, within, sample, rules)


def _chart(
    title: str,
    points: np.ndarray,
    centre: float,
    sigma: np.ndarray,
    within: WithinDeviation | None,
    sample: Sample,
    rules: tuple[RunRule, ...],
) -> Chart:
    line = np.full(points.size, centre)
    signals = run_signals((points - centre) / sigma, rules=rules)
    return Chart(
        title,
        points,
        line,
        line - 3.0 * sigma,
        line + 3.0 * sigma,
        signals,
        within,
        sample.population,
        sample.unit_symbol,
    )


def _ranges_chart(
    title: str, ranges: np.ndarray, sizes: np.ndarray, within: WithinDeviation, sample: Sample
) -> Chart:
    d2, d3_factor, d4_factor = _factors(sizes, "d2", "D3", "D4")
    centre = within.deviation * d2
    lower, upper = centre * d3_factor, centre * d4_factor
    signals = _outside(ranges, lower, upper)
    return Chart(title, ranges, centre, lower, upper, signals, within, sample.population, sample.unit_symbol)


def _factors(sizes: np.ndarray, *names: str) -> tuple[np.ndarray, ...]:
    distinct, inverse = np.unique(sizes, return_inverse=True)
    table = [chart_constants(int(size)) for size in distinct]
    return tuple(np.array([getattr(row, name) for row in table])[inverse] for name in names)


def _outside(points: np.ndarray, lower: np.ndarray, upper: np.ndarray) -> tuple[Signal, ...]:
    """Spreads are skewed: the limits alone are judged, not runs."""
    return tuple(Signal(int(i), RunRule.BEYOND_LIMITS) for i in np.flatnonzero((points < lower) | (points > upper)))
