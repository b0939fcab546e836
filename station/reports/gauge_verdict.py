"""What a crossed study comes to, in the words of AIAG and ISO 22514-7, and what to do next."""

from station.quality.gauge_crossed import CrossedStudy
from station.quality.variation import (
    categories,
    distinct_categories,
    percent_of_study_variation,
    percent_of_tolerance,
    standard_deviations,
)
from station.reports.gauge_words import (
    FIT_PERCENT,
    GAUGE,
    GOOD_PERCENT,
    LEAST_CATEGORIES,
    Rows,
    has_appraisers,
    number,
    pair,
)

CAPABLE_PERCENT = 30.0
"""Q_MP up to which a measurement process is capable (ISO 22514-7:2012; VDA volume 5)."""

_COVERAGE = 2.0


def process_percent(study: CrossedStudy) -> float | None:
    """Return the least that Q_MP can be, in per cent: 2 U / tolerance, U = 2 u of the gauge alone; None without one.

    u_MP holds u_EVO, u_AV and u_IA, which this study gives, and u_CAL, u_BI and more, which it does not
    (ISO 22514-7:2012, clause 7): so the whole Q_MP is this or more.
    """
    if study.tolerance is None:
        return None
    return 100.0 * 2.0 * _COVERAGE * standard_deviations(study.model.variation)[GAUGE] / study.tolerance


def verdict_words(study: CrossedStudy) -> tuple[str, ...]:
    """Return the verdict, a sentence a use of the gauge: judging against the tolerance, watching the process."""
    model = study.model
    of_study = percent_of_study_variation(model.variation)[GAUGE]
    count = distinct_categories(categories(model.variation))
    watching = _acceptable(of_study) if count >= LEAST_CATEGORIES else _worse(_acceptable(of_study), count)
    words = [f"For watching the process (AIAG, per cent of study variation and distinct categories): {watching}."]
    least = process_percent(study)
    if study.tolerance is None or least is None:
        return ("For judging units: not known, as no tolerance was given.", *words)
    of_tolerance = percent_of_tolerance(model.variation, study.tolerance)[GAUGE]
    judging = f"For judging units against the tolerance (AIAG, per cent of tolerance): {_acceptable(of_tolerance)}."
    if least > CAPABLE_PERCENT:
        capable = (
            f"Measurement process not capable (ISO 22514-7): Q_MP is {least:.1f} % or more, "
            f"{CAPABLE_PERCENT:g} % is the most."
        )
    else:
        capable = (
            f"Nothing here speaks against a capable measurement process (ISO 22514-7): repeatability, appraisers and "
            f"interaction alone give Q_MP = {least:.1f} %, {CAPABLE_PERCENT:g} % is the most. Calibration and bias "
            "come on top: see a type-1 study."
        )
    return (judging, capable, *words)


def _acceptable(percent: float) -> str:
    if percent < GOOD_PERCENT:
        return "acceptable"
    return "acceptable for some uses" if percent <= FIT_PERCENT else "not acceptable"


def _worse(word: str, count: int) -> str:
    few = f"{count} distinct {'category' if count == 1 else 'categories'}, {LEAST_CATEGORIES} are asked for"
    return word if word == "not acceptable" else f"not acceptable, {few}"


def verdict_rows(study: CrossedStudy) -> Rows:
    """Return each criterion with what was found, its interval, what is asked for, and whether the interval agrees."""
    model = study.model
    intervals = model.intervals
    of_study = percent_of_study_variation(model.variation)[GAUGE]
    rows = [
        _percent_row("% of study variation", of_study, intervals.percent_of_study_variation[GAUGE]),
    ]
    if study.tolerance is not None and intervals.percent_of_tolerance is not None:
        of_tolerance = percent_of_tolerance(model.variation, study.tolerance)[GAUGE]
        low, high = intervals.percent_of_tolerance[GAUGE]
        rows.insert(0, _percent_row("% of tolerance", of_tolerance, (low, high)))
        share = 2.0 * _COVERAGE / 6.0
        row = _row("Q_MP, %, at least", share * of_tolerance, (share * low, share * high), (CAPABLE_PERCENT,))
        rows.append((*row[:3], f"{CAPABLE_PERCENT:g} at most", row[3]))
    unrounded = categories(model.variation)
    row = _row("distinct categories", unrounded, intervals.categories, (float(LEAST_CATEGORIES),))
    rows.append((row[0], f"{distinct_categories(unrounded)}", row[2], f"{LEAST_CATEGORIES} or more", row[3]))
    level = f"{intervals.level:.0%} interval"
    return Rows(("criterion", "found", level, "asked for", "is the interval all on one side?"), tuple(rows))


def _percent_row(name: str, percent: float, interval: tuple[float, float]) -> tuple[str, ...]:
    row = _row(name, percent, interval, (GOOD_PERCENT, FIT_PERCENT))
    return (*row[:3], f"under {GOOD_PERCENT:g}, or {FIT_PERCENT:g} for some uses", row[3])


def _row(name: str, found: float, interval: tuple[float, float], bounds: tuple[float, ...]) -> tuple[str, ...]:
    across = [f"{each:g}" for each in bounds if interval[0] < each < interval[1]]
    sure = f"no: it reaches over {' and '.join(across)}" if across else "yes"
    return name, f"{found:.1f}", pair(interval), sure


def next_steps(study: CrossedStudy) -> tuple[str, ...]:
    """Return what to do next, the most telling first."""
    model = study.model
    steps = list(_remedies(study))
    if not has_appraisers(study):
        steps.append("Let another appraiser measure the same units: how far two differ is not seen yet.")
    if study.tolerance is None:
        steps.append("Give the tolerance (--tolerance-lower, --tolerance-upper): it decides what the gauge is fit for.")
    if distinct_categories(categories(model.variation)) < LEAST_CATEGORIES:
        steps.append(
            "Few distinct categories: were the units drawn over all that production makes? Units that are alike make "
            "any gauge look coarse. If they were, the gauge can't be used to chart this process unit by unit."
        )
    if any(row[-1] != "yes" for row in verdict_rows(study).rows):
        steps.append(
            "An interval reaches over what is asked for: the study is too small to be sure. More units narrow "
            "repeatability and per cents, more appraisers narrow reproducibility."
        )
    u = standard_deviations(model.variation)[GAUGE]
    steps.append(
        f"Judge with a guard band: u of one reading is {number(u)} from this study, besides calibration and bias. "
        "Then coilgate gauge risk shows what a guard band leaves of consumer's and producer's risk."
    )
    steps.append("Prove bias (type 1), linearity and stability too; study again after a change of gauge or fixture.")
    return tuple(steps)


def _remedies(study: CrossedStudy) -> list[str]:
    """What to work on, if the gauge is not simply acceptable."""
    variation = study.model.variation
    worst = percent_of_study_variation(variation)[GAUGE]
    if study.tolerance is not None:
        worst = max(worst, percent_of_tolerance(variation, study.tolerance)[GAUGE])
    if worst < GOOD_PERCENT:
        return ["Keep the gauge as it is, and what was done here as its instruction."]
    steps = []
    interaction = study.with_interaction.table.line("interaction")
    if interaction is not None and not study.pooled:
        steps.append(
            "The appraisers differ unit by unit (the interaction was kept): look for units that one seats in another "
            "way than the others, in the picture of readings by unit."
        )
    if has_appraisers(study) and variation.reproducibility > variation.repeatability:
        steps.append(
            "Appraisers differ more from each other than from trial to trial: agree how a unit is loaded and when a "
            "reading counts, write it down, train, and let stops take over what hands do."
        )
    else:
        steps.append(
            "The same appraiser gets other readings of the same unit: clean the probes, look at seating, contact and "
            "temperature, let the reading settle, average more readings."
        )
    return steps
