"""Plots of the coil model: what they show, and that the documentation's figures can be drawn."""

from pathlib import Path

import pytest

from station.coil import predict
from station.coil.heating import Drive
from station.coil.spread import Conditions, Tolerances, simulate_spread
from station.reports.coil_plots import draw_documentation, example_coil, field_figure, save_figure, spread_figure


@pytest.mark.slow
def test_documentation_figures_are_drawn(tmp_path: Path) -> None:
    """Both of the coil model's page, and not empty."""
    draw_documentation(tmp_path)

    assert {"geometry.svg", "behaviour.svg"} == {file.name for file in tmp_path.iterdir()}
    assert all(file.stat().st_size > 10_000 for file in tmp_path.iterdir())


def test_bars_of_the_spread_are_as_long_as_the_spread() -> None:
    """The parts of each bar add up to half of the middle 95 %, in per cent of nominal."""
    conditions = Conditions(drive=Drive(voltage_v=1.0), heights_m=(2e-3,))
    result = simulate_spread(example_coil(), Tolerances(10e-6, copper_m=2e-6, drive=0.01), conditions, draws=500)
    axes = spread_figure(result).axes[0]

    for row, quantity in enumerate(result.quantities):
        bars = [bar for bar in axes.patches if round(bar.get_y() + bar.get_height() / 2) == row]
        half_percent = 100 * (quantity.high - quantity.low) / 2 / quantity.nominal
        assert half_percent == pytest.approx(sum(bar.get_width() for bar in bars))


def test_field_plot_without_a_spiral_shows_the_asked_heights_only() -> None:
    """A drawn polyline has no curve between them."""
    seen = predict(example_coil(), heights_m=[1e-3, 2e-3])

    assert 1 == len(field_figure(seen, None).axes[0].lines)
    assert 2 == len(field_figure(seen, example_coil()).axes[0].lines)


def test_other_endings_are_refused(tmp_path: Path) -> None:
    """In words, before anything is written."""
    with pytest.raises(ValueError, match=r"written as \.svg, \.png or \.pdf"):
        save_figure(field_figure(predict(example_coil(), heights_m=[1e-3]), None), tmp_path / "plot.jpeg")
