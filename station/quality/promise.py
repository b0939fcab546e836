"""Tolerance intervals across lots: what a datasheet can promise of the next lot too.

Lots differ, so the lot is a random effect and the number of lots counts more than that of the units. Generalized
pivotal quantities (Liao, Lin and Iyer, Technometrics 47, 2005; Krishnamoorthy and Mathew, Statistical Tolerance
Regions, 2009, chapter 5), with unequal lots by their means.
"""

from dataclasses import dataclass

import numpy as np

from station.quality.readings import StudyDataError
from station.quality.sample import Sample
from station.quality.tolerance import ToleranceInterval, half_widths
from station.quality.within import subgroups_of

FEWEST_LOTS = 5
"""With fewer a promise is provisional: two or three lots hardly show how lots differ."""

_DRAWS = 20_000
_SEED = 2642


@dataclass(frozen=True, slots=True)
class Promise:
    """A tolerance interval over lots, with what it rests on."""

    interval: ToleranceInterval
    lots: int
    provisional: bool
    mean: float
    """Of the lots' means, each counted once."""
    between_deviation: float
    """Of true lot means; 0 if they can't be told apart."""
    within_deviation: float


def promise_across_lots(
    sample: Sample, lots: np.ndarray, *, coverage: float = 0.99, confidence: float = 0.95, side: str = "both"
) -> Promise:
    """Return the interval that holds `coverage` of the units of all lots; `lots` has a label a value, shape (N,).

    By simulation with a fixed seed: same input, same digits; the quantile itself is good to about 1 %. Values are
    normal within lots, and lot means are normal. Raises StudyDataError below 2 lots, or if no lot has two values.
    """
    if not (0.0 < coverage < 1.0 and 0.0 < confidence < 1.0) or side not in ("both", "lower", "upper"):
        raise StudyDataError(f"coverage and confidence are between 0 and 1; got {coverage}, {confidence}, {side!r}")
    parts = subgroups_of(sample.values, lots)
    count, freedom = parts.sizes.size, sample.size - parts.sizes.size
    if count < 2 or freedom < 1:
        raise StudyDataError(f"a promise across lots needs two lots or more, one with two values; got {count} lots")
    mean, between_means = float(parts.means.mean()), float(parts.means.var(ddof=1))
    within = float(((parts.sizes - 1) * parts.deviations**2).sum() / freedom)
    share = float((1.0 / parts.sizes).mean())
    reach = _reach(count, freedom, between_means, within, share, coverage, confidence, side)
    interval = ToleranceInterval(
        sample.population,
        sample.unit_symbol,
        None if side == "upper" else mean - reach,
        None if side == "lower" else mean + reach,
        coverage,
        confidence,
        "lot as a random effect, normal",
        sample.size,
    )
    between = max(0.0, between_means - share * within)
    return Promise(interval, count, count < FEWEST_LOTS, mean, between**0.5, within**0.5)


def _reach(
    count: int,
    freedom: int,
    between_means: float,
    within: float,
    share: float,
    coverage: float,
    confidence: float,
    side: str,
) -> float:
    """The confidence quantile of how far from the mean of lot means the coverage reaches."""
    from scipy.special import ndtri

    generator = np.random.default_rng(_SEED)
    within_draws = freedom * within / generator.chisquare(freedom, _DRAWS)
    mean_draws = (count - 1) * between_means / generator.chisquare(count - 1, _DRAWS)
    total = np.sqrt(np.maximum(0.0, mean_draws - share * within_draws) + within_draws)
    shift = generator.standard_normal(_DRAWS) * np.sqrt(np.maximum(mean_draws, 1e-300) / count)
    if side == "both":
        reach = half_widths(shift, np.maximum(total, 1e-300), coverage=coverage)
    else:
        reach = shift + float(ndtri(coverage)) * total
    return float(np.quantile(reach, confidence))
