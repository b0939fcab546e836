"""Pages of gauge studies: readings by unit with limits and U, variance shares, agreement, linearity, risks.

matplotlib is imported inside the functions, as `Figure` without pyplot. The file's ending says the kind.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from station.errors import StationError
from station.quality.agreement import Agreement
from station.quality.gauge_crossed import CrossedStudy
from station.quality.gauge_linearity import Linearity
from station.quality.risk import Risk
from station.quality.variation import percent_of_variance, standard_deviations
from station.reports.pictures import percent

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Okabe and Ito's colours: told apart with any colour vision; marks tell them apart in print.
_COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00")
_MARKS = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "*")
_LIMIT = "#444444"
_PAGE = (8.27, 8.27)
_COVERAGE = 2.0
_LETTERS_ABREAST = 60
"""Letters of the units' names that fit beside each other under a page's frame."""


def crossed_page(
    study: CrossedStudy, *, title: str, lower: float | None = None, upper: float | None = None
) -> "Figure":
    """Draw a crossed study: all readings by unit, with the limits and +-U of one reading, and the variance shares.

    U = 2 standard deviations of the gauge. Units stand in the order of their means, so that a step shows.
    """
    figure = _figure(*_PAGE)
    top, bottom = figure.subplots(2, 1, height_ratios=(3, 1))
    draw_readings(top, study, lower, upper)
    top.set_title(f"{title}: readings by unit", loc="left")
    draw_shares(bottom, study)
    bottom.set_title("variance shares", loc="left")
    return figure


def draw_readings(
    axes: "Axes", study: CrossedStudy, lower: float | None, upper: float | None, *, about_means: bool = False
) -> None:
    """Draw all readings by unit, in the order of their means; a shape and a colour an appraiser.

    `about_means`: each less the mean of its unit, for gauges so good that readings of one unit fall together.
    """
    readings = study.readings
    means = readings.values.mean(axis=(1, 2))
    order = np.argsort(means, kind="stable")
    shown = readings.values - means[:, None, None] if about_means else readings.values
    means = np.zeros_like(means) if about_means else means
    reach = _COVERAGE * standard_deviations(study.model.variation)["repeatability_and_reproducibility"]
    place = np.arange(order.size)
    axes.bar(
        place, 2.0 * reach, bottom=means[order] - reach, width=0.8, color="#DDDDDD", label=f"mean ± U ({reach:.3g})"
    )
    # A bar's foot would lie on the frame else, where half of its lowest readings hide.
    axes.use_sticky_edges = False
    count = len(readings.appraisers)
    for i, name in enumerate(readings.appraisers):
        shift = (i - (count - 1) / 2.0) * 0.6 / count
        values = shown[order, i, :]
        axes.plot(
            np.repeat(place + shift, readings.trials),
            values.reshape(-1),
            linestyle="",
            marker=_MARKS[i % len(_MARKS)],
            markersize=4,
            color=_COLOURS[i % len(_COLOURS)],
            label=name,
        )
    for limit, word in ((lower, "lower limit"), (upper, "upper limit")):
        if limit is not None:
            axes.axhline(limit, color=_LIMIT, linestyle="--", linewidth=1)
            beside(axes, limit, word)
    letters = sum(len(part) for part in readings.parts)
    axes.set_xticks(place, [readings.parts[i] for i in order], rotation=90 if letters > _LETTERS_ABREAST else 0)
    axes.set_xlabel("unit, by mean")
    axes.set_ylabel("reading")
    # Above the frame, where it hides no reading and no limit.
    axes.legend(fontsize=8, ncols=min(5, count + 1), loc="lower right", bbox_to_anchor=(1.0, 1.0), frameon=False)


def beside(axes: "Axes", height: float, word: str) -> None:
    """Write a word at the right of the frame, where it hides no reading."""
    at = (1.0, height)
    axes.annotate(
        word, at, xycoords=("axes fraction", "data"), xytext=(4, 0), textcoords="offset points", va="center", fontsize=8
    )


def draw_shares(axes: "Axes", study: CrossedStudy) -> None:
    """Draw the variance shares as bars, each with its per cent."""
    shares = percent_of_variance(study.model.variation)
    words = {
        "repeatability": "repeatability",
        "appraiser": "appraiser",
        "interaction": "appraiser × unit",
        "part": "unit to unit",
    }
    if len(study.readings.appraisers) == 1:
        words = {name: words[name] for name in ("repeatability", "part")}
    values = [shares[name] for name in words]
    place = np.arange(len(words))[::-1]
    axes.barh(place, values, color=["#555555"] * (len(words) - 1) + ["#BBBBBB"])
    for at, value in zip(place, values, strict=True):
        words_at = (value, at)
        axes.annotate(
            percent(value / 100.0), words_at, xytext=(4, 0), textcoords="offset points", va="center", fontsize=9
        )
    axes.set_yticks(place, list(words.values()))
    axes.set_xlim(0.0, 118.0)
    axes.set_xlabel("share of the variance, %")


def linearity_page(study: Linearity, references: np.ndarray, readings: np.ndarray, *, title: str) -> "Figure":
    """Draw the biases over their references, the line and its band."""
    figure = _figure(_PAGE[0], 5.0)
    axes = figure.subplots()
    draw_linearity(axes, study, references, readings)
    axes.set_title(f"{title}: linearity", loc="left")
    return figure


def draw_linearity(axes: "Axes", study: Linearity, references: np.ndarray, readings: np.ndarray) -> None:
    """Draw the biases over their references, the line and its band, and zero."""
    axes.axhline(0.0, color=_LIMIT, linewidth=1)
    axes.plot(
        references, readings - references, linestyle="", marker="o", markersize=4, color=_COLOURS[0], label="bias"
    )
    at = np.linspace(float(references.min()), float(references.max()), 101)
    fitted, half = study.band(at)
    axes.plot(at, fitted, color=_COLOURS[1], label="line")
    axes.fill_between(at, fitted - half, fitted + half, color=_COLOURS[1], alpha=0.25, label="its band")
    axes.set_xlabel("reference")
    axes.set_ylabel("bias")
    axes.legend(fontsize=8)


def agreement_page(study: Agreement, first: np.ndarray, second: np.ndarray, *, title: str) -> "Figure":
    """Draw differences over means, with bias and limits of agreement, each with its interval."""
    figure = _figure(_PAGE[0], 5.0)
    axes = figure.subplots()
    axes.plot((first + second) / 2.0, second - first, linestyle="", marker="o", markersize=4, color=_COLOURS[0])
    lines = (
        ("bias", study.bias, study.bias_interval),
        ("lower limit\nof agreement", study.lower, study.lower_interval),
        ("upper limit\nof agreement", study.upper, study.upper_interval),
    )
    for word, value, interval in lines:
        axes.axhspan(*interval, color="#999999", alpha=0.2)
        axes.axhline(value, color=_COLOURS[1] if word == "bias" else _LIMIT, linestyle="-" if word == "bias" else "--")
        beside(axes, value, word)
    axes.set_xlabel(f"mean of {study.first.name} and {study.second.name}")
    axes.set_ylabel(f"{study.second.name} - {study.first.name}")
    axes.set_title(f"{title}: agreement of {study.units} units", loc="left")
    return figure


def risk_page(curve: Sequence[Risk], expanded: float) -> "Figure":
    """Draw consumer's and producer's risk against the guard band in U; risks below 1e-9 are off the page."""
    figure = _figure(_PAGE[0], 5.0)
    axes = figure.subplots()
    factor = np.array([risk.guard_band for risk in curve]) / expanded
    series = (
        ("consumer's risk", [risk.consumer for risk in curve], "-"),
        ("producer's risk", [risk.producer for risk in curve], "--"),
    )
    for (word, values, style), colour in zip(series, _COLOURS[1::-1], strict=True):
        axes.plot(factor, np.maximum(values, 1e-15), style, color=colour, label=word)
    axes.set_yscale("log")
    seen = [value for _, values, _ in series for value in values if value > 0.0]
    axes.set_ylim(max(1e-9, min(seen, default=1e-3) / 2.0), 1.0)
    axes.set_xlabel("guard band in expanded uncertainties, r")
    axes.set_ylabel("share of all units")
    axes.grid(True, which="major", alpha=0.3)
    axes.set_title("consumer's and producer's risk", loc="left")
    axes.legend()
    return figure


def _figure(width: float, height: float) -> "Figure":
    try:
        from matplotlib.figure import Figure
    except ImportError as error:
        raise StationError("a plot needs matplotlib, which is not installed: pip install matplotlib.") from error
    return Figure(figsize=(width, height), layout="constrained")


def save_page(figure: "Figure", target: Path) -> None:
    """Write a page as SVG, PNG or PDF by its ending; the same bytes for the same page."""
    from station.reports.coil_plots import save_figure

    save_figure(figure, target)
