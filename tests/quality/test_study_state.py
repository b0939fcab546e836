"""Where a study on a bench stands: whose unit is next, what is left, when it is complete."""

from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise

import pytest

from station.quality.study_state import Studied, StudyKind, StudySetup, StudyState, steps_of

UNITS = ("U1", "U2", "U3", "U4", "U5")
SETUP = StudySetup(
    name="G0001",
    kind=StudyKind.CROSSED,
    bench="bench-1",
    nest="A",
    fixture_identity="FIX",
    simulated=True,
    part="IS-20",
    plan_hash="0" * 64,
    method="resistance",
    characteristics=(Studied("R20", "ohm", 6.8, 9.2),),
    units=UNITS,
    appraisers=("OP-07", "OP-09"),
    trials=3,
    seed=4,
    opened_utc=datetime(2026, 11, 25, tzinfo=UTC),
    who="EN-02",
)


def test_each_appraiser_has_an_order_of_their_own_and_loads_no_unit_twice_running() -> None:
    """Every unit once before any a second time, in orders that differ between appraisers and between trials."""
    orders = {who: [each.part for each in steps_of(SETUP) if each.appraiser == who] for who in SETUP.appraisers}
    passes = [order[at : at + 5] for order in orders.values() for at in (0, 5, 10)]

    assert all(sorted(each) == sorted(UNITS) for each in passes)
    assert len({tuple(each) for each in passes}) > 3
    assert all(a != b for order in orders.values() for a, b in pairwise(order))


def test_another_seed_gives_another_order_and_the_same_seed_the_same() -> None:
    """A study that is broken off goes on in the order that it was begun with."""
    assert steps_of(SETUP) == steps_of(replace(SETUP, name="G0002"))
    assert steps_of(SETUP) != steps_of(replace(SETUP, seed=5))


def test_next_unit_is_the_first_of_the_appraisers_own_order_without_a_reading() -> None:
    """Who measures meanwhile does not move another one's order."""
    steps = steps_of(SETUP)
    own = [each for each in steps if each.appraiser == "OP-09"]
    state = StudyState(SETUP, {own[0]: "run", own[1]: "run", steps[0]: "run"})

    assert (own[2], 13, 14) == (state.next_step("OP-09"), state.left("OP-09"), state.left("OP-07"))


def test_study_is_complete_with_the_last_reading_and_not_before() -> None:
    """Only then does nobody wait."""
    steps = steps_of(SETUP)
    almost = StudyState(SETUP, dict.fromkeys(steps[:-1], "run"))
    whole = StudyState(SETUP, dict.fromkeys(steps, "run"))

    assert (False, ("OP-09",)) == (almost.complete, almost.waiting)
    assert (True, (), None) == (whole.complete, whole.waiting, whole.next_step("OP-07"))


def test_type1_study_loads_its_one_unit_again_and_again() -> None:
    """One unit, one appraiser, as many trials as asked for."""
    setup = replace(SETUP, kind=StudyKind.TYPE1, units=("U1",), appraisers=("OP-07",), trials=25)

    assert [("OP-07", trial, "U1") for trial in range(1, 26)] == [
        (each.appraiser, each.trial, each.part) for each in steps_of(setup)
    ]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"units": ("U1",)}, "2 parts"),
        ({"units": ("U1", "U1")}, "once only"),
        ({"appraisers": ("OP-07", "OP-07")}, "once only"),
        ({"kind": StudyKind.TYPE1}, "1 unit by 1 appraiser"),
        ({"kind": StudyKind.TYPE1, "units": ("U1",), "appraisers": ("OP-07",), "trials": 9}, "10 trials"),
    ],
)
def test_study_that_has_no_statistics_is_refused(changes: dict[str, object], words: str) -> None:
    """Too small, or something named twice."""
    with pytest.raises(ValueError, match=words):
        steps_of(replace(SETUP, **changes))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("lower", "upper", "width"),
    [(6.8, 9.2, 2.4), (6.8, None, 2.4), (None, 9.2, 2.4), (8.1, None, None), (None, None, None)],
)
def test_tolerance_of_one_limit_is_twice_its_distance_from_the_mean(
    lower: float | None, upper: float | None, width: float | None
) -> None:
    """As `gauge study` takes it: common practice, no source. A mean beyond the limit has none."""
    assert Studied("R20", "ohm", lower, upper).tolerance(8.0) == (None if width is None else pytest.approx(width))
