"""What is usual in a lot: medians, robust spreads, and when a lot says nothing."""

import numpy as np
import pytest

from station.causes.baseline import ASSUMED_SD, FEWEST_UNITS, FLOOR_SD, baseline_of
from station.causes.observables import HEIGHT, NAMES, R20, L


def _seen(units: int, *, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal((units, len(NAMES))) * ASSUMED_SD


def test_few_units_stand_against_the_drawing() -> None:
    """Below eight units the centre is the drawing and the spread is assumed."""
    found = baseline_of(_seen(FEWEST_UNITS - 1) + 0.3, ("",) * (FEWEST_UNITS - 1))

    assert not found.from_lot
    assert 0.0 == np.abs(found.centre).max()
    assert ASSUMED_SD.tolist() == found.spread.tolist()


def test_spread_is_that_of_the_sound_units() -> None:
    """3 % of damaged units, all to one side, move the robust standard deviation by less than a third."""
    seen = _seen(2_000)
    seen[:60, L] -= 0.3
    found = baseline_of(seen, ("",) * 2_000)

    assert ASSUMED_SD[R20] == pytest.approx(found.spread[R20], rel=0.05)
    assert ASSUMED_SD[L] == pytest.approx(found.spread[L], rel=0.33)


def test_each_panel_has_its_own_centre() -> None:
    """Panels of 24 units and more are centred each; a smaller one takes the lot's."""
    seen = _seen(200) * 0.1
    panels = ("01",) * 100 + ("02",) * 90 + ("03",) * 10
    seen[100:, R20] += 0.2
    found = baseline_of(seen, panels)

    assert (0.0, 0.2) == pytest.approx((found.centre[0, R20], found.centre[150, R20]), abs=0.01)
    assert found.lot_centre[R20] == found.centre[195, R20]


def test_no_lot_is_believed_to_be_without_spread() -> None:
    """Equal values leave the floor, never a zero to divide by."""
    found = baseline_of(np.zeros((500, len(NAMES))), ("",) * 500)

    assert FLOOR_SD.tolist() == found.spread.tolist()


def test_observable_that_nobody_measured_is_left_alone() -> None:
    """NaN columns keep the assumed spread and count no unit."""
    seen = _seen(50)
    seen[:, L] = np.nan
    found = baseline_of(seen, ("",) * 50)

    assert 0 == found.units[L]
    assert ASSUMED_SD[L] == found.spread[L]


def test_damage_does_not_widen_the_spread_of_the_height() -> None:
    """A bridge bends the field's profile, which reads as another height: 8 % of such units don't widen the spread."""
    generator = np.random.default_rng(4)
    seen = np.zeros((1_000, len(NAMES))) + generator.standard_normal((1_000, len(NAMES))) * 1e-3
    seen[:, HEIGHT] = 20e-6 * generator.standard_normal(1_000)
    seen[:80, L] = -0.1
    seen[:80, HEIGHT] = 300e-6 * generator.standard_normal(80)

    assert 20e-6 == pytest.approx(baseline_of(seen, ("01",) * 1_000).spread[HEIGHT], rel=0.1)
