"""A crossed study whole: by analysis of variance, pooled and not, and by average and range."""

from dataclasses import dataclass

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
    without_interaction: Model
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
    models = [
        Model(each, variation_of(each), intervals(each, tolerance=tolerance, level=level))
        for each in (table, pooled_table(table))
    ]
    return CrossedStudy(
        readings,
        tolerance,
        pooling_significance,
        may_pool(table, significance=pooling_significance),
        models[0],
        models[1],
        average_range(readings),
    )
