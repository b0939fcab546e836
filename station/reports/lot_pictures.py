"""Drawings of the lot report: every characteristic's histogram against its limits, the Pareto, the panel."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from station.quality.panel import PanelMap
from station.quality.risk import Tolerance
from station.quality.sample import Sample
from station.quality.yields import ReasonShare
from station.reports.pictures import COLOURS, GREY, WIDTH, new_figure, percent, scale_of, svg_of

ACROSS = 2
"""Histograms beside each other."""

_SIZE = 8


@dataclass(frozen=True, slots=True, eq=False)
class Limited:
    """One characteristic's values, and the plan's tolerance limits on it."""

    name: str
    sample: Sample
    tolerance: Tolerance


def histograms(limited: Sequence[Limited]) -> bytes:
    """Return SVG of up to `ACROSS` histograms beside each other, each with its limits; classes count units."""
    figure = new_figure(WIDTH, 1.6)
    frames = figure.subplots(1, ACROSS)
    for axes, each in zip(frames, limited):
        factor, unit = scale_of(each.sample.values, each.sample.unit_symbol)
        values = each.sample.values * factor
        # Enough classes to see a shape, and never more than the eye tells apart.
        classes = int(np.clip(np.sqrt(values.size), 8, 40))
        axes.hist(values, bins=classes, histtype="stepfilled", facecolor="#BBD3E6", edgecolor=COLOURS[0], linewidth=0.7)
        for limit in (each.tolerance.lower, each.tolerance.upper):
            if limit is not None:
                axes.axvline(limit * factor, color=COLOURS[1], linestyle="--", linewidth=1.2)
        axes.set_title(f"{each.name}, {unit}" if unit else each.name, fontsize=_SIZE + 1, loc="left")
        axes.tick_params(labelsize=_SIZE)
        axes.locator_params(axis="y", integer=True, nbins=4)
        axes.spines[["top", "right"]].set_visible(False)
    for axes in frames[len(limited) :]:
        axes.set_axis_off()
    return svg_of(figure)


def pareto_bars(bars: Sequence[ReasonShare]) -> bytes:
    """Return SVG of the reasons, most units first, with the share that has added up at the right of each bar."""
    figure = new_figure(WIDTH, 0.5 + 0.28 * len(bars))
    axes = figure.subplots()
    places = np.arange(len(bars))
    axes.barh(places, [bar.units for bar in bars], height=0.6, color="#BBD3E6", edgecolor=COLOURS[0], linewidth=0.5)
    for place, bar in zip(places, bars, strict=True):
        words = f"  {bar.units}  ({percent(bar.cumulative, decimals=0)})"
        axes.annotate(words, (bar.units, place), va="center", fontsize=_SIZE)
    axes.set_yticks(places, [bar.reason for bar in bars], fontsize=_SIZE)
    axes.invert_yaxis()
    axes.set_xlim(0, 1.2 * max(bar.units for bar in bars))
    axes.set_xticks([])
    axes.spines[["top", "right", "bottom"]].set_visible(False)
    return svg_of(figure)


def panel_places(found: PanelMap) -> bytes:
    """Return SVG of the panel: mean by place as a number on its colour; a place without a unit stays white."""
    factor, unit = scale_of(found.means[np.isfinite(found.means)], found.unit_symbol)
    shape = found.means.shape
    figure = new_figure(WIDTH, 0.9 + 0.27 * shape[0])
    axes = figure.subplots()
    scaled = found.means * factor
    image = axes.imshow(scaled, cmap="cividis", aspect="auto")
    decimals = max(0, 2 - int(np.floor(np.log10(max(1e-12, float(np.nanmax(np.abs(scaled))))))))
    middle = float(np.nanmean([np.nanmin(scaled), np.nanmax(scaled)]))
    for row, column in zip(*np.nonzero(np.isfinite(scaled)), strict=True):
        value = scaled[row, column]
        ink = "white" if value < middle else "black"
        axes.annotate(f"{value:.{decimals}f}", (column, row), ha="center", va="center", fontsize=_SIZE - 1, color=ink)
    axes.set_xticks(np.arange(shape[1]), found.columns, fontsize=_SIZE)
    axes.set_yticks(np.arange(shape[0]), found.rows, fontsize=_SIZE)
    axes.set_xlabel("column", fontsize=_SIZE)
    axes.set_ylabel("row", fontsize=_SIZE)
    bar = figure.colorbar(image, ax=axes, pad=0.01)
    bar.ax.set_title(unit, fontsize=_SIZE)
    bar.ax.tick_params(labelsize=_SIZE)
    axes.spines[:].set_color(GREY)
    return svg_of(figure)
