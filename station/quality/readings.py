"""Readings of gauge studies, as arrays."""

from dataclasses import dataclass

import numpy as np


class StudyDataError(ValueError):
    """Readings from which a study can't be computed: too few, or without variation. The message says why."""


@dataclass(frozen=True, slots=True, eq=False)
class CrossedReadings:
    """Every appraiser measured every part equally often.

    `values` has the shape (parts, appraisers, trials). Names are in the order in which they came.
    """

    parts: tuple[str, ...]
    appraisers: tuple[str, ...]
    values: np.ndarray

    def __post_init__(self) -> None:
        """Refuse what has no gauge study: raises StudyDataError."""
        shape = (len(self.parts), len(self.appraisers))
        if self.values.ndim != 3 or self.values.shape[:2] != shape:
            raise StudyDataError(f"values must have the shape {(*shape, 'trials')}; got {self.values.shape}")
        if not np.isfinite(self.values).all():
            raise StudyDataError("every reading must be a finite number")
        check_variation(self.values)

    @property
    def trials(self) -> int:
        """How often each appraiser measured each part."""
        return int(self.values.shape[2])


def check_variation(values: np.ndarray) -> None:
    """Raise StudyDataError for readings (parts, appraisers, trials) that hold no repeatability."""
    parts, appraisers, trials = values.shape
    if parts < 2 or appraisers < 1 or trials < 2:
        raise StudyDataError(
            f"a crossed study needs 2 parts, 1 appraiser and 2 trials or more (10, 3 and 3 are usual); "
            f"got {parts}, {appraisers} and {trials}"
        )
    if np.ptp(values) == 0.0:
        raise StudyDataError(f"all {values.size} readings are the same ({values.flat[0]:g}): nothing varies")
    spread = float(np.ptp(values, axis=2).max())
    if 0.0 < spread < 1e-150:
        raise StudyDataError(f"the readings differ by {spread:g} only, too little to square: give them in another unit")
    if spread == 0.0:
        raise StudyDataError(
            "no appraiser ever read a part differently from one trial to the next: the resolution is too "
            "coarse, or readings were copied; record more digits"
        )
