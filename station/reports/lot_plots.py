"""Pages of lots: histogram with limits, control charts, lots beside each other, the panel as a map.

matplotlib is imported inside the functions, as `Figure` without pyplot. The file's ending says the kind.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from station.core.quantity import Dimension, format_quantity
from station.errors import StationError
from station.quality.capability import Capability
from station.quality.charts import Chart
from station.quality.panel import PanelMap
from station.quality.sample import Sample
from station.quality.sequential import CumulativeSums

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Okabe and Ito's colours: told apart with any colour vision; line styles and marks tell them apart in print.
_COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00")
_STYLES = ("-", "--", "-.", ":")
_LIMIT = "#444444"
_WIDTH = 8.27
_MOST_MARKS = 400
"""More points are drawn as a line without marks."""


def capability_page(sample: Sample, found: Capability, *, title: str, quantity: str) -> "Figure":
    """Draw the values' histogram with the limits, the fitted distribution, and the reference interval."""
    figure = _figure(_WIDTH, 4.5)
    axes = figure.subplots()
    scale, unit = _scale(sample.values, sample.unit_symbol)
    counts, edges, _ = axes.hist(
        sample.values * scale, bins=_classes(sample.size), color="#BBD3E6", edgecolor="white", label="units"
    )
    if found.fit is not None:
        middles = np.linspace(edges[0], edges[-1], 200) / scale
        step = middles[1] - middles[0]
        below = np.array([found.fit.share_below(float(x)) for x in (middles[0] - step, *middles)])
        height = np.diff(below) / step * sample.size * (edges[1] - edges[0]) / scale
        axes.plot(middles * scale, height, color=_COLOURS[1], label=f"{found.fit.family} distribution")
    for limit, word in ((found.tolerance.lower, "lower limit"), (found.tolerance.upper, "upper limit")):
        if limit is not None:
            axes.axvline(limit * scale, color=_LIMIT, linestyle="--", linewidth=1)
            _above(axes, limit * scale, word)
    if found.reference is not None:
        ends = [found.reference.low * scale, found.reference.high * scale]
        top = float(np.max(counts)) * 1.06
        axes.plot(ends, [top, top], color=_COLOURS[2], marker="|", markersize=12, label="holds 99.73 %")
    axes.set_xlabel(f"{quantity}, {unit}" if unit else quantity)
    axes.set_ylabel("units")
    axes.set_title(f"{title}: {sample.size} units", loc="left", pad=18)
    # Below the frame, where it hides no limit.
    figure.legend(fontsize=8, loc="outside lower center", ncols=3, frameon=False)
    return figure


def chart_page(charts: Sequence[Chart], *, title: str) -> "Figure":
    """Draw one or two control charts under each other: points, centre, limits, signals ringed."""
    figure = _figure(_WIDTH, 3.2 * len(charts) + 0.6)
    frames = np.atleast_1d(figure.subplots(len(charts), 1))
    for axes, chart in zip(frames, charts, strict=True):
        _draw_chart(axes, chart)
    frames[0].set_title(f"{title}: {charts[0].title}", loc="left")
    for axes, chart in zip(frames[1:], charts[1:], strict=True):
        axes.set_title(chart.title, loc="left")
    frames[-1].set_xlabel("in order of measurement")
    return figure


def sums_page(sums: CumulativeSums, *, title: str) -> "Figure":
    """Draw cumulative sums, the lower one downwards, in units of the decision value."""
    figure = _figure(_WIDTH, 4.0)
    axes = figure.subplots()
    place = np.arange(1, sums.upper.size + 1)
    axes.plot(place, sums.upper / sums.decision, color=_COLOURS[0], label="above target")
    axes.plot(place, -sums.lower / sums.decision, color=_COLOURS[1], linestyle="--", label="below target")
    for height in (1.0, -1.0):
        axes.axhline(height, color=_LIMIT, linestyle="--", linewidth=1)
    axes.set_ylabel("cumulative sum / decision value")
    axes.set_xlabel("in order of measurement")
    axes.set_title(f"{title}: cumulative sums", loc="left")
    axes.legend(fontsize=8)
    return figure


def compare_page(samples: Sequence[Sample], names: Sequence[str], *, title: str, quantity: str) -> "Figure":
    """Draw the share of units below each value, a line a lot: what shifts and what widens is seen without classes."""
    figure = _figure(_WIDTH, 4.5)
    axes = figure.subplots()
    scale, unit = _scale(np.concatenate([each.values for each in samples]), samples[0].unit_symbol)
    for i, (sample, name) in enumerate(zip(samples, names, strict=True)):
        ordered = np.sort(sample.values) * scale
        share = 100.0 * np.arange(1, ordered.size + 1) / ordered.size
        style, colour = _STYLES[i % len(_STYLES)], _COLOURS[i % len(_COLOURS)]
        axes.step(ordered, share, where="post", color=colour, linestyle=style, label=f"{name}, {sample.size} units")
    axes.set_xlabel(f"{quantity}, {unit}" if unit else quantity)
    axes.set_ylabel("units at or below, %")
    axes.grid(True, alpha=0.3)
    axes.set_title(title, loc="left")
    axes.legend(fontsize=8)
    return figure


def panel_page(found: PanelMap, *, title: str) -> "Figure":
    """Draw the panel: mean by place as colour, with the fitted plane's contour lines."""
    figure = _figure(_WIDTH, 4.8)
    axes = figure.subplots()
    scale, unit = _scale(found.means[np.isfinite(found.means)], found.unit_symbol)
    image = axes.imshow(found.means * scale, cmap="cividis", aspect="auto")
    rows, columns = np.arange(len(found.rows)), np.arange(len(found.columns))
    plane = (
        found.mean
        + found.per_row * (rows[:, None] - (rows.size - 1) / 2.0)
        + found.per_column * (columns[None, :] - (columns.size - 1) / 2.0)
    )
    lines = axes.contour(columns, rows, plane * scale, levels=6, colors="white", linewidths=1)
    axes.clabel(lines, fontsize=8)
    axes.set_xticks(columns, found.columns)
    axes.set_yticks(rows, found.rows)
    axes.set_xlabel("column")
    axes.set_ylabel("row")
    figure.colorbar(image, ax=axes, label=f"mean of the panels{', ' + unit if unit else ''}")
    axes.set_title(f"{title}: places of the panel; lines are the fitted plane", loc="left")
    return figure


def characteristic_page(
    shares: np.ndarray, probabilities: np.ndarray, *, aql: float, title: str
) -> "Figure":
    """Draw an operating characteristic: probability of acceptance over the fraction nonconforming."""
    figure = _figure(_WIDTH, 4.2)
    axes = figure.subplots()
    axes.plot(100.0 * shares, 100.0 * probabilities, color=_COLOURS[0])
    axes.axvline(aql, color=_LIMIT, linestyle="--", linewidth=1)
    _above(axes, aql, "AQL")
    axes.set_xlabel("nonconforming, %")
    axes.set_ylabel("lots accepted, %")
    axes.grid(True, alpha=0.3)
    axes.set_title(f"{title}: operating characteristic", loc="left", pad=18)
    return figure


def _draw_chart(axes: "Axes", chart: Chart) -> None:
    place = np.arange(1, chart.points.size + 1)
    scale, unit = _scale(chart.points, chart.unit_symbol)
    marker = "o" if chart.points.size <= _MOST_MARKS else ""
    axes.plot(place, chart.points * scale, color=_COLOURS[0], marker=marker, markersize=3, linewidth=0.8)
    axes.plot(place, chart.centre * scale, color=_LIMIT, linewidth=1)
    for line, word in ((chart.upper, "upper"), (chart.lower, "lower")):
        axes.step(place, line * scale, where="mid", color=_LIMIT, linestyle="--", linewidth=1)
        axes.annotate(
            word,
            (1.0, line[-1] * scale),
            xycoords=("axes fraction", "data"),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            fontsize=8,
        )
    at = sorted({signal.index for signal in chart.signals})
    if at:
        axes.plot(
            place[at],
            chart.points[at] * scale,
            linestyle="",
            marker="o",
            markersize=9,
            markerfacecolor="none",
            markeredgecolor=_COLOURS[1],
            label=f"signals ({len(chart.signals)})",
        )
        axes.legend(fontsize=8, loc="lower right", bbox_to_anchor=(1.0, 1.0), frameon=False)
    axes.set_ylabel(unit or "value")


def _scale(values: np.ndarray, unit_symbol: str) -> tuple[float, str]:
    """Factor and unit that people read the values in: 1e6 and uH."""
    if unit_symbol in ("", Dimension.NUMBER):
        return 1.0, ""
    largest = float(np.abs(values).max())
    unit = format_quantity(largest, unit_symbol).rpartition(" ")[2]
    prefix = unit.removesuffix(unit_symbol)
    return {"p": 1e12, "n": 1e9, "u": 1e6, "m": 1e3, "k": 1e-3, "M": 1e-6, "G": 1e-9}.get(prefix, 1.0), unit


def _classes(size: int) -> int:
    """Square-root rule, within what the eye can read."""
    return int(np.clip(np.sqrt(size), 8, 60))


def _above(axes: "Axes", at: float, word: str) -> None:
    axes.annotate(
        word,
        (at, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(0, 3),
        textcoords="offset points",
        ha="center",
        fontsize=8,
    )


def _figure(width: float, height: float) -> "Figure":
    try:
        from matplotlib.figure import Figure
    except ImportError as error:
        raise StationError("a plot needs matplotlib, which is not installed: pip install matplotlib.") from error
    return Figure(figsize=(width, height), layout="constrained")
