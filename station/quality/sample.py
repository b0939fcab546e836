"""Values of one characteristic, with the population that they stand for."""

from dataclasses import dataclass

import numpy as np

from station.quality.readings import StudyDataError


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """Finite values in the order in which they were measured, shape (N,).

    A statistic without its population says nothing: `population` is words such as "units of lot L2641 that were
    measured" and goes into every figure made from the sample.
    """

    values: np.ndarray
    population: str
    unit_symbol: str = ""

    def __post_init__(self) -> None:
        """Refuse what no statistic can be made of: raises StudyDataError."""
        if self.values.ndim != 1 or self.values.size == 0:
            raise StudyDataError(f"a sample is one row of values, one or more; got the shape {self.values.shape}")
        if not np.isfinite(self.values).all():
            raise StudyDataError("every value of a sample must be a finite number")
        if not self.population.strip():
            raise StudyDataError("a sample must say which population it stands for")

    @property
    def size(self) -> int:
        """How many values."""
        return int(self.values.size)

    def need(self, least: int, what: str) -> None:
        """Raise StudyDataError if there are fewer than `least` values for `what`, or all are the same."""
        if self.size < least:
            raise StudyDataError(f"{what} needs {least} values or more; got {self.size}")
        if np.ptp(self.values) == 0.0:
            raise StudyDataError(f"{what}: all {self.size} values are the same ({self.values[0]:g}): nothing varies")


def sample_of(values: object, *, population: str, unit_symbol: str = "") -> Sample:
    """Return a sample of any sequence of numbers. Raises StudyDataError as `Sample` does."""
    return Sample(np.asarray(values, dtype=float), population, unit_symbol)
