"""What a datasheet may state of a characteristic: minimum, typical, maximum, each with what it rests on.

The ends are statistical tolerance intervals: over several lots with the lot as a random effect, of one lot normal or
distribution-free, moved out by the uncertainty of measurement: most of it is common to all units of a bench, so the
spread doesn't show it. An end beyond a limit that every unit is judged against, with a guard band, is that limit.
"""

from dataclasses import dataclass, replace

import numpy as np

from station.quality.normality import LEAST_VALUES, normality_test
from station.quality.promise import FEWEST_LOTS, promise_across_lots
from station.quality.readings import StudyDataError
from station.quality.risk import Tolerance
from station.quality.sample import Sample
from station.quality.tolerance import ToleranceInterval, distribution_free_interval, normal_interval


@dataclass(frozen=True, slots=True)
class StatedRange:
    """Minimum, typical, maximum, in the values' unit; an end is None where nothing can be stated, `why` says why."""

    typical: float
    """Mean of the lots' means."""
    minimum: float | None
    maximum: float | None
    minimum_is_limit: bool
    maximum_is_limit: bool
    method: str
    """Of the tolerance interval; empty without one."""
    why: str
    doubt: str
    """What speaks against the interval's own assumptions; empty if nothing does."""
    units: int
    lots: int
    coverage: float
    confidence: float
    population: str

    @property
    def provisional(self) -> bool:
        """Whether the lots are too few to show how lots differ."""
        return self.lots < FEWEST_LOTS


def stated_range(
    sample: Sample,
    lots: np.ndarray,
    *,
    coverage: float = 0.99,
    confidence: float = 0.95,
    uncertainty: float = 0.0,
    judged: Tolerance | None = None,
) -> StatedRange:
    """Return what can be stated of all units of a process.

    Args:
        sample: the values, shape (N,).
        lots: a lot's label a value, shape (N,).
        coverage: share of the units that the range holds.
        confidence: that it does.
        uncertainty: expanded (95 %), by which both ends are moved out; 0 or above.
        judged: limits that each unit was judged against with a guard band of that uncertainty. They serve only if
            all values keep them: a unit that passed by concession, or under older limits, shows that they are no
            promise.
    """
    names = np.unique(lots)
    means = [float(sample.values[lots == name].mean()) for name in names]
    interval, why = _interval(sample, lots, len(names), coverage, confidence)
    stated = StatedRange(
        typical=float(np.mean(means)),
        minimum=None if interval is None or interval.lower is None else interval.lower - uncertainty,
        maximum=None if interval is None or interval.upper is None else interval.upper + uncertainty,
        minimum_is_limit=False,
        maximum_is_limit=False,
        method="" if interval is None else interval.method,
        why=why,
        doubt=_doubt(sample, lots, names) if interval is not None and len(names) > 1 else "",
        units=sample.size,
        lots=len(names),
        coverage=coverage,
        confidence=confidence,
        population=sample.population,
    )
    return stated if judged is None else _within(stated, judged, sample.values)


def _interval(
    sample: Sample, lots: np.ndarray, count: int, coverage: float, confidence: float
) -> tuple[ToleranceInterval | None, str]:
    try:
        if count > 1:
            return promise_across_lots(sample, lots, coverage=coverage, confidence=confidence).interval, ""
        if sample.size >= LEAST_VALUES and normality_test(sample).accepted:
            return normal_interval(sample, coverage=coverage, confidence=confidence), ""
        return distribution_free_interval(sample, coverage=coverage, confidence=confidence), ""
    except StudyDataError as error:
        return None, str(error)


def _doubt(sample: Sample, lots: np.ndarray, names: np.ndarray) -> str:
    """Whether values are normal within their lots, as the interval over lots takes them."""
    rest = sample.values.copy()
    for name in names:
        rest[lots == name] -= rest[lots == name].mean()
    try:
        found = normality_test(replace(sample, values=rest))
    except StudyDataError:
        return ""
    return "" if found.accepted else f"not normal within lots (p = {found.p:.2g}): its ends are rough"


def _within(stated: StatedRange, judged: Tolerance, values: np.ndarray) -> StatedRange:
    low, high = judged.lower, judged.upper
    if low is not None and values.min() >= low and (stated.minimum is None or stated.minimum < low):
        stated = replace(stated, minimum=low, minimum_is_limit=True)
    if high is not None and values.max() <= high and (stated.maximum is None or stated.maximum > high):
        stated = replace(stated, maximum=high, maximum_is_limit=True)
    return stated
