"""Pages of gauge studies: what they show."""

import sys
from pathlib import Path

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from station.errors import StationError
from station.quality.agreement import Side, agreement
from station.quality.gauge_crossed import crossed_study
from station.quality.gauge_linearity import linearity_study
from station.quality.process import NormalProcess
from station.quality.readings import CrossedReadings
from station.quality.risk import Tolerance, risk_table
from station.reports.gauge_plots import (
    agreement_page,
    crossed_page,
    draw_readings,
    linearity_page,
    risk_page,
    save_page,
)
from tests.quality.published import AIAG_LINEARITY, PEAK_FLOW_LARGE, PEAK_FLOW_MINI, aiag_readings


def ys(line: Line2D) -> np.ndarray:
    """Heights of a line's points."""
    return np.asarray(line.get_ydata(), dtype=float)


def bars(axes: Axes) -> list[Rectangle]:
    """The bars of a page."""
    return [patch for patch in axes.patches if isinstance(patch, Rectangle)]


def test_crossed_page_shows_every_reading_and_both_limits() -> None:
    """90 readings in three series, units by their means, limits as lines, shares as bars."""
    study = crossed_study(aiag_readings(), tolerance=8.0)
    readings, shares = crossed_page(study, title="study", lower=-4.0, upper=4.0).axes
    series = [line for line in readings.lines if ys(line).size > 2]
    limits = [ys(line)[0] for line in readings.lines if ys(line).size == 2]
    labels = [label.get_text() for label in readings.get_xticklabels()]
    shown = np.sort(np.concatenate([ys(line) for line in series]))

    np.testing.assert_array_equal(np.sort(study.readings.values.reshape(-1)), shown)
    assert [-4.0, 4.0] == limits
    assert ("10", "9") == (labels[0], labels[-1])
    assert 100.0 == pytest.approx(sum(bar.get_width() for bar in bars(shares)))


def test_crossed_page_shows_u_about_each_mean() -> None:
    """The grey bars are 2 U high, U = 2 standard deviations of the gauge."""
    study = crossed_study(aiag_readings())
    readings = crossed_page(study, title="study").axes[0]

    assert [4.0 * 0.30237152232290465] * 10 == pytest.approx([bar.get_height() for bar in bars(readings)])


def test_readings_about_their_units_means_add_up_to_nothing() -> None:
    """So that a gauge whose readings fall together on the page still shows what it does; a bar of U about zero."""
    study = crossed_study(aiag_readings())
    axes = crossed_page(study, title="study").axes[0]
    axes.clear()
    draw_readings(axes, study, None, None, about_means=True)
    shown = np.concatenate([ys(line) for line in axes.lines])
    values = study.readings.values

    assert 90 == shown.size
    assert 0.0 == pytest.approx(float(shown.sum()), abs=1e-9)
    assert float((values - values.mean(axis=(1, 2), keepdims=True)).max()) == pytest.approx(float(shown.max()))
    assert {0.0} == {round(bar.get_y() + bar.get_height() / 2.0, 9) for bar in bars(axes)}


def test_linearity_page_shows_biases_line_and_zero() -> None:
    """A line of zero, 60 biases, the fitted line."""
    references = np.array([reference for reference, values in AIAG_LINEARITY.items() for _ in values])
    values = np.array([value for each in AIAG_LINEARITY.values() for value in each])
    study = linearity_study(references.tolist(), values.tolist())
    zero, biases, line = linearity_page(study, references, values, title="study").axes[0].lines

    assert [0.0, 0.0] == ys(zero).tolist()
    np.testing.assert_allclose(values - references, ys(biases))
    assert study.intercept + 2.0 * study.slope == pytest.approx(ys(line)[0])


def test_agreement_page_shows_bias_and_limits() -> None:
    """Three lines over the differences."""
    first, second = np.array(PEAK_FLOW_MINI, float), np.array(PEAK_FLOW_LARGE, float)
    study = agreement(first.tolist(), second.tolist(), sides=(Side("mini"), Side("large")))
    axes = agreement_page(study, first, second, title="study").axes[0]

    assert [study.bias, study.lower, study.upper] == [ys(line)[0] for line in axes.lines[1:]]
    assert "large - mini" == axes.get_ylabel()


def test_risk_page_shows_both_risks() -> None:
    """Consumer's falls, producer's rises, over r."""
    curve = risk_table(Tolerance(-1.0, 1.0), NormalProcess(0.0, 0.5), 0.1, [0.0, 0.1, 0.2])
    consumer, producer = risk_page(curve, 0.2).axes[0].lines

    assert [0.0, 0.5, 1.0] == pytest.approx(np.asarray(consumer.get_xdata(), dtype=float).tolist())
    assert sorted(ys(consumer), reverse=True) == ys(consumer).tolist()
    assert sorted(ys(producer)) == ys(producer).tolist()


def test_risk_page_without_any_risk_is_drawn() -> None:
    """A process far inside its limits leaves nothing above zero."""
    curve = risk_table(Tolerance(-1.0, 1.0), NormalProcess(0.0, 1e-4), 1e-4, [0.0, 1e-4])

    assert 2 == len(risk_page(curve, 2e-4).axes[0].lines)


@pytest.mark.slow
def test_page_is_written_the_same_each_time(tmp_path: Path) -> None:
    """Same study, same bytes."""
    study = crossed_study(aiag_readings())
    for name in ("one.svg", "two.svg"):
        save_page(crossed_page(study, title="study"), tmp_path / name)

    assert (tmp_path / "one.svg").read_bytes() == (tmp_path / "two.svg").read_bytes()


def test_missing_matplotlib_is_told_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """A damaged installation gets one message and no traceback."""
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)

    with pytest.raises(StationError, match=r"needs matplotlib, .* pip install matplotlib"):
        risk_page(risk_table(Tolerance(-1.0, 1.0), NormalProcess(0.0, 0.5), 0.1, [0.0]), 0.2)


def test_crossed_page_of_one_appraiser_leaves_out_what_it_can_not_tell() -> None:
    """Two bars: repeatability, unit to unit."""
    readings = aiag_readings()
    study = crossed_study(CrossedReadings(readings.parts, ("A",), readings.values[:, :1, :]))

    assert 2 == len(bars(crossed_page(study, title="study").axes[1]))
