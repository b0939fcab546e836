"""Confidence intervals of a crossed study: generalized intervals from the mean squares.

Each mean square, times its degrees of freedom over its expectation, is chi-squared. Drawing these chi-squared values
and solving for the expectations gives draws of every quantity of the study, however it is built from them; the
interval is between their quantiles (Weerahandi 1993; Hamada and Weerahandi 2000, J. Quality Technology 32, 241-253;
recommended in Burdick, Borror and Montgomery 2005). For repeatability it is the exact interval.
The draws are a fixed low-discrepancy sequence: the same study always gives the same interval.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from station.quality.gauge_anova import AnovaTable
from station.quality.variation import CATEGORIES_FACTOR, TOLERANCE_MULTIPLE

Interval = tuple[float, float]
DRAWS = 20_000


@dataclass(frozen=True, slots=True)
class Intervals:
    """Confidence intervals at `level`, by source; per cents by standard deviation as in `variation`."""

    level: float
    standard_deviations: dict[str, Interval]
    percent_of_study_variation: dict[str, Interval]
    percent_of_tolerance: dict[str, Interval] | None
    categories: Interval


def intervals(table: AnovaTable, *, tolerance: float | None = None, level: float = 0.95) -> Intervals:
    """Return the intervals of the study that `table` is of (with the interaction, or pooled)."""
    draws = _variances(table)
    deviations = {name: np.sqrt(each) for name, each in draws.items()}
    total = deviations["total"]
    shares = {name: _interval(100.0 * each / total, level) for name, each in deviations.items()}
    of_tolerance = None
    if tolerance is not None:
        factor = 100.0 * TOLERANCE_MULTIPLE / tolerance
        of_tolerance = {name: _interval(factor * each, level) for name, each in deviations.items()}
    ratio = deviations["part"] / deviations["repeatability_and_reproducibility"]
    return Intervals(
        level,
        {name: _interval(each, level) for name, each in deviations.items()},
        {name: share for name, share in shares.items() if name != "total"},
        of_tolerance,
        _interval(CATEGORIES_FACTOR * ratio, level),
    )


def _interval(draws: np.ndarray, level: float) -> Interval:
    tail = (1.0 - level) / 2.0
    low, high = np.quantile(draws, (tail, 1.0 - tail))
    return float(low), float(high)


def _variances(table: AnovaTable) -> dict[str, np.ndarray]:
    """Draws of the variances by source, shape (DRAWS,). Single ones are cut off at 0, sums only when added."""
    expected = _expected_mean_squares(table)
    parts, appraisers, trials = table.parts, table.appraisers, table.trials
    repeatability = expected["repeatability"]
    between = expected.get("interaction", repeatability)
    interaction = (between - repeatability) / trials
    part = np.maximum(0.0, (expected["part"] - between) / (appraisers * trials))
    appraiser = np.zeros(DRAWS)
    if "appraiser" in expected:
        appraiser = (expected["appraiser"] - between) / (parts * trials)
    # Positive whatever comes: a sum of expected mean squares with positive weights.
    gauge = repeatability + interaction + appraiser
    return {
        "repeatability_and_reproducibility": gauge,
        "repeatability": repeatability,
        "reproducibility": np.maximum(0.0, interaction + appraiser),
        "appraiser": np.maximum(0.0, appraiser),
        "interaction": np.maximum(0.0, interaction),
        "part": part,
        "total": gauge + part,
    }


def _expected_mean_squares(table: AnovaTable) -> dict[str, np.ndarray]:
    draws = _chi_squared(tuple(line.degrees_of_freedom for line in table.lines))
    return {line.source: line.sum_of_squares / column for line, column in zip(table.lines, draws, strict=True)}


@lru_cache(maxsize=8)
def _chi_squared(freedoms: tuple[int, ...]) -> np.ndarray:
    """Chi-squared draws, shape (sources, DRAWS); kept, as they depend on the size of a study only."""
    from scipy.special import gammaincinv

    halves = np.array(freedoms)[:, None] / 2.0
    return 2.0 * gammaincinv(halves, _points(len(freedoms)))


def _points(dimensions: int) -> np.ndarray:
    """Kronecker sequence on the unit cube, shape (dimensions, DRAWS): Niederreiter 1992, chapter 3.

    Its steps are powers of the root of x^(d+1) = x + 1, which fill the cube evenly.
    """
    root = 2.0
    for _ in range(60):
        root = (1.0 + root) ** (1.0 / (dimensions + 1))
    steps = root ** -np.arange(1.0, dimensions + 1)
    points = (0.5 + steps[:, None] * np.arange(1, DRAWS + 1)) % 1.0
    # Never 0 or 1 themselves, which would stand for a variance without end.
    return np.clip(points, 1e-12, 1.0 - 1e-12)
