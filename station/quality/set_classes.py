"""Classes: intervals of one quantity so narrow that any units of a class agree. People then pick without a list."""

from dataclasses import dataclass

import numpy as np

from station.quality.readings import StudyDataError
from station.quality.sets import Agreed

_OFFSETS = 64
_MOST_CLASSES = 1000


@dataclass(frozen=True, slots=True, eq=False)
class SetClasses:
    """Classes `[edges[i], edges[i+1])`, equally wide, and how many units each has."""

    edges: np.ndarray
    """Shape (classes + 1,), ascending, in the values' unit."""
    counts: np.ndarray
    """Shape (classes,)."""
    class_of: np.ndarray
    """Shape (N,): the class of each value, from 0."""
    size: int
    sets: int
    """Sets of `size` that can be picked: the sum over the classes of what each gives, remainders left."""
    population: str


def set_classes(values: np.ndarray, size: int, agreed: Agreed, *, population: str) -> SetClasses:
    """Return classes one tolerance wide over `values`, shape (N,), placed so that most sets come out.

    Of 64 places of the first edge the best is taken; optimal sets (`sets.matched_sets`) are never fewer, as they
    may lie across edges. Raises StudyDataError for a tolerance of 0, more than 1,000 classes, or values that are not
    finite (positive where relative).
    """
    table = np.asarray(values, dtype=float)
    if table.size == 0 or not np.isfinite(table).all() or size < 2 or agreed.within <= 0.0:
        raise StudyDataError("classes need finite values, sets of two or more, and a tolerance above 0")
    if agreed.relative and table.min() <= 0.0:
        raise StudyDataError(f"a relative tolerance needs values above 0; the smallest is {table.min():g}")
    places, width = (np.log(table), np.log1p(agreed.within)) if agreed.relative else (table, agreed.within)
    if np.ptp(places) / width > _MOST_CLASSES:
        raise StudyDataError(f"the tolerance is so small that there would be over {_MOST_CLASSES} classes")
    offsets = float(places.min()) - width * np.arange(_OFFSETS) / _OFFSETS
    best = max(offsets, key=lambda offset: _sets(places, offset, width, size))
    class_of = _classes(places, best, width)
    counts = np.bincount(class_of)
    edges = best + width * np.arange(counts.size + 1)
    return SetClasses(
        np.exp(edges) if agreed.relative else edges,
        counts,
        class_of,
        size,
        int((counts // size).sum()),
        population,
    )


def _classes(places: np.ndarray, first: float, width: float) -> np.ndarray:
    return np.maximum(0, np.floor((places - first) / width)).astype(int)


def _sets(places: np.ndarray, first: float, width: float, size: int) -> int:
    return int((np.bincount(_classes(places, first, width)) // size).sum())
