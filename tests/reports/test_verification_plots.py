"""The page of verification values over time."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from station.app.drift import Series, share_of
from station.core.verification import VerificationValue
from station.quality.drift import find_drift
from station.records import ContactPoint, FixtureService, PastValue
from station.reports.coil_plots import save_figure
from station.reports.verification_plots import contact_page, verification_page

START = datetime(2026, 11, 2, 6, 0, tzinfo=UTC)


def series(shares: list[float]) -> Series:
    """R20 of a reference unit once a day; 10 mohm are allowed."""
    past = tuple(
        PastValue(
            f"v{day}",
            START + timedelta(days=day),
            "A",
            VerificationValue("A01", "R20", "ohm", 7.0 + 0.01 * share, abs(share) <= 1.0, "", 0.006, 7.0, 0.008),
        )
        for day, share in enumerate(shares)
    )
    values = np.array([share_of(each.found) for each in past], dtype=float)
    return Series("bench-1", "A", "A01", "R20", past, find_drift(values, np.arange(values.size, dtype=float)))


def test_share_is_over_both_uncertainties_or_half_the_range() -> None:
    """E_n against an assigned value, the place between two bounds otherwise, nothing without either."""
    bounded = VerificationValue("", "field zero", "T", 1e-3, True, lower=-2e-3, upper=2e-3)
    bare = VerificationValue("B03", "R20", "ohm", 9.3, True)

    assert 0.5 == pytest.approx(series([0.5]).drift.shares[0])
    assert (0.5, None) == (share_of(bounded), share_of(bare))


@pytest.mark.slow
def test_page_shows_each_value_its_limits_and_what_left_them() -> None:
    """Eight values, of which the last has left its usual range; one column a series."""
    steady = [0.0, 0.02, -0.02, 0.01, 0.0, -0.01, 0.02]
    figure = verification_page([series([*steady, 0.5]), series([0.1, 2.0])])
    top, short_top, bottom, short_bottom = figure.axes

    assert 8 == len(top.lines[0].get_xdata())
    assert "A01 R20, nest A, assigned 7 ohm" == top.get_title(loc="left")
    assert {-1.0, 1.0} <= {float(line.get_ydata()[0]) for line in top.lines}
    assert [0.5] == [pytest.approx(float(each)) for each in top.lines[-1].get_ydata()]
    assert short_top.get_ylim()[1] > 2.0
    assert ["too few values yet"] == [each.get_text() for each in short_bottom.texts]
    assert [] == list(bottom.texts)


@pytest.mark.slow
def test_page_is_written(tmp_path: Path) -> None:
    """As a vector drawing, in words that can be searched."""
    save_figure(verification_page([series([0.1, 0.2])]), tmp_path / "page.svg")

    assert "nest A, assigned 7 ohm" in (tmp_path / "page.svg").read_text(encoding="utf-8")


@pytest.mark.slow
def test_page_of_contacts_shows_both_pads_and_the_cleaning() -> None:
    """In milliohm, over the fixture's own count."""
    points = [ContactPoint(f"U{i}", "A", START, 10 * i, (6e-3 + 1e-4 * i, 7e-3)) for i in range(1, 6)]
    done = FixtureService("bench-1", "A", "FIX", "cleaned", 30, "OP-07", "due", START)
    (axes,) = contact_page(points, [done], title="bench-1").axes
    start, end, line = axes.lines

    assert [pytest.approx(each) for each in (6.1, 6.2, 6.3, 6.4, 6.5)] == list(start.get_ydata())
    assert ([10, 20, 30, 40, 50], [30, 30]) == (list(end.get_xdata()), list(line.get_xdata()))
    assert ["cleaned"] == [each.get_text() for each in axes.texts]
