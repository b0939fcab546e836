"""Words and tables of a crossed study, the same at a terminal, on paper and on screen."""

from dataclasses import dataclass

from station.quality.gauge_anova import AnovaTable
from station.quality.gauge_crossed import CrossedStudy
from station.quality.variation import (
    Variation,
    by_source,
    categories,
    distinct_categories,
    percent_of_study_variation,
    percent_of_tolerance,
    standard_deviations,
)

GAUGE = "repeatability_and_reproducibility"
LABELS = {
    GAUGE: "gauge (both below)",
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

LEAST_CATEGORIES = 5
GOOD_PERCENT, FIT_PERCENT = 10.0, 30.0
"""AIAG MSA, 4th edition, chapter II-D: a guide, no rule."""

CONVENTIONS = (
    "Per cents are by standard deviation (AIAG): they don't add up to 100. The tolerance is set against 6 standard "
    "deviations. Negative variances count as 0. Per cents of the study variation hold for production only if the units "
    "spread as production does."
)


@dataclass(frozen=True, slots=True)
class Rows:
    """A table before it is set: headers, and rows of as many cells."""

    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def number(value: float) -> str:
    """Return a number for people: four significant digits."""
    return f"{value:.4g}"


def pair(interval: tuple[float, float]) -> str:
    """Return an interval for people."""
    return f"{interval[0]:.3g} to {interval[1]:.3g}"


def has_appraisers(study: CrossedStudy) -> bool:
    """Return whether there are appraisers to compare; lines about them say nothing otherwise."""
    return len(study.readings.appraisers) > 1


def appraisers_words(study: CrossedStudy) -> str:
    """Return `3 appraisers`, `1 appraiser`."""
    return f"{len(study.readings.appraisers)} appraisers" if has_appraisers(study) else "1 appraiser"


def guide(percent: float) -> str:
    """Return where AIAG's guide places the gauge's per cent (MSA, 4th edition, chapter II-D: a guide, no rule)."""
    if percent < GOOD_PERCENT:
        return "under 10, good by AIAG's guide"
    if percent <= FIT_PERCENT:
        return "10 to 30, fit for some uses by AIAG's guide"
    return "over 30, not fit by AIAG's guide"


def headline(study: CrossedStudy) -> list[str]:
    """Return what the study comes to, in a few sentences: per cents, categories, where to look first."""
    model = study.model
    of_study = percent_of_study_variation(model.variation)[GAUGE]
    lines = [
        f"The gauge takes {of_study:.1f} % of the study variation "
        f"({pair(model.intervals.percent_of_study_variation[GAUGE])}): {guide(of_study)}."
    ]
    if study.tolerance is not None and model.intervals.percent_of_tolerance is not None:
        of_tolerance = percent_of_tolerance(model.variation, study.tolerance)[GAUGE]
        lines.append(
            f"It takes {of_tolerance:.1f} % of the tolerance "
            f"({pair(model.intervals.percent_of_tolerance[GAUGE])}): {guide(of_tolerance)}."
        )
    unrounded = categories(model.variation)
    lines.append(
        f"Distinct categories: {distinct_categories(unrounded)} ({unrounded:.2f} before truncation; "
        f"{pair(model.intervals.categories)}); AIAG asks for {LEAST_CATEGORIES}."
    )
    return lines + leads(study)


def leads(study: CrossedStudy) -> list[str]:
    """Return where to look first, and what makes the intervals wide."""
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


def model_name(study: CrossedStudy) -> str:
    """Return which model the pooling rule chose, and why."""
    line = study.with_interaction.table.line("interaction")
    if line is None or line.p is None:
        return "one appraiser"
    relation = "above" if study.pooled else "not above"
    kept = "pooled" if study.pooled else "kept"
    return f"interaction {kept}: its p {line.p:.3f} is {relation} {study.pooling_significance:g}"


def spread_rows(study: CrossedStudy) -> Rows:
    """Return standard deviations and per cents by source, each with its interval, by analysis of variance."""
    variation, intervals = study.model.variation, study.model.intervals
    deviations, of_study = standard_deviations(variation), percent_of_study_variation(variation)
    headers = ["source", "standard deviation", "", "% of study", ""]
    of_tolerance = None if study.tolerance is None else percent_of_tolerance(variation, study.tolerance)
    if of_tolerance is not None:
        headers += ["% of tolerance", ""]
    rows = []
    for name in by_source(variation) if has_appraisers(study) else ALONE:
        row = [_label(study, name), number(deviations[name]), f"({pair(intervals.standard_deviations[name])})"]
        shares = intervals.percent_of_study_variation
        row += [f"{of_study[name]:.1f}", f"({pair(shares[name])})" if name in shares else ""]
        if of_tolerance is not None and intervals.percent_of_tolerance is not None:
            row += [f"{of_tolerance[name]:.1f}", f"({pair(intervals.percent_of_tolerance[name])})"]
        rows.append(tuple(row))
    return Rows(tuple(headers), tuple(rows))


def form_rows(study: CrossedStudy) -> Rows:
    """Return standard deviations and per cents by source, by average and range."""
    variation = study.average_range.variation
    deviations, of_study = standard_deviations(variation), percent_of_study_variation(variation)
    of_tolerance = None if study.tolerance is None else percent_of_tolerance(variation, study.tolerance)
    rows = []
    sources = (GAUGE, "repeatability", "reproducibility", "part", "total")
    for name in sources if has_appraisers(study) else ALONE:
        row = (_label(study, name), number(deviations[name]), f"{of_study[name]:.1f}")
        rows.append(row + (() if of_tolerance is None else (f"{of_tolerance[name]:.1f}",)))
    headers = ("source", "standard deviation", "% of study") + (() if of_tolerance is None else ("% of tolerance",))
    return Rows(headers, tuple(rows))


def _label(study: CrossedStudy, name: str) -> str:
    return LABELS[name] if has_appraisers(study) else LABELS[name].strip()


def categories_words(variation: Variation) -> str:
    """Return the number of distinct categories, truncated and not."""
    unrounded = categories(variation)
    return f"Distinct categories: {distinct_categories(unrounded)} ({unrounded:.2f})"


def anova_tables(study: CrossedStudy) -> tuple[tuple[str, Rows], ...]:
    """Return the analyses of variance, each with its name: with the interaction and pooled; one for one appraiser."""
    if not has_appraisers(study):
        return (("Analysis of variance", anova_rows(study.model.table)),)
    return (
        ("Analysis of variance, interaction kept", anova_rows(study.with_interaction.table)),
        (
            "Analysis of variance, interaction pooled with repeatability",
            anova_rows(study.without_interaction.table),
        ),
    )


def anova_rows(anova: AnovaTable) -> Rows:
    """Return one analysis of variance."""
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
        rows.append(tuple(row + [""] * (7 - len(row))))
    rows.append(("total", str(anova.total_degrees_of_freedom), f"{anova.total_sum_of_squares:.6g}", "", "", "", ""))
    headers = ("source", "freedom", "sum of squares", "mean square", "F", "p", "F against repeatability")
    return Rows(headers, tuple(rows))
