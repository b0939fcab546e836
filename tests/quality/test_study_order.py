"""The order in which units are loaded."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.quality.study_order import Step, study_order

PARTS = tuple(f"u{i}" for i in range(10))


def test_same_seed_gives_the_same_order() -> None:
    """A study can be repeated from its record."""
    assert study_order(PARTS, ("A", "B"), 3, seed=7) == study_order(PARTS, ("A", "B"), 3, seed=7)


def test_each_appraiser_has_an_order_of_its_own() -> None:
    """And each trial too."""
    steps = study_order(PARTS, ("A", "B"), 2, seed=7)
    orders = {
        tuple(step.part for step in steps if (step.appraiser, step.trial) == key)
        for key in [("A", 1), ("A", 2), ("B", 1), ("B", 2)]
    }

    assert 4 == len(orders)


def test_order_does_not_depend_on_who_else_takes_part() -> None:
    """B's order is the same with A and without."""
    alone = study_order(PARTS, ("B",), 3, seed=7)
    together = study_order(PARTS, ("A", "B"), 3, seed=7)

    assert alone == tuple(step for step in together if step.appraiser == "B")


@given(st.integers(0, 10_000), st.integers(2, 12), st.integers(1, 3), st.integers(2, 4))
def test_every_unit_is_loaded_once_a_trial_and_never_twice_running(
    seed: int, parts: int, appraisers: int, trials: int
) -> None:
    """All cells are there, a trial is a pass through all units, and no unit follows itself."""
    names, badges = PARTS[:parts] if parts <= 10 else tuple(map(str, range(parts))), ("A", "B", "C")[:appraisers]
    steps = study_order(names, badges, trials, seed=seed)
    wanted = [(badge, trial) for badge in badges for trial in range(1, trials + 1) for _ in names]

    assert wanted == [(step.appraiser, step.trial) for step in steps]
    assert {Step(b, t, n) for b, t in wanted for n in names} == set(steps)
    for one, following in pairwise(steps):
        if one.appraiser == following.appraiser:
            assert one.part != following.part


def test_all_parts_come_first_about_equally_often() -> None:
    """Over 2,000 seeds each of 5 parts opens a second trial 400 times, give or take four standard deviations (72)."""
    counts = dict.fromkeys(PARTS[:5], 0)
    for seed in range(2000):
        counts[study_order(PARTS[:5], ("A",), 2, seed=seed)[5].part] += 1

    assert all(abs(count - 400) < 72 for count in counts.values()), counts


@pytest.mark.parametrize(
    ("parts", "appraisers", "trials"),
    [
        (("u1", "u1"), ("A",), 2),
        (("u1", "u2"), ("A", "A"), 2),
        (("u1",), ("A",), 2),
        (PARTS, (), 2),
        (PARTS, ("A",), 1),
    ],
)
def test_study_that_is_none_is_refused(parts: tuple[str, ...], appraisers: tuple[str, ...], trials: int) -> None:
    """Names once each; two parts, two trials, one appraiser at least."""
    with pytest.raises(ValueError, match=r"once only|crossed study"):
        study_order(parts, appraisers, trials, seed=1)
