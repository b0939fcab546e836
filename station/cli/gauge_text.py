"""Crossed studies as text: what the gauge takes, readings by unit, variance shares, tables."""

import string
import textwrap

import numpy as np

from station.cli.output import table
from station.quality.gauge_crossed import CrossedStudy
from station.quality.variation import percent_of_variance
from station.reports.gauge_words import (
    ALONE,
    CONVENTIONS,
    LABELS,
    SOURCES,
    Rows,
    anova_tables,
    appraisers_words,
    categories_words,
    form_rows,
    has_appraisers,
    headline,
    model_name,
    number,
    spread_rows,
)

STRIP = 50
BAR = 40
WIDTH = 100


def crossed_text(study: CrossedStudy, file: str) -> str:
    """Return the study: first what it comes to, then the readings, then the tables."""
    readings = study.readings
    level = f"{study.model.intervals.level:.0%}"
    return "\n".join(
        [
            f"Gauge study of {file}: {len(readings.parts)} units, {appraisers_words(study)}, {readings.trials} trials; "
            f"{readings.values.size} readings, mean {number(float(readings.values.mean()))}.",
            "",
            *headline(study),
            "",
            *_strips(study),
            "",
            *_shares(study),
            "",
            f"By analysis of variance, {model_name(study)} ({level} intervals in brackets)",
            plain_table(spread_rows(study)),
            "",
            "By average and range",
            plain_table(form_rows(study)),
            categories_words(study.average_range.variation),
            "",
            *_anova_texts(study),
            "",
            *textwrap.wrap(CONVENTIONS, WIDTH),
        ]
    )


def plain_table(rows: Rows) -> str:
    """Return a table as padded text."""
    return table(rows.headers, rows.rows)


def _strips(study: CrossedStudy) -> list[str]:
    values = study.readings.values
    low, high = float(values.min()), float(values.max())
    marks = string.ascii_lowercase
    keys = ", ".join(f"{marks[i % 26]} {name}" for i, name in enumerate(study.readings.appraisers))
    width = max(4, *(len(part) for part in study.readings.parts))
    ends = f"{number(low)}{number(high):>{STRIP - len(number(low))}}"
    lines = [
        f"Readings by unit: - from lowest to highest, letters at the means of appraisers {keys}; * where two meet.",
        f"{'unit':>{width}}  {'mean':>10}  {ends}",
    ]
    for part, cell in zip(study.readings.parts, values, strict=True):
        lines.append(f"{part:>{width}}  {number(float(cell.mean())):>10}  {_strip(cell, low, high)}")
    return lines


def _strip(cell: np.ndarray, low: float, high: float) -> str:
    def place(value: float) -> int:
        return min(STRIP - 1, int((value - low) / (high - low) * STRIP))

    strip = [" "] * STRIP
    for i in range(place(float(cell.min())), place(float(cell.max())) + 1):
        strip[i] = "-"
    for i, mean in enumerate(cell.mean(axis=1)):
        at = place(float(mean))
        strip[at] = string.ascii_lowercase[i % 26] if strip[at] in " -" else "*"
    return "".join(strip).rstrip()


def _shares(study: CrossedStudy) -> list[str]:
    shares = percent_of_variance(study.model.variation)
    lines = ["Variance shares"]
    for name in ("repeatability", "appraiser", "interaction", "part") if has_appraisers(study) else ALONE[:2]:
        label = SOURCES[name] if name != "part" else LABELS[name]
        lines.append(f"{label:<18}{'#' * round(shares[name] / 100.0 * BAR):<{BAR}}{shares[name]:6.1f} %")
    return lines


def _anova_texts(study: CrossedStudy) -> list[str]:
    texts: list[str] = []
    for name, rows in anova_tables(study):
        texts += ["", name, plain_table(rows)]
    return texts[1:]
