"""Drift over time: a straight line, a rank test that outliers can't fool, and how much neighbours are alike."""

from dataclasses import dataclass

import numpy as np

from station.quality.factors import t_factor, t_probability
from station.quality.readings import StudyDataError
from station.quality.sample import Sample


@dataclass(frozen=True, slots=True)
class Trend:
    """value = intercept + slope x time. Slope in the values' unit by the unit of the times."""

    population: str
    unit_symbol: str
    slope: float
    slope_error: float
    """Standard error, widened where neighbours resemble each other (`autocorrelation`)."""
    slope_low: float
    slope_high: float
    intercept: float
    intercept_error: float
    p: float
    """Of no slope, by t, after widening."""
    change: float
    """Slope x the time from first to last."""
    deviation_about_line: float
    autocorrelation: float
    """Lag 1, of what is left about the line."""
    rank_correlation: float
    """Kendall's tau-b."""
    rank_p: float
    level: float

    @property
    def drifts(self) -> bool:
        """Whether line and ranks agree that there is a drift, at 1 - level."""
        return max(self.p, self.rank_p) < 1.0 - self.level


def trend_of(sample: Sample, times: np.ndarray, *, level: float = 0.95) -> Trend:
    """Return the drift of `sample` over `times`, shape (N,), ascending or not, in any unit.

    With positive lag-1 autocorrelation r of the residuals the error is widened by sqrt((1 + r) / (1 - r)), and the
    degrees of freedom shrink alike (Bayley and Hammersley 1946). Raises StudyDataError below 5 values, or if all
    times are the same.
    """
    from scipy.stats import kendalltau

    sample.need(5, "a trend")
    when = np.asarray(times, dtype=float)
    if when.shape != sample.values.shape or not np.isfinite(when).all() or np.ptp(when) == 0.0:
        raise StudyDataError(f"a trend needs a finite time a value, not all the same; got {when.size} times")
    order = np.argsort(when, kind="stable")
    x, y = when[order], sample.values[order]
    n, centred = x.size, x - x.mean()
    sxx = float(centred @ centred)
    slope = float(centred @ (y - y.mean())) / sxx
    rest = y - y.mean() - slope * centred
    deviation = float(np.sqrt(rest @ rest / (n - 2)))
    r = lag_one(rest) if deviation > 0.0 else 0.0
    widened = max(1.0, (1.0 + r) / (1.0 - min(r, 0.99)))
    freedom = max(1.0, (n - 2) / widened)
    error = deviation * float(np.sqrt(widened / sxx))
    half = t_factor(freedom, level=level) * error
    ranks = kendalltau(x, y)
    return Trend(
        population=sample.population,
        unit_symbol=sample.unit_symbol,
        slope=slope,
        slope_error=error,
        slope_low=slope - half,
        slope_high=slope + half,
        intercept=float(y.mean() - slope * x.mean()),
        intercept_error=deviation * float(np.sqrt(widened * (1.0 / n + x.mean() ** 2 / sxx))),
        p=t_probability(slope / error, freedom) if error > 0.0 else 0.0,
        change=slope * float(x[-1] - x[0]),
        deviation_about_line=deviation,
        autocorrelation=r,
        rank_correlation=float(ranks.statistic),
        rank_p=float(ranks.pvalue),
        level=level,
    )


def lag_one(values: np.ndarray) -> float:
    """Return the lag-1 autocorrelation of values in order, shape (N,): sum of neighbours' products over the squares."""
    about = values - values.mean()
    square = float(about @ about)
    return float(about[1:] @ about[:-1]) / square if square > 0.0 else 0.0
