"""Where the variance comes from: lot, panel, within the panel, gauge. Nested analysis of variance, unbalanced allowed.

Method of moments: the sums of squares are set equal to their expectations (Searle, Casella and McCulloch, Variance
Components, 1992, 3.6 and chapter 5; Gates and Shiue, Technometrics 4, 1962).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from station.quality.factors import f_probability
from station.quality.readings import StudyDataError
from station.quality.sample import Sample


@dataclass(frozen=True, slots=True)
class Component:
    """One source of variance."""

    source: str
    groups: int
    degrees_of_freedom: int
    sum_of_squares: float
    mean_square: float
    f: float | None
    """Against the next source within; exact where the data are balanced. None for the last source."""
    p: float | None
    variance: float
    """0 where the estimate came out negative: the source can't be told from what is within it."""
    negative: bool
    deviation: float
    share: float
    """Of the sum of all variances."""


@dataclass(frozen=True, slots=True)
class Components:
    """All sources, outermost first, and the total."""

    population: str
    unit_symbol: str
    mean: float
    parts: tuple[Component, ...]
    total_deviation: float


def nested_components(
    sample: Sample, levels: Mapping[str, np.ndarray], *, within: str = "within", gauge_variance: float | None = None
) -> Components:
    """Return the variance components of values in nested groups.

    Args:
        sample: the values, shape (N,).
        levels: from the outermost: the name of a source, and the group of each value, shape (N,). Groups are
            nested: panel 01 of one lot is another panel than 01 of the next.
        within: what is left within the innermost group: such as "within panel", or "gauge" if the innermost
            group is a unit that was measured several times.
        gauge_variance: known variance of a measurement (such as u^2), in the values' unit squared; it is taken
            off what is left within and becomes a source of its own.

    Raises:
        StudyDataError: a level that does not split its parent, or nothing left within.
    """
    sample.need(3, "an analysis of variance")
    names = list(levels)
    codes = _nested_codes(sample.values.size, levels)
    sizes = [np.bincount(code) for code in codes]
    counts = [len(size) for size in sizes]
    _check(names, counts, sample.size)
    squares, freedom = _sums(sample.values, codes, counts)
    coefficients = _expectations(codes, sizes, freedom)
    variances = _solve(coefficients, squares)
    labels = [*names, within]
    groups = [*counts[1:], sample.size]
    rows = [
        (labels[i], groups[i], freedom[i], squares[i], float(variances[i])) for i in range(len(labels))
    ]
    parts = _parts(rows, gauge_variance)
    total = sum(part.variance for part in parts)
    return Components(
        sample.population,
        sample.unit_symbol,
        float(sample.values.mean()),
        tuple(parts),
        math.sqrt(total),
    )


def _nested_codes(size: int, levels: Mapping[str, np.ndarray]) -> list[np.ndarray]:
    """Group numbers from the whole down; each level's groups are told apart within their parents."""
    codes = [np.zeros(size, dtype=np.int64)]
    for name, labels in levels.items():
        if len(labels) != size:
            raise StudyDataError(f"{name}: one group a value, please; got {len(labels)} for {size} values")
        _, own = np.unique(np.asarray(labels), return_inverse=True)
        _, joined = np.unique(codes[-1] * (own.max() + 1) + own, return_inverse=True)
        codes.append(joined.astype(np.int64))
    return codes


def _check(names: list[str], counts: list[int], size: int) -> None:
    for name, above, own in zip(names, counts[:-1], counts[1:], strict=True):
        if own == above:
            raise StudyDataError(f"{name}: there is only one in each of the groups above, so its share can't be seen")
    if counts[-1] >= size:
        raise StudyDataError(f"{names[-1]}: each has one value only, so nothing is left within")


def _sums(values: np.ndarray, codes: list[np.ndarray], counts: list[int]) -> tuple[list[float], list[int]]:
    fitted = [(np.bincount(code, weights=values - values.mean()) / np.bincount(code))[code] for code in codes]
    fitted.append(values - values.mean())
    squares = [float(((inner - outer) ** 2).sum()) for outer, inner in pairwise(fitted)]
    ends = [*counts, values.size]
    return squares, [inner - outer for outer, inner in pairwise(ends)]


def _expectations(codes: list[np.ndarray], sizes: list[np.ndarray], freedom: list[int]) -> np.ndarray:
    """Matrix of E[SS_i] = sum_j a_ij variance_j, upper triangular.

    With T(a, b) = sum over groups g of level a of (sum of squared sizes of the groups of level b in g) / size of g:
    a_ij = T(i, j) - T(i - 1, j). For what is left within, a_ij are the degrees of freedom.
    """
    levels, size = len(codes) - 1, codes[0].size
    matrix = np.zeros((levels + 1, levels + 1))
    for j in range(1, levels + 1):
        first = np.zeros(sizes[j].size, dtype=np.int64)
        totals = [0.0] * (levels + 1)
        for a in range(j):
            first[codes[j]] = codes[a]
            squared = np.bincount(first, weights=sizes[j].astype(float) ** 2, minlength=sizes[a].size)
            totals[a] = float((squared / sizes[a]).sum())
        totals[j] = float(size)
        for i in range(1, j + 1):
            matrix[i - 1, j - 1] = totals[i] - totals[i - 1]
    matrix[:, levels] = freedom
    return matrix


def _solve(matrix: np.ndarray, squares: list[float]) -> np.ndarray:
    """From the innermost out; a negative estimate stays as it is for those above it (they stay unbiased)."""
    return np.linalg.solve(matrix, np.array(squares))


def _parts(rows: list[tuple[str, int, int, float, float]], gauge_variance: float | None) -> list[Component]:
    names = [row[0] for row in rows]
    raw = [row[4] for row in rows]
    if gauge_variance is not None:
        names.append("gauge")
        raw[-1] -= gauge_variance
        raw.append(gauge_variance)
    total = sum(max(0.0, each) for each in raw)
    if total <= 0.0:
        raise StudyDataError("the values don't vary: there is no variance to share out")
    squares = [row[3] / row[2] for row in rows]
    parts = []
    for i, name in enumerate(names):
        variance = max(0.0, raw[i])
        known = i < len(rows)
        f = squares[i] / squares[i + 1] if i + 1 < len(rows) and squares[i + 1] > 0.0 else None
        parts.append(
            Component(
                source=name,
                groups=rows[i][1] if known else rows[-1][1],
                degrees_of_freedom=rows[i][2] if known else 0,
                sum_of_squares=rows[i][3] if known else math.nan,
                mean_square=squares[i] if known else math.nan,
                f=f,
                p=None if f is None else f_probability(f, rows[i][2], rows[i + 1][2]),
                variance=variance,
                negative=raw[i] < 0.0,
                deviation=math.sqrt(variance),
                share=variance / total,
            )
        )
    return parts
