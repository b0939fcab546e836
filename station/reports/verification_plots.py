"""Verification values over time: single values and their moving average, with limits.

matplotlib is imported inside the functions, as `Figure` without pyplot; `coil_plots.save_figure` writes it.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from station.errors import StationError
from station.methods.contact import PADS
from station.quality.drift import WARNING_SHARE
from station.records import ContactPoint, FixtureService

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from station.app.drift import Series
    from station.quality.charts import Chart

# Okabe and Ito's colours: told apart with any colour vision.
_VALUE, _WARNING, _LIMIT, _CHART = "#0072B2", "#E69F00", "#D55E00", "#777777"
_COLUMN_IN, _HEIGHT_IN = 5.2, 6.4


def verification_page(series: Sequence["Series"]) -> "Figure":
    """Draw each series in a column: single values on top, moving averages below, as shares of what is allowed."""
    figure = _figure(_COLUMN_IN * len(series), _HEIGHT_IN)
    axes = figure.subplots(2, len(series), squeeze=False, sharex="col")
    for column, each in enumerate(series):
        _draw_singles(axes[0, column], each)
        _draw_averages(axes[1, column], each)
    axes[0, 0].set_ylabel("deviation / allowed")
    axes[1, 0].set_ylabel("moving average of it")
    axes[0, 0].legend(fontsize=7, loc="upper left")
    return figure


def contact_page(points: Sequence[ContactPoint], services: Sequence[FixtureService], *, title: str) -> "Figure":
    """Draw each contact's resistance over the fixture's count of contacts, with each service as a line."""
    figure = _figure(8.0, 4.2)
    axes = figure.subplots()
    cycles = [each.contact_cycles for each in points]
    pads = min((len(each.resistances_ohm) for each in points), default=0)
    for pad, (colour, mark) in enumerate(zip((_VALUE, _WARNING), "os", strict=True)):
        if pad < pads:
            ohm = [each.resistances_ohm[pad] * 1e3 for each in points]
            axes.plot(cycles, ohm, mark, markersize=2.5, color=colour, label=PADS[pad])
    for each in services:
        axes.axvline(each.contact_cycles, color=_CHART, linestyle="--", linewidth=1)
        place = (each.contact_cycles, 1.0)
        axes.annotate(each.action, place, xycoords=("data", "axes fraction"), rotation=90, va="top", fontsize=7)
    axes.set_xlabel("contacts made by the fixture")
    axes.set_ylabel("contact resistance in mohm")
    axes.set_title(title, loc="left", fontsize=9)
    axes.set_ylim(bottom=0.0)
    axes.legend(fontsize=8)
    return figure


def _draw_singles(axes: "Axes", series: "Series") -> None:
    drift = series.drift
    times = np.array([np.datetime64(each.replace(tzinfo=None)) for each in series.times])
    axes.plot(times, drift.shares, "-", color=_VALUE, linewidth=0.8, alpha=0.6)
    axes.plot(times[drift.agreed], drift.shares[drift.agreed], "o", markersize=3.5, color=_VALUE, label="agrees")
    wrong = ~drift.agreed
    if wrong.any():
        axes.plot(times[wrong], drift.shares[wrong], "X", markersize=7, color=_LIMIT, label="does not agree")
    _draw_limits(axes)
    _draw_chart(axes, times[drift.agreed], drift.singles)
    axes.set_ylim(-(reach := max(1.4, 1.1 * float(np.abs(drift.shares).max()))), reach)
    found = series.newest
    about = "" if found.assigned is None else f", assigned {found.assigned:.5g} {found.unit_symbol}"
    axes.set_title(f"{series.name}, nest {series.nest}{about}", loc="left", fontsize=9)


def _draw_averages(axes: "Axes", series: "Series") -> None:
    drift = series.drift
    times = np.array([np.datetime64(each.replace(tzinfo=None)) for each in series.times])[drift.agreed]
    if drift.averages is None:
        axes.text(0.5, 0.5, "too few values yet", transform=axes.transAxes, ha="center")
    else:
        axes.plot(times, drift.averages.points, "s-", markersize=3.5, linewidth=0.8, color=_VALUE)
        _draw_chart(axes, times, drift.averages)
    _draw_limits(axes)
    largest = 0.0 if drift.averages is None else float(np.abs(drift.averages.points).max())
    axes.set_ylim(-(reach := max(0.3, 1.3 * largest)), reach)
    axes.tick_params(axis="x", labelrotation=30, labelsize=7)


def _figure(width_in: float, height_in: float) -> "Figure":
    try:
        from matplotlib.figure import Figure
    except ImportError as error:
        raise StationError("a plot needs matplotlib, which is not installed: pip install matplotlib.") from error
    return Figure(figsize=(width_in, height_in), layout="constrained")


def _draw_limits(axes: "Axes") -> None:
    for sign in (1.0, -1.0):
        axes.axhline(sign, color=_LIMIT, linewidth=1.2, label="not verified beyond" if sign > 0 else None)
        warning = sign * WARNING_SHARE
        axes.axhline(warning, color=_WARNING, linestyle="--", linewidth=1, label="warning" if sign > 0 else None)


def _draw_chart(axes: "Axes", times: np.ndarray, chart: "Chart | None") -> None:
    """Usual range from the baseline, and a ring around each later value that has left it."""
    if chart is None:
        return
    axes.plot(times, chart.centre, color=_CHART, linewidth=0.8)
    axes.fill_between(times, chart.lower, chart.upper, color=_CHART, alpha=0.2, linewidth=0, label="usual range")
    out = [each.index for each in chart.signals]
    axes.plot(times[out], chart.points[out], "o", markersize=10, fillstyle="none", color=_LIMIT)
