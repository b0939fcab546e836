"""Matched sets in several quantities at once: near-optimal, with a bound that says how near.

Finding the most sets is a hard packing problem. Here the units are cut into cells one tolerance wide in all quantities
but one; within a cell the walk of `sets` is optimal in that one. What is left over is cut again with the cells shifted,
and at last gathered neighbour by neighbour. The bound: a unit with fewer than k - 1 partners is in no set, and of the
others no quantity alone allows more sets than its own optimum.
"""

from collections.abc import Sequence

import numpy as np

from station.quality.readings import StudyDataError
from station.quality.sets import Agreed, MatchedSets, best_runs, proposal, scaled_values

_SHIFTS = 6
_NEAREST = 48
"""Partners looked at for a unit that is left over."""


def matched_sets_several(
    values: np.ndarray, size: int, agreed: Sequence[Agreed], *, population: str
) -> MatchedSets:
    """Return sets of `size` units that agree in every quantity; `values` has the shape (N, quantities).

    `most_possible` bounds what any way could make. Raises StudyDataError as `matched_sets`, or if the quantities and
    tolerances differ in number.
    """
    table = np.asarray(values, dtype=float)
    if table.ndim != 2 or table.shape[1] != len(agreed) or not agreed:
        raise StudyDataError(f"one tolerance a quantity, please; got {len(agreed)} for values of shape {table.shape}")
    if size < 2:
        raise StudyDataError(f"a set has two units or more; got {size}")
    scaled = np.column_stack([scaled_values(table[:, j], each) for j, each in enumerate(agreed)])
    able = _with_partners(scaled, size)
    bound = min((len(best_runs(np.sort(scaled[able, j]), size)) for j in range(scaled.shape[1])), default=0)
    sets = max((_packed(scaled, able, size, along) for along in range(scaled.shape[1])), key=len)
    ordered = [tuple(sorted(each, key=lambda unit: (table[unit, 0], unit))) for each in sets]
    ordered.sort(key=lambda each: table[each[0], 0])
    return proposal(table, ordered, size, agreed, bound, population=population)


def _with_partners(scaled: np.ndarray, size: int) -> np.ndarray:
    """Indices of units that have k - 1 others within one tolerance in every quantity, ascending."""
    from scipy.spatial import cKDTree

    if len(scaled) < size:
        return np.empty(0, dtype=int)
    distance, _ = cKDTree(scaled).query(scaled, k=[size], p=np.inf, distance_upper_bound=1.0 + 1e-9)
    return np.flatnonzero(np.isfinite(distance[:, 0]))


def _packed(scaled: np.ndarray, able: np.ndarray, size: int, along: int) -> list[tuple[int, ...]]:
    """Sets made by cells in all quantities but `along`, then by gathering."""
    sets: list[tuple[int, ...]] = []
    left = able
    for shift in range(_SHIFTS):
        if left.size < size:
            break
        made = _by_cells(scaled, left, size, along, shift / _SHIFTS)
        sets += made
        taken = np.array([unit for each in made for unit in each], dtype=int)
        left = np.setdiff1d(left, taken, assume_unique=True)
    return sets + _gathered(scaled, left, size, along)


def _by_cells(
    scaled: np.ndarray, units: np.ndarray, size: int, along: int, shift: float
) -> list[tuple[int, ...]]:
    others = [j for j in range(scaled.shape[1]) if j != along]
    cells = np.floor(scaled[units][:, others] + shift).astype(np.int64)
    order = np.lexsort((scaled[units, along], *cells.T))
    ranked, sorted_cells = units[order], cells[order]
    changes = np.flatnonzero((np.diff(sorted_cells, axis=0) != 0).any(axis=1)) + 1
    sets = []
    for group in np.split(ranked, changes):
        starts = best_runs(scaled[group, along], size) if group.size >= size else []
        sets += [tuple(map(int, group[start : start + size])) for start in starts]
    return sets


def _gathered(scaled: np.ndarray, units: np.ndarray, size: int, along: int) -> list[tuple[int, ...]]:
    """From the lowest up: each unit left takes the nearest free partners that agree with all it has already."""
    from scipy.spatial import cKDTree

    if units.size < size:
        return []
    places = scaled[units]
    tree = cKDTree(places)
    _, near = tree.query(places, k=min(_NEAREST, len(places)), p=np.inf, distance_upper_bound=1.0)
    near = near.reshape(len(places), -1)
    free = np.ones(len(places) + 1, dtype=bool)
    # The tree names what it did not find by the number of points.
    free[-1] = False
    sets = []
    for first in np.argsort(places[:, along], kind="stable"):
        if not free[first]:
            continue
        members, low, high = [int(first)], places[first].copy(), places[first].copy()
        for other in near[first]:
            if len(members) == size:
                break
            if other == first or not free[other]:
                continue
            lower, upper = np.minimum(low, places[other]), np.maximum(high, places[other])
            if (upper - lower <= 1.0).all():
                members.append(int(other))
                low, high = lower, upper
        if len(members) == size:
            free[members] = False
            sets.append(tuple(map(int, units[members])))
    return sets
