"""Drawings of gauge studies for reports: what `gauge_plots` draws, a picture each, told apart by shape in print."""

from typing import TYPE_CHECKING

import numpy as np

from station.quality.gauge_crossed import CrossedStudy
from station.quality.gauge_linearity import Linearity
from station.quality.gauge_stability import Stability
from station.quality.gauge_type1 import Type1
from station.reports.gauge_plots import beside, draw_linearity, draw_readings, draw_shares
from station.reports.pictures import COLOURS, GREY, WIDTH, new_figure, svg_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_SIZE = 8


def readings_picture(study: CrossedStudy, lower: float | None, upper: float | None, *, unit: str = "") -> bytes:
    """Return SVG of all readings by unit, each appraiser a shape, with limits and +-U of one reading."""
    figure = new_figure(WIDTH, 3.3)
    axes = figure.subplots()
    draw_readings(axes, study, lower, upper)
    axes.set_ylabel(_in("reading", unit))
    _print_size(axes)
    return svg_of(figure)


def deviations_picture(study: CrossedStudy, *, unit: str = "") -> bytes:
    """Return SVG of all readings less the mean of their unit: what the gauge does, at its own scale."""
    figure = new_figure(WIDTH, 2.6)
    axes = figure.subplots()
    draw_readings(axes, study, None, None, about_means=True)
    axes.axhline(0.0, color=GREY, linewidth=0.8)
    axes.set_ylabel(_in("less unit's mean", unit))
    _print_size(axes)
    return svg_of(figure)


def shares_picture(study: CrossedStudy) -> bytes:
    """Return SVG of the variance shares as bars."""
    figure = new_figure(WIDTH, 1.5)
    axes = figure.subplots()
    draw_shares(axes, study)
    _print_size(axes)
    return svg_of(figure)


def _in(word: str, unit: str) -> str:
    return f"{word}, {unit}" if unit else word


def _print_size(axes: "Axes") -> None:
    axes.tick_params(labelsize=_SIZE)
    axes.xaxis.label.set_fontsize(_SIZE)
    axes.yaxis.label.set_fontsize(_SIZE)


def type1_picture(values: np.ndarray, study: Type1, *, unit: str = "") -> bytes:
    """Return SVG of the readings in their order, the reference, and the share of the tolerance about it."""
    figure = new_figure(WIDTH, 2.9)
    axes = figure.subplots()
    axes.plot(np.arange(1, values.size + 1), values, marker="o", markersize=4, linewidth=0.7, color=COLOURS[0])
    reach = study.share / 2.0 * study.tolerance
    heights = {
        "reference": study.bias.reference,
        f"+{study.share / 2:.0%} of tolerance": study.bias.reference + reach,
        f"-{study.share / 2:.0%} of tolerance": study.bias.reference - reach,
    }
    for word, height in heights.items():
        axes.axhline(height, color=GREY, linewidth=1, linestyle="-" if word == "reference" else "--")
        beside(axes, height, word)
    axes.axhline(study.bias.mean, color=COLOURS[1], linewidth=1.2, linestyle="-.", label="mean of the readings")
    axes.legend(fontsize=8, loc="lower right", bbox_to_anchor=(1.0, 1.0), frameon=False)
    axes.set_xlabel("reading")
    axes.set_ylabel(_in("value", unit))
    _print_size(axes)
    return svg_of(figure)


def linearity_picture(study: Linearity, references: np.ndarray, readings: np.ndarray, *, unit: str = "") -> bytes:
    """Return SVG of the biases over their references, the line and its band."""
    figure = new_figure(WIDTH, 3.2)
    axes = figure.subplots()
    draw_linearity(axes, study, references, readings)
    axes.set_xlabel(_in("reference", unit))
    axes.set_ylabel(_in("bias", unit))
    _print_size(axes)
    return svg_of(figure)


def stability_picture(study: Stability, occasions: tuple[str, ...], *, unit: str = "") -> bytes:
    """Return SVG of the occasions' means with centre and limits; those outside are ringed."""
    figure = new_figure(WIDTH, 3.1)
    axes = figure.subplots()
    place = np.arange(1, study.means.size + 1)
    axes.plot(place, study.means, marker="o", markersize=4, linewidth=0.8, color=COLOURS[0])
    outside = np.array(study.outside, dtype=int)
    axes.plot(place[outside], study.means[outside], "o", markersize=10, fillstyle="none", color=COLOURS[1])
    for word, height in (("upper", study.upper), ("centre", study.centre), ("lower", study.lower)):
        axes.axhline(height, color=GREY, linewidth=1, linestyle="-" if word == "centre" else "--")
        beside(axes, height, word)
    every = max(1, len(occasions) // 12)
    axes.set_xticks(place[::every], occasions[::every], rotation=45 if max(map(len, occasions)) > 4 else 0)
    axes.set_xlabel("occasion")
    axes.set_ylabel(_in("mean of the readings", unit))
    _print_size(axes)
    return svg_of(figure)
