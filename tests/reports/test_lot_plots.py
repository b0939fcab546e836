"""Pages of lots: what they show."""

import numpy as np
import pytest
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from station.quality.capability import capability
from station.quality.charts import individuals_charts
from station.quality.panel import panel_map
from station.quality.risk import Tolerance
from station.quality.sample import sample_of
from station.quality.sequential import cumulative_sums
from station.reports.lot_plots import (
    capability_page,
    characteristic_page,
    chart_page,
    compare_page,
    panel_page,
    sums_page,
)

VALUES = np.random.default_rng(3).normal(11.6e-6, 0.04e-6, 96)
SAMPLE = sample_of(VALUES, population="units of lot L2641", unit_symbol="H")


def _ys(line: Line2D) -> np.ndarray:
    return np.asarray(line.get_ydata(), dtype=float)


def _xs(line: Line2D) -> np.ndarray:
    return np.asarray(line.get_xdata(), dtype=float)


def test_capability_page_has_all_units_and_both_limits_in_the_same_unit() -> None:
    """Microhenry throughout; the curve's area is the number of units times a class."""
    found = capability(SAMPLE, Tolerance(11.3e-6, 12.0e-6))
    (axes,) = capability_page(SAMPLE, found, title="lot L2641 L", quantity="L").axes
    limits = [_xs(line)[0] for line in axes.lines if _xs(line).size == 2 and _xs(line)[0] == _xs(line)[1]]
    curve = next(line for line in axes.lines if _xs(line).size == 200)
    bars = [patch for patch in axes.patches if isinstance(patch, Rectangle)]
    width = bars[0].get_width()

    assert [11.3, 12.0] == pytest.approx(limits)
    assert 96 == sum(bar.get_height() for bar in bars)
    assert 96 * width == pytest.approx(np.trapezoid(_ys(curve), _xs(curve)), rel=0.03)
    assert "L, uH" == axes.get_xlabel()


def test_chart_page_rings_every_signal() -> None:
    """One far value is ringed on both charts."""
    values = VALUES.copy()
    values[50] = 12.5e-6
    charts = individuals_charts(sample_of(values, population="made", unit_symbol="H"))
    upper, lower = chart_page(charts, title="lot L2641, L").axes
    rings = [[line for line in axes.lines if str(line.get_label()).startswith("signals")] for axes in (upper, lower)]

    assert 51 in _xs(rings[0][0])
    assert {50.0, 51.0} <= set(_xs(rings[1][0]))
    assert "uH" == upper.get_ylabel()


def test_sums_page_turns_the_lower_sum_down() -> None:
    """Both in units of the decision value."""
    sums = cumulative_sums(SAMPLE, target=11.6e-6, reference=0.02e-6, decision=0.2e-6)
    (axes,) = sums_page(sums, title="lot L2641, L").axes

    assert sums.upper / 0.2e-6 == pytest.approx(_ys(axes.lines[0]))
    assert -sums.lower / 0.2e-6 == pytest.approx(_ys(axes.lines[1]))


def test_compare_page_ends_at_all_units() -> None:
    """Each lot's line ends at 100 % at its largest value."""
    other = sample_of(1.01 * VALUES[:40], population="made", unit_symbol="H")
    (axes,) = compare_page([SAMPLE, other], ("L2641", "L2642"), title="L2641, L2642: L", quantity="L").axes

    assert [100.0, 100.0] == [_ys(line)[-1] for line in axes.lines]
    assert [VALUES.max() * 1e6, other.values.max() * 1e6] == pytest.approx([_xs(line)[-1] for line in axes.lines])


def test_panel_page_leaves_places_without_unit_empty() -> None:
    """A missing place has no colour, and the map has all rows and columns."""
    rows = tuple("ABCDEFGH"[i // 12] for i in range(95))
    columns = tuple(f"{i % 12 + 1:02d}" for i in range(95))
    found = panel_map(sample_of(VALUES[:95], population="made", unit_symbol="H"), rows, columns)
    axes = panel_page(found, title="lot L2641, L").axes[0]
    image = axes.images[0].get_array()
    assert image is not None
    shown = np.ma.filled(np.ma.asarray(image), np.nan)

    assert (8, 12) == shown.shape
    assert 1 == np.isnan(shown).sum()


def test_characteristic_page_is_in_per_cent() -> None:
    """An operating characteristic from 100 % down."""
    shares = np.linspace(0.0, 0.1, 11)
    (axes,) = characteristic_page(shares, 1.0 - shares, aql=1.0, title="J, AQL 1.0").axes

    assert 100.0 == _ys(axes.lines[0])[0]
    assert 10.0 == pytest.approx(_xs(axes.lines[0])[-1])
