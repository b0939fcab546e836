"""The panel as a map: mean by place over the panels, and the plane through it (a gradient of etch or plating)."""

from dataclasses import dataclass

import numpy as np

from station.quality.factors import f_probability
from station.quality.readings import StudyDataError
from station.quality.sample import Sample


@dataclass(frozen=True, slots=True, eq=False)
class PanelMap:
    """Means by place, and value = mean + per_row (row - middle) + per_column (column - middle), in the values' unit.

    Rows and columns count places; the plane is fitted to the single values.
    """

    rows: tuple[str, ...]
    columns: tuple[str, ...]
    means: np.ndarray
    """Shape (rows, columns); NaN where no unit was measured."""
    counts: np.ndarray
    """Shape (rows, columns)."""
    mean: float
    """Of the plane in the middle of the panel."""
    per_row: float
    per_column: float
    per_row_error: float
    """Standard error."""
    per_column_error: float
    across: float
    """Largest less smallest value of the plane over the panel."""
    explained: float
    """Share of the variance (R squared)."""
    p: float
    """Of an F test that there is no gradient."""
    deviation_about_plane: float
    population: str
    unit_symbol: str


def panel_map(sample: Sample, rows: tuple[str, ...], columns: tuple[str, ...]) -> PanelMap:
    """Return the map of values at `rows`, `columns` (each with N labels, sorted by number, then by letter).

    Raises StudyDataError below 4 values, or if they don't span a plane.
    """
    sample.need(4, "a panel map")
    names_r, at_r = _places(rows, sample.size, "row")
    names_c, at_c = _places(columns, sample.size, "column")
    place = at_r * len(names_c) + at_c
    shape = (len(names_r), len(names_c))
    counts = np.bincount(place, minlength=shape[0] * shape[1])
    sums = np.bincount(place, weights=sample.values, minlength=counts.size)
    means = np.where(counts > 0, sums / np.maximum(1, counts), np.nan)
    design = np.column_stack(
        [np.ones(sample.size), at_r - (shape[0] - 1) / 2.0, at_c - (shape[1] - 1) / 2.0]
    )
    if np.linalg.matrix_rank(design) < 3:
        raise StudyDataError("a gradient needs units from two rows and two columns or more, not all on one line")
    about = sample.values - sample.values.mean()
    inverse = np.linalg.inv(design.T @ design)
    beta = inverse @ (design.T @ about)
    rest = about - design @ beta
    freedom = sample.size - 3
    whole, left = float(about @ about), float(rest @ rest)
    variance = left / freedom
    f = ((whole - left) / 2.0) / variance if variance > 0.0 else np.inf
    return PanelMap(
        rows=names_r,
        columns=names_c,
        means=means.reshape(shape),
        counts=counts.reshape(shape),
        mean=float(beta[0] + sample.values.mean()),
        per_row=float(beta[1]),
        per_column=float(beta[2]),
        per_row_error=float(np.sqrt(variance * inverse[1, 1])),
        per_column_error=float(np.sqrt(variance * inverse[2, 2])),
        across=float(abs(beta[1]) * (shape[0] - 1) + abs(beta[2]) * (shape[1] - 1)),
        explained=1.0 - left / whole,
        p=0.0 if np.isinf(f) else f_probability(f, 2, freedom),
        deviation_about_plane=float(np.sqrt(variance)),
        population=sample.population,
        unit_symbol=sample.unit_symbol,
    )


def _places(labels: tuple[str, ...], size: int, what: str) -> tuple[tuple[str, ...], np.ndarray]:
    if len(labels) != size:
        raise StudyDataError(f"one {what} a value, please; got {len(labels)} for {size} values")
    names = tuple(sorted(set(labels), key=lambda name: (int(name) if name.isdecimal() else -1, len(name), name)))
    index = {name: i for i, name in enumerate(names)}
    return names, np.array([index[label] for label in labels])
