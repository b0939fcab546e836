"""Crossed studies as text: what the gauge takes, readings by unit, variance shares, tables."""

import string

import numpy as np

from station.cli.output import table
from station.quality.gauge_anova import AnovaTable
from station.quality.gauge_crossed import CrossedStudy
from station.quality.variation import (
    by_source,
    categories,
    distinct_categories,
    percent_of_study_variation,
    percent_of_tolerance,
    percent_of_variance,
    standard_deviations,
)

STRIP = 50
BAR = 40
LABELS = {
    "repeatability_and_reproducibility": "gauge (both below)",
    "repeatability": "  repeatability",
    "reproducibility": "  reproducibility",
    "appraiser": "    appraiser",
    "interaction": "    appraiser x unit",
    "part": "unit to unit",
    "total": "total",
}
SOURCES = {
    "part": "unit",
    "appraiser": "appraiser",
    "interaction": "appraiser x unit",
    "repeatability": "repeatability",
}
ALONE = ("repeatability", "part", "total")
"""What there is to say of one appraiser."""


def number(value: float) -> str:
    """Return a number for people: four significant digits."""
    return f"{value:.4g}"


def pair(interval: tuple[float, float]) -> str:
    """Return an interval for people."""
    return f"{interval[0]:.3g} to {interval[1]:.3g}"


def crossed_text(study: CrossedStudy, file: str) -> str:
    """Return the study: first what it comes to, then the readings, then the tables."""
    readings = study.readings
    level = f"{study.model.intervals.level:.0%}"
    appraisers = f"{len(readings.appraisers)} appraisers" if len(readings.appraisers) > 1 else "1 appraiser"
    return "\n".join(
        [
            f"Gauge study of {file}: {len(readings.parts)} units, {appraisers}, {readings.trials} trials; "
            f"{readings.values.size} readings, mean {number(float(readings.values.mean()))}.",
            "",
            *_headline(study),
            "",
            *_strips(study),
            "",
            *_shares(study),
            "",
            f"By analysis of variance, {_model_name(study)} ({level} intervals in brackets)",
            _spread_table(study),
            "",
            "By average and range",
            _form_table(study),
            "",
            *_anova_texts(study),
            "",
            "Per cents are by standard deviation (AIAG): they don't add up to 100. The tolerance is set against 6",
            "standard deviations. Negative variances count as 0. Per cents of the study variation hold for production",
            "only if the units spread as production does.",
        ]
    )


def _headline(study: CrossedStudy) -> list[str]:
    model = study.model
    gauge = "repeatability_and_reproducibility"
    of_study = percent_of_study_variation(model.variation)[gauge]
    lines = [
        f"The gauge takes {of_study:.1f} % of the study variation "
        f"({pair(model.intervals.percent_of_study_variation[gauge])}): {_guide(of_study)}."
    ]
    if study.tolerance is not None and model.intervals.percent_of_tolerance is not None:
        of_tolerance = percent_of_tolerance(model.variation, study.tolerance)[gauge]
        lines.append(
            f"It takes {of_tolerance:.1f} % of the tolerance "
            f"({pair(model.intervals.percent_of_tolerance[gauge])}): {_guide(of_tolerance)}."
        )
    unrounded = categories(model.variation)
    lines.append(
        f"Distinct categories: {distinct_categories(unrounded)} ({unrounded:.2f} before truncation; "
        f"{pair(model.intervals.categories)}); AIAG asks for 5."
    )
    return lines + _leads(study)


def _guide(percent: float) -> str:
    """AIAG MSA, 4th edition, chapter II-D: a guide, no rule."""
    if percent < 10.0:
        return "under 10, good by AIAG's guide"
    if percent <= 30.0:
        return "10 to 30, fit for some uses by AIAG's guide"
    return "over 30, not fit by AIAG's guide"


def _leads(study: CrossedStudy) -> list[str]:
    """Where to look first, and what makes the intervals wide."""
    variation, model = study.model.variation, study.model
    appraiser = model.table.line("appraiser")
    if appraiser is None:
        return ["One appraiser: what another one would read differently is not in these figures."]
    share = variation.reproducibility / variation.gauge
    if share > 0.5:
        lead = f"Most of it is reproducibility ({share:.0%} of the gauge's variance): look at who loads, and how."
    else:
        lead = f"Most of it is repeatability ({1 - share:.0%} of the gauge's variance): look at contact and seating."
    if appraiser.degrees_of_freedom >= 4 or variation.appraiser == 0.0:
        return [lead]
    interval = pair(model.intervals.standard_deviations["appraiser"])
    count = appraiser.degrees_of_freedom + 1
    return [lead, f"From {count} appraisers their spread is known no better than {interval}: more of them narrow it."]


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
    for name in ("repeatability", "appraiser", "interaction", "part") if _has_appraisers(study) else ALONE[:2]:
        label = SOURCES[name] if name != "part" else LABELS[name]
        lines.append(f"{label:<18}{'#' * round(shares[name] / 100.0 * BAR):<{BAR}}{shares[name]:6.1f} %")
    return lines


def _model_name(study: CrossedStudy) -> str:
    line = study.with_interaction.table.line("interaction")
    if line is None or line.p is None:
        return "one appraiser"
    relation = "above" if study.pooled else "not above"
    kept = "pooled" if study.pooled else "kept"
    return f"interaction {kept}: its p {line.p:.3f} is {relation} {study.pooling_significance:g}"


def _spread_table(study: CrossedStudy) -> str:
    variation, intervals = study.model.variation, study.model.intervals
    deviations, of_study = standard_deviations(variation), percent_of_study_variation(variation)
    headers = ["source", "standard deviation", "", "% of study", ""]
    of_tolerance = None if study.tolerance is None else percent_of_tolerance(variation, study.tolerance)
    if of_tolerance is not None:
        headers += ["% of tolerance", ""]
    rows = []
    for name in by_source(variation) if _has_appraisers(study) else ALONE:
        label = LABELS[name] if _has_appraisers(study) else LABELS[name].strip()
        row = [label, number(deviations[name]), f"({pair(intervals.standard_deviations[name])})"]
        shares = intervals.percent_of_study_variation
        row += [f"{of_study[name]:.1f}", f"({pair(shares[name])})" if name in shares else ""]
        if of_tolerance is not None and intervals.percent_of_tolerance is not None:
            row += [f"{of_tolerance[name]:.1f}", f"({pair(intervals.percent_of_tolerance[name])})"]
        rows.append(row)
    return table(headers, rows)


def _form_table(study: CrossedStudy) -> str:
    variation = study.average_range.variation
    deviations, of_study = standard_deviations(variation), percent_of_study_variation(variation)
    of_tolerance = None if study.tolerance is None else percent_of_tolerance(variation, study.tolerance)
    rows = []
    sources = ("repeatability_and_reproducibility", "repeatability", "reproducibility", "part", "total")
    for name in sources if _has_appraisers(study) else ALONE:
        label = LABELS[name] if _has_appraisers(study) else LABELS[name].strip()
        row = [label, number(deviations[name]), f"{of_study[name]:.1f}"]
        rows.append(row + ([] if of_tolerance is None else [f"{of_tolerance[name]:.1f}"]))
    headers = ["source", "standard deviation", "% of study"] + ([] if of_tolerance is None else ["% of tolerance"])
    unrounded = categories(variation)
    return table(headers, rows) + f"\nDistinct categories: {distinct_categories(unrounded)} ({unrounded:.2f})"


def _anova_texts(study: CrossedStudy) -> list[str]:
    if not _has_appraisers(study):
        return ["Analysis of variance", anova_text(study.model.table)]
    return [
        "Analysis of variance, interaction kept",
        anova_text(study.with_interaction.table),
        "",
        "Analysis of variance, interaction pooled with repeatability",
        anova_text(study.without_interaction.table),
    ]


def _has_appraisers(study: CrossedStudy) -> bool:
    """Whether there are appraisers to compare; lines about them say nothing otherwise."""
    return len(study.readings.appraisers) > 1


def anova_text(anova: AnovaTable) -> str:
    """Return one analysis of variance as a table."""
    rows = []
    for line in anova.lines:
        row = [
            SOURCES[line.source],
            str(line.degrees_of_freedom),
            f"{line.sum_of_squares:.6g}",
            f"{line.mean_square:.6g}",
        ]
        if line.f is not None and line.p is not None and line.f_against_repeatability is not None:
            row += [f"{line.f:.4g}", f"{line.p:.3g}", f"{line.f_against_repeatability:.4g}"]
        rows.append(row + [""] * (7 - len(row)))
    rows.append(["total", str(anova.total_degrees_of_freedom), f"{anova.total_sum_of_squares:.6g}", "", "", "", ""])
    headers = ("source", "freedom", "sum of squares", "mean square", "F", "p", "F against repeatability")
    return table(headers, rows)
