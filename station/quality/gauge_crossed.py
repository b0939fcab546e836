"""A crossed study whole: by analysis of variance, pooled and not, and by average and range."""

from dataclasses import dataclass, replace

from station.quality.gauge_anova import (
    POOLING_SIGNIFICANCE,
    AnovaTable,
    anova_table,
    may_pool,
    pooled_table,
    variation_of,
)
from station.quality.gauge_average_range import AverageRange, average_range
from station.quality.gauge_intervals import Intervals, intervals
from station.quality.readings import CrossedReadings
from station.quality.variation import Variation


@dataclass(frozen=True, slots=True)
class Model:
    """One analysis of variance with what follows from it."""

    table: AnovaTable
    variation: Variation
    intervals: Intervals


@dataclass(frozen=True, slots=True)
class CrossedStudy:
    """A study of repeatability and reproducibility. `tolerance` is a width, or None.

    With one appraiser there is no interaction, and the two models are the same.
    """

    readings: CrossedReadings
    tolerance: float | None
    pooling_significance: float
    pooled: bool
    with_interaction: Model
    """The model that keeps the interaction."""
    without_interaction: Model
    """The pooled model; its interval of the interaction is the other's."""
    average_range: AverageRange

    @property
    def model(self) -> Model:
        """The model that the pooling rule chose."""
        return self.without_interaction if self.pooled else self.with_interaction


def crossed_study(
    readings: CrossedReadings,
    *,
    tolerance: float | None = None,
    pooling_significance: float = POOLING_SIGNIFICANCE,
    level: float = 0.95,
) -> CrossedStudy:
    """Return the study of `readings`; intervals at `level`.

    Raises ValueError for a tolerance that is no width above 0.
    """
    if tolerance is not None and not 0.0 < tolerance < float("inf"):
        raise ValueError(f"a tolerance must be a finite width above 0; got {tolerance}")
    table = anova_table(readings)
    kept, pooled = (
        Model(each, variation_of(each), intervals(each, tolerance=tolerance, level=level))
        for each in (table, pooled_table(table))
    )
    pooled = replace(pooled, intervals=_with_interaction_of(pooled.intervals, kept.intervals))
    return CrossedStudy(
        readings,
        tolerance,
        pooling_significance,
        may_pool(table, significance=pooling_significance),
        kept,
        pooled,
        average_range(readings),
    )


def _with_interaction_of(pooled: Intervals, kept: Intervals) -> Intervals:
    """Return the pooled intervals with the interaction's own: not significant is not the same as known to be 0."""
    name = "interaction"
    tolerance = pooled.percent_of_tolerance
    if tolerance is not None and kept.percent_of_tolerance is not None:
        tolerance = tolerance | {name: kept.percent_of_tolerance[name]}
    return replace(
        pooled,
        standard_deviations=pooled.standard_deviations | {name: kept.standard_deviations[name]},
        percent_of_study_variation=pooled.percent_of_study_variation | {name: kept.percent_of_study_variation[name]},
        percent_of_tolerance=tolerance,
    )
