"""Matched sets against every possible way to make them, and their laws."""

from collections.abc import Iterator
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.quality.readings import StudyDataError
from station.quality.set_classes import set_classes
from station.quality.sets import Agreed, matched_sets
from station.quality.sets_several import matched_sets_several

Ways = tuple[tuple[int, ...], ...]


def _every_way(units: tuple[int, ...], size: int) -> Iterator[Ways]:
    """All ways to make disjoint sets, none included."""
    if len(units) < size:
        yield ()
        return
    first, rest = units[0], units[1:]
    yield from _every_way(rest, size)
    for others in combinations(rest, size - 1):
        left = tuple(unit for unit in rest if unit not in others)
        for way in _every_way(left, size):
            yield ((first, *others), *way)


def _best(values: np.ndarray, size: int, tolerances: tuple[float, ...]) -> tuple[int, float]:
    """Most sets, and then the least sum of spreads of the first quantity, by trying everything."""
    best = (0, 0.0)
    for way in _every_way(tuple(range(len(values))), size):
        spreads = [np.ptp(values[list(each)], axis=0) for each in way]
        if all((spread <= tolerances).all() for spread in spreads):
            best = max(best, (len(way), -float(sum(spread[0] for spread in spreads))))
    return best[0], -best[1]


@pytest.mark.slow
@settings(max_examples=150)
@given(st.lists(st.integers(0, 30), max_size=9), st.integers(2, 4), st.integers(0, 12))
def test_sets_of_one_quantity_are_the_best_there_are(values: list[int], size: int, within: int) -> None:
    """Most sets and then the least sum of spreads, of every way to make them (whole numbers, so exact)."""
    table = np.array(values, dtype=float)
    found = matched_sets(table, size, Agreed(float(within)), population="made")

    assert _best(table[:, None], size, (float(within),)) == (len(found.sets), pytest.approx(found.spreads.sum()))
    assert found.proved_optimal


@settings(max_examples=100)
@given(
    st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), max_size=8),
    st.integers(2, 3),
    st.integers(0, 6),
    st.integers(0, 6),
)
def test_sets_of_several_quantities_stay_within_their_bound(
    values: list[tuple[int, int]], size: int, first: int, second: int
) -> None:
    """Not more sets than the best way, which is not more than the bound; every set agrees; no unit twice."""
    table = np.array(values, dtype=float).reshape(len(values), 2)
    found = matched_sets_several(table, size, (Agreed(first), Agreed(second)), population="made")
    best, _ = _best(table, size, (float(first), float(second)))
    used = [unit for each in found.sets for unit in each]

    assert len(found.sets) <= best <= found.most_possible
    assert (found.spreads <= (first, second)).all()
    assert sorted([*used, *found.left]) == list(range(len(values)))


@given(st.lists(st.floats(5.0, 10.0), min_size=1, max_size=60), st.integers(2, 5), st.floats(0.001, 0.2))
def test_relative_tolerance_bounds_the_ratio(values: list[float], size: int, within: float) -> None:
    """Largest over smallest at most 1 + tolerance, in every set; every unit is in one place."""
    table = np.array(values)
    found = matched_sets(table, size, Agreed(within, relative=True), population="made")

    assert all(max(table[list(each)]) <= min(table[list(each)]) * (1 + within) * (1 + 1e-12) for each in found.sets)
    assert len(values) == len(found.left) + size * len(found.sets)


@given(st.lists(st.integers(0, 1000), min_size=1, max_size=60), st.integers(2, 4), st.integers(0, 50))
def test_wider_tolerance_never_makes_fewer_sets(values: list[int], size: int, within: int) -> None:
    """Monotone in the tolerance."""
    table = np.array(values, dtype=float)
    narrow = matched_sets(table, size, Agreed(float(within)), population="made")
    wide = matched_sets(table, size, Agreed(within + 1.0), population="made")

    assert len(narrow.sets) <= len(wide.sets)


def test_tolerance_that_people_write_is_kept() -> None:
    """8.3 less 8.2 is 0.10000000000000142 in the computer; a tolerance of 0.1 means 0.1."""
    found = matched_sets(np.array([8.2, 8.3]), 2, Agreed(0.1), population="made")

    assert 1 == len(found.sets)


def test_tolerance_of_nothing_matches_equal_values_only() -> None:
    """0 is allowed, and strict."""
    found = matched_sets(np.array([8.2, 8.2, 8.2000001]), 2, Agreed(0.0), population="made")

    assert ((0, 1),) == found.sets


def test_value_that_is_no_number_is_refused() -> None:
    """A set with an unmeasured unit would be a wrong one."""
    with pytest.raises(StudyDataError, match="finite"):
        matched_sets(np.array([8.0, np.nan, 8.0]), 2, Agreed(0.1), population="made")


def test_sets_of_several_come_near_the_bound_for_a_lot() -> None:
    """2,650 units, R, L and field within 1 %: not more than 4 % of the sets below what any way could make."""
    generator = np.random.default_rng(16)
    lot = generator.normal([8.0, 11.6e-6, 4.2e-3], [0.2, 0.04e-6, 0.05e-3], (2650, 3))
    found = matched_sets_several(lot, 4, [Agreed(0.01, relative=True)] * 3, population="made")

    assert len(found.sets) >= 0.96 * found.most_possible


@given(st.lists(st.floats(5.0, 10.0), min_size=1, max_size=80), st.integers(2, 5), st.booleans())
def test_any_units_of_a_class_agree(values: list[float], size: int, relative: bool) -> None:
    """The law of classes; and they never give more sets than optimal ones."""
    table = np.array(values)
    agreed = Agreed(0.05 if relative else 0.4, relative=relative)
    classes = set_classes(table, size, agreed, population="made")
    for index in range(len(classes.counts)):
        inside = table[classes.class_of == index]
        if inside.size:
            limit = inside.min() * 1.05 if relative else inside.min() + 0.4
            assert inside.max() <= limit * (1 + 1e-9)

    assert len(values) == classes.counts.sum()
    assert classes.sets <= len(matched_sets(table, size, agreed, population="made").sets)
