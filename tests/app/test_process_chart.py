"""The I-MR chart of a lot: limits by hand, means for large lots, every point at its unit."""

from datetime import UTC, datetime

import numpy as np
import pytest

from station.app.lot_units import LotUnit
from station.app.process_chart import LARGEST, Place, process_chart
from station.core.results import Decision
from station.quality.readings import StudyDataError

D2, D4 = 1.128, 3.267
"""Of moving ranges of two: ISO 7870-2:2013, table 2."""
MORNING = datetime(2026, 11, 25, 8, tzinfo=UTC)


def units(values: list[float], *, panel_of: int = 0) -> list[LotUnit]:
    """Return units with these R20; `panel_of` units a panel, 0: all on one."""
    made = []
    for i, value in enumerate(values):
        panel = "01" if not panel_of else f"{i // panel_of + 1:02d}"
        made.append(
            LotUnit(
                serial=f"U{i:04d}", lot="L2641", panel=panel, row="A", column="01", decision=Decision.PASS,
                bin_number=1, bin_name="low R", held=False, reason_code="", reason_words="", operator="OP-07",
                bench="bench-1", nest="A", run_id=f"run-{i}", plan_hash="", opened_utc=MORNING,
                concession="", values={"R20": value}, cells={}, characteristics=(("R20", "ohm"),),
            )
        )  # fmt: skip
    return made


def test_limits_follow_from_the_mean_moving_range() -> None:
    """Mean -+ 3 MR / d2; upper limit of the ranges D4 MR (rounded factors of the table, so 0.1 %)."""
    values = [8.0, 8.2, 7.9, 8.1, 8.3, 8.0]
    chart = process_chart(units(values), "R20", "ohm", of="lot L2641")
    moving = float(np.mean(np.abs(np.diff(values))))

    assert "units" == chart.points_are
    assert np.mean(values) + 3 * moving / D2 == pytest.approx(chart.values.upper[0], rel=1e-3)
    assert np.mean(values) - 3 * moving / D2 == pytest.approx(chart.values.lower[0], rel=1e-3)
    assert moving * D4 == pytest.approx(chart.ranges.upper[0], rel=1e-3)


def test_jump_is_marked_at_its_unit_in_both_charts() -> None:
    """One unit far off: beyond the limits, and so is the range that leads to it."""
    values = [8.0 + 0.01 * (-1) ** i for i in range(30)]
    values[20] = 9.0
    chart = process_chart(units(values), "R20", "ohm", of="lot L2641")
    found = [(place.serial, rule) for place, rule in chart.signals]

    assert ("U0020", "one point beyond the limits") in found
    assert ("U0020", "moving range beyond its limit") in found
    assert "one point beyond the limits" in chart.rules_at(20)


def test_shift_of_the_lot_is_a_run_on_one_side() -> None:
    """Eight in a row: no point beyond the limits, and a pattern all the same."""
    values = [8.0 + 0.02 * (-1) ** i + (0.05 if i >= 20 else 0.0) for i in range(40)]
    rules = {rule for _, rule in process_chart(units(values), "R20", "ohm", of="lot").signals}

    assert {"eight in a row on one side"} == rules


def test_large_lot_of_panels_is_drawn_by_panel_means() -> None:
    """A point a panel, its mean, leading to the panel."""
    values = [8.0 + 0.1 * (i // 96) + 0.001 * (i % 96) for i in range(96 * 6)]
    chart = process_chart(units(values, panel_of=96), "R20", "ohm", of="lot")

    assert "panel means" == chart.points_are
    assert tuple(Place(panel=f"{i:02d}") for i in range(1, 7)) == chart.places
    assert np.mean(values[:96]) == pytest.approx(chart.values.points[0])


@pytest.mark.parametrize("count", [LARGEST, LARGEST + 1, 2_650])
def test_lot_of_one_panel_is_thinned_to_what_a_page_draws(count: int) -> None:
    """By means of neighbours; never more points than a page can hold, each leads to the last unit of its mean."""
    chart = process_chart(units([8.0 + 0.01 * (i % 7) for i in range(count)]), "R20", "ohm", of="lot")
    size = -(-count // LARGEST)

    assert len(chart.places) <= LARGEST
    assert f"U{size - 1:04d}" == chart.places[0].serial


@pytest.mark.parametrize(
    ("values", "words"), [([], "no unit has a value"), ([8.0, 8.1], "three values"), ([8.0] * 9, "don't vary")]
)
def test_too_little_to_chart_is_told(values: list[float], words: str) -> None:
    """Nothing measured, too few, no variation."""
    with pytest.raises(StudyDataError, match=words):
        process_chart(units(values), "R20", "ohm", of="lot")
