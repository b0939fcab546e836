"""Does a bench drift: verification values over time, on one scale, warned of before they reach their limit.

Each value is a share: how far it is from what it should be, over how far it may be. For a reference unit that is
the E_n number (ISO 13528:2015, 9.7); at +-1 the bench is no longer verified. Two charts look at the shares, single
values and their exponentially weighted moving average (ISO 7870-2 and -6), against a baseline: the first values.
Values that did not agree are drawn and are in no estimate: they have been acted on already. Of a steady bench about
2 verifications in 100 are warned of by chance (measured: 1.7 % with a baseline of 20 normal values).
"""

import math
from dataclasses import dataclass

import numpy as np

from station.quality.charts import Chart
from station.quality.readings import StudyDataError
from station.quality.run_rules import RunRule, Signal
from station.quality.sample import Sample
from station.quality.sequential import USUAL_WEIGHT, moving_average_chart
from station.quality.within import within_by_moving_range

BASELINE = 20
"""Values that the centre and the spread are taken from, at most."""

LEAST_BASELINE = 6
"""Below this there are no charts yet, only the share itself is looked at."""

LEAST_SPREAD = 0.05
"""A smaller spread counts as this, so that a shift that matters to nobody is no warning."""

WARNING_SHARE = 2.0 / 3.0
"""Warned of from here on, whatever the charts say (common practice, no source)."""

TREND_POINTS = 5
"""The last so many values make the line that says when the limit will be reached."""


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """What one characteristic of one reference unit (or of the bench itself) does over time.

    `singles` and `averages` are charts of the values that agreed, None while they are too few. `warnings` are
    about the newest value, in words. `rate` is shares a day, outward; None if nothing is warned of, or the value
    does not agree any more, or moves back to the middle.
    """

    shares: np.ndarray
    """All values, shape (N,)."""
    agreed: np.ndarray
    """Which of them agreed, shape (N,)."""
    singles: Chart | None
    averages: Chart | None
    baseline: int
    warnings: tuple[str, ...]
    rate: float | None

    @property
    def drifts(self) -> bool:
        """Tell whether the newest value has left its usual range on a chart, on its way out."""
        charts = [each for each in (self.singles, self.averages) if each is not None]
        out = any(signal.index == each.points.size - 1 for each in charts for signal in each.signals)
        return out and self.rate is not None

    @property
    def days_left(self) -> float | None:
        """Days until the limit is reached at the present rate; None without a rate."""
        return self.days_until(1.0)

    def days_until(self, share: float) -> float | None:
        """Return the days until `share` is reached at the present rate, 0 if it is already; None without a rate."""
        if self.rate is None:
            return None
        return max(0.0, (share - abs(float(self.shares[-1]))) / self.rate)


def find_drift(shares: np.ndarray, days: np.ndarray, *, agreed: np.ndarray | None = None) -> Drift:
    """Return charts and warnings for shares taken at `days`, all of shape (N,), in order of time.

    Raises StudyDataError for unequal shapes, no value, or one that is not finite.
    """
    _check(shares, days)
    took = np.abs(shares) <= 1.0 if agreed is None else agreed
    kept = shares[took]
    usual = _baseline(kept)
    charts = _charts(kept, kept[usual]) if usual.size >= LEAST_BASELINE else None
    singles, averages = charts or (None, None)
    said = _warnings(shares, took, singles, averages)
    rate = _outward_rate(kept, days[took]) if said and took[-1] else None
    return Drift(shares, took, singles, averages, usual.size, said, rate)


def _check(shares: np.ndarray, days: np.ndarray) -> None:
    if shares.shape != days.shape or shares.ndim != 1 or shares.size == 0:
        raise StudyDataError(f"shares and days must be two rows of one length; got {shares.shape} and {days.shape}")
    if not (np.isfinite(shares).all() and np.isfinite(days).all()):
        raise StudyDataError("every share and day must be a finite number")


def _baseline(kept: np.ndarray) -> np.ndarray:
    """Return which values are the baseline: the first ones, without any that had left the range before it.

    The newest value is never in it: it is judged against what came before.
    """
    usual: list[int] = []
    for i, value in enumerate(kept[:-1].tolist()):
        if len(usual) == BASELINE:
            break
        if len(usual) >= LEAST_BASELINE:
            centre, spread = _centre(kept[usual])
            if abs(value - centre) > 3.0 * spread * math.sqrt(1.0 + 1.0 / len(usual)):
                continue
        usual.append(i)
    return np.array(usual, dtype=int)


def _centre(baseline: np.ndarray) -> tuple[float, float]:
    return float(baseline.mean()), max(LEAST_SPREAD, _spread(baseline))


def _charts(kept: np.ndarray, baseline: np.ndarray) -> tuple[Chart, Chart]:
    """The doubt of the baseline's own mean widens the limits: few values would else give many false alarms."""
    centre, spread = _centre(baseline)
    sample = Sample(kept, "verifications that agreed", "of what is allowed")
    reach = 3.0 * spread * math.sqrt(1.0 + 1.0 / baseline.size)
    line = np.full(kept.size, centre)
    out = np.flatnonzero(np.abs(kept - centre) > reach)
    signals = tuple(Signal(int(i), RunRule.BEYOND_LIMITS) for i in out)
    singles = Chart(
        "single values", kept, line, line - reach, line + reach, signals, None, sample.population, sample.unit_symbol
    )
    wider = math.sqrt(1.0 + (2.0 - USUAL_WEIGHT) / USUAL_WEIGHT / baseline.size)
    return singles, moving_average_chart(sample, spread * wider, target=centre, steady=True)


def _spread(values: np.ndarray) -> float:
    if np.ptp(values) == 0.0:
        return 0.0
    return within_by_moving_range(values).deviation


def _warnings(
    shares: np.ndarray, agreed: np.ndarray, singles: Chart | None, averages: Chart | None
) -> tuple[str, ...]:
    newest = float(shares[-1])
    if not agreed[-1]:
        return (f"beyond what is allowed: {newest:+.2f} of it",)
    said = []
    if abs(newest) >= WARNING_SHARE:
        said.append(f"{abs(newest):.0%} of what is allowed is used up")
    for chart, words in ((singles, "the value"), (averages, "the moving average")):
        if chart is not None and any(each.index == chart.points.size - 1 for each in chart.signals):
            said.append(f"{words} has left its usual range ({chart.lower[-1]:+.2f} to {chart.upper[-1]:+.2f})")
    return tuple(said)


def _outward_rate(shares: np.ndarray, days: np.ndarray) -> float | None:
    """Shares a day away from the middle: the line through the last values, or the last step if that is steeper."""
    last, at = shares[-TREND_POINTS:], days[-TREND_POINTS:]
    if last.size < 2 or np.ptp(at) == 0.0:
        return None
    slope = float(np.polyfit(at - at[-1], last, 1)[0])
    # A drift that has just begun is steeper than the line through what came before it.
    step = (last[-1] - last[-2]) / (at[-1] - at[-2]) if at[-1] > at[-2] else slope
    rate = max((slope, step), key=abs)
    if rate == 0.0 or rate * last[-1] < 0.0:
        return None
    return abs(float(rate))
