"""Matched sets: groups of k units that agree within a tolerance; most sets first, then tightest.

For one quantity the answer is optimal. Two sets whose intervals overlap can be sorted into a lower and an upper one
without either becoming wider than allowed or their spreads' sum growing, and a unit left over inside a set's interval
can take the place of its end. So some optimum has sets of k neighbours in order, and a walk over the order finds it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from station.quality.readings import StudyDataError


@dataclass(frozen=True, slots=True)
class Agreed:
    """How closely the units of a set must agree in one quantity: largest less smallest value, at most `within`.

    `relative`: largest over smallest value at most 1 + `within`; values are positive then.
    """

    within: float
    relative: bool = False

    def __post_init__(self) -> None:
        """Refuse what is no tolerance: raises StudyDataError."""
        if not 0.0 <= self.within < float("inf"):
            raise StudyDataError(f"a tolerance is 0 or more; got {self.within}")


@dataclass(frozen=True, slots=True, eq=False)
class MatchedSets:
    """A proposal. Indices are those of the values that came in."""

    size: int
    sets: tuple[tuple[int, ...], ...]
    """Each in order of the first quantity."""
    left: tuple[int, ...]
    """Units in no set, ascending: kept for the next lot."""
    most_possible: int
    """No way makes more sets than this; equal to the number of sets where that is optimal."""
    spreads: np.ndarray
    """Shape (sets, quantities): largest less smallest value, or over smallest less 1 where relative."""
    population: str

    @property
    def proved_optimal(self) -> bool:
        """Whether the number of sets can't be beaten."""
        return len(self.sets) == self.most_possible


def matched_sets(values: np.ndarray, size: int, agreed: Agreed, *, population: str) -> MatchedSets:
    """Return the most sets of `size` units, and of all ways to make so many the one with the least sum of spreads.

    `values`: shape (N,). Optimal; time and memory grow with N log N. Where relative, the spread summed is the
    logarithm of the ratio. Raises StudyDataError for values that are not finite, or not positive where relative.
    """
    scaled = scaled_values(np.asarray(values, dtype=float), agreed)
    order = np.argsort(scaled, kind="stable")
    picked = best_runs(scaled[order], size)
    sets = [tuple(map(int, order[start : start + size])) for start in picked]
    return proposal(np.asarray(values, dtype=float)[:, None], sets, size, (agreed,), len(sets), population=population)


def best_runs(ordered: np.ndarray, size: int) -> list[int]:
    """Return the starts of runs of `size` neighbours in ascending `ordered`, each within 1: most, then tightest.

    Let (n, s)[i] be the best number and sum of spreads among the first i values; then (n, s)[i] is the better of
    (n, s)[i-1] and (n, s)[i-size] with one run more.
    """
    if size < 2:
        raise StudyDataError(f"a set has two units or more; got {size}")
    count = ordered.size
    if count < size:
        return []
    widths = (ordered[size - 1 :] - ordered[: count - size + 1]).tolist()
    slack = 1.0 + _rounding(ordered)
    number, total, took = [0] * (count + 1), [0.0] * (count + 1), bytearray(count + 1)
    for i in range(size, count + 1):
        number[i], total[i] = number[i - 1], total[i - 1]
        width = widths[i - size]
        if width > slack:
            continue
        more, summed = number[i - size] + 1, total[i - size] + width
        if more > number[i] or (more == number[i] and summed < total[i]):
            number[i], total[i], took[i] = more, summed, 1
    starts, i = [], count
    while i >= size:
        if took[i]:
            i -= size
            starts.append(i)
        else:
            i -= 1
    return starts[::-1]


def scaled_values(values: np.ndarray, agreed: Agreed) -> np.ndarray:
    """Return values so that two agree where they differ by 1 at most; shape (N,). Raises StudyDataError."""
    if values.ndim != 1 or not np.isfinite(values).all():
        raise StudyDataError("values to be matched are one row of finite numbers")
    if agreed.relative:
        if values.size and values.min() <= 0.0:
            raise StudyDataError(f"a relative tolerance needs values above 0; the smallest is {values.min():g}")
        values, width = np.log(values), float(np.log1p(agreed.within))
    else:
        width = agreed.within
    # A tolerance of 0 asks for equal values: any width below one rounding step does that.
    largest = float(np.abs(values).max()) if values.size else 0.0
    return values / max(width, 1e-12 * max(largest, 1e-300))


def proposal(
    values: np.ndarray,
    sets: Sequence[tuple[int, ...]],
    size: int,
    agreed: Sequence[Agreed],
    most_possible: int,
    *,
    population: str,
) -> MatchedSets:
    """Return sets as a proposal with spreads and leftovers; `values` has the shape (N, quantities)."""
    members = np.array(sets, dtype=int).reshape(len(sets), size)
    chosen = values[members]
    high, low = chosen.max(axis=1), chosen.min(axis=1)
    relative = np.array([each.relative for each in agreed])
    spreads = np.where(relative, high / np.where(relative, low, 1.0) - 1.0, high - low)
    free = np.ones(len(values), dtype=bool)
    free[members.ravel()] = False
    left = tuple(map(int, np.flatnonzero(free)))
    return MatchedSets(size, tuple(sets), left, most_possible, spreads.reshape(len(sets), len(agreed)), population)


def _rounding(scaled: np.ndarray) -> float:
    """A few rounding steps: 8.3 less 8.2 is 0.10000000000000142, and people mean 0.1."""
    return 8.0 * float(np.finfo(float).eps) * max(1.0, float(np.abs(scaled).max()))
