"""Reports of gauge studies: what was studied, what it comes to, the readings, the tables, what to do next."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from station.quality.gauge_crossed import CrossedStudy
from station.quality.gauge_linearity import Linearity
from station.quality.gauge_stability import Stability
from station.quality.gauge_type1 import LEAST_INDEX, SystemUncertainty, Type1
from station.quality.variation import percent_of_variance
from station.reports.document import Block, Bullets, Document, Facts, Heading, Paragraph, Picture, Table
from station.reports.gauge_pictures import (
    deviations_picture,
    linearity_picture,
    readings_picture,
    shares_picture,
    stability_picture,
    type1_picture,
)
from station.reports.gauge_single_words import (
    CAPABLE_PERCENT,
    linearity_rows,
    linearity_verdict,
    linearity_words,
    stability_verdict,
    stability_words,
    system_words,
    type1_convention,
    type1_notes,
    type1_rows,
)
from station.reports.gauge_verdict import next_steps, verdict_rows, verdict_words
from station.reports.gauge_words import (
    CONVENTIONS,
    SOURCES,
    Rows,
    anova_tables,
    appraisers_words,
    categories_words,
    form_rows,
    has_appraisers,
    leads,
    model_name,
    number,
    spread_rows,
)
from station.reports.pictures import percent

NO_DATE_UTC = datetime(1970, 1, 1, tzinfo=UTC)
"""What a PDF's properties show where no date was stated: archives ask for one, and the time of printing would make
two reports of one study differ."""

DRIFT_SIGNIFICANCE = 0.05


@dataclass(frozen=True, slots=True)
class StudySource:
    """What was studied. `digest` is the SHA-256 of the file in hex; `about`, words of whoever asks for the report."""

    file: str
    digest: str
    about: str = ""
    date_utc: datetime | None = None
    simulated: bool = False
    lower: float | None = None
    upper: float | None = None
    """Tolerance limits, to draw; None where there is none or only a width is known."""
    unit: str = ""
    """Of the readings and of all that is in their unit; empty if it is not stated."""


def crossed_document(study: CrossedStudy, source: StudySource) -> Document:
    """Return the report of a crossed study."""
    readings = study.readings
    counts = f"{len(readings.parts)} units, {appraisers_words(study)}, {readings.trials} trials"
    return _document(
        "Gauge study: repeatability and reproducibility",
        f"{counts}: {readings.values.size} readings.",
        source,
        (
            Heading("What it comes to"),
            Bullets(verdict_words(study)),
            _table(verdict_rows(study), words=(0, 3, 4)),
            *(Paragraph(each) for each in leads(study)),
            Heading("What to do next"),
            Bullets(next_steps(study)),
            *_readings_block(study, source),
            *_deviations_block(study, source),
            *_shares_block(study),
            *_crossed_tables(study),
            *_studied(source, _crossed_facts(study)),
            Heading("How the figures are made"),
            Paragraph(CONVENTIONS),
            Paragraph(
                "Intervals: generalized, from the mean squares (Burdick, Borror and Montgomery 2005); that of "
                "repeatability is exact. Criteria: AIAG MSA, 4th edition; Q_MP: ISO 22514-7."
            ),
        ),
    )


def _crossed_facts(study: CrossedStudy) -> tuple[tuple[str, str], ...]:
    readings = study.readings
    return (
        ("Units", ", ".join(readings.parts)),
        ("Appraisers", ", ".join(readings.appraisers)),
        ("Trials", str(readings.trials)),
        ("Mean of all readings", number(float(readings.values.mean()))),
        ("Tolerance", "not given" if study.tolerance is None else f"{number(study.tolerance)} wide"),
        ("Model", model_name(study)),
    )


def _readings_block(study: CrossedStudy, source: StudySource) -> Iterator[Block]:
    yield Heading("Readings by unit")
    yield Picture(
        readings_picture(study, source.lower, source.upper, unit=source.unit),
        f"All {study.readings.values.size} readings by unit, a shape an appraiser; figures are in the tables below.",
        "Each reading, units by their mean, a shape an appraiser; grey: mean ± U of one reading, U = 2 standard "
        "deviations of the gauge" + (_drawn_limits(source) and f"; dashed: {_drawn_limits(source)}") + ".",
    )


def _deviations_block(study: CrossedStudy, source: StudySource) -> Iterator[Block]:
    yield Heading("Readings less the mean of their unit")
    yield Picture(
        deviations_picture(study, unit=source.unit),
        "The same readings, each less the mean of its unit: an appraiser who stands apart from the others reads "
        "differently; a unit whose appraisers change places is seated differently.",
        "The same, each less the mean of its unit: what the gauge adds, at its own scale; grey: ± U of one reading.",
    )


def _shares_block(study: CrossedStudy) -> Iterator[Block]:
    shares = percent_of_variance(study.model.variation)
    names = ("repeatability", "appraiser", "interaction") if has_appraisers(study) else ("repeatability",)
    shown = [f"{SOURCES[name]} {percent(shares[name] / 100.0)}" for name in names]
    words = ", ".join((*shown, f"unit to unit {percent(shares['part'] / 100.0)}"))
    yield Heading("Variance shares")
    yield Picture(shares_picture(study), f"Bars of variance shares: {words}.", f"Shares of the variance: {words}.")


def _drawn_limits(source: StudySource) -> str:
    ends = (("lower", source.lower), ("upper", source.upper))
    return ", ".join(f"{name} limit {number(end)}" for name, end in ends if end is not None)


def _crossed_tables(study: CrossedStudy) -> Iterator[Block]:
    level = f"{study.model.intervals.level:.0%}"
    yield Heading("By analysis of variance")
    yield Paragraph(f"{model_name(study).capitalize()}. In brackets: {level} intervals.")
    yield _table(spread_rows(study))
    yield Heading("By average and range")
    yield _table(form_rows(study))
    yield Paragraph(f"{categories_words(study.average_range.variation)}.")
    for name, rows in anova_tables(study):
        yield Heading(name)
        yield _table(rows)


def type1_document(study: Type1, system: SystemUncertainty | None, values: np.ndarray, source: StudySource) -> Document:
    """Return the report of a type-1 study; `values` in the order in which they were read."""
    facts = (
        ("Readings", str(study.bias.readings)),
        ("Assigned value of the reference part", number(study.bias.reference)),
        ("Tolerance", f"{number(study.tolerance)} wide"),
        ("Convention", type1_convention(study)),
    )
    return _document(
        "Gauge study: type 1, one reference part",
        f"{study.bias.readings} readings of one reference part.",
        source,
        (
            Heading("What it comes to"),
            Bullets(_type1_verdict(study, system)),
            _table(type1_rows(study), words=(0, 2, 3)),
            *(Paragraph(each) for each in (*type1_notes(study), *([] if system is None else system_words(system)))),
            Heading("What to do next"),
            Bullets(_type1_steps(study)),
            *_studied(source, facts),
            Heading("Readings in their order"),
            Picture(
                type1_picture(values, study, unit=source.unit),
                "The readings in their order, with the reference and the share of the tolerance about it.",
                f"Readings in their order; dashed: reference ± {study.share / 2:.0%} of the tolerance.",
            ),
        ),
    )


def _type1_verdict(study: Type1, system: SystemUncertainty | None) -> tuple[str, ...]:
    able = study.cg >= LEAST_INDEX and study.cgk >= LEAST_INDEX
    lines = [
        f"Cg and Cgk {'reach' if able else 'do not both reach'} {LEAST_INDEX} (common practice): the measuring system "
        f"{'repeats and agrees well enough' if able else 'does not repeat or agree well enough'} for this tolerance."
    ]
    if system is not None and system.q_ms_percent is not None:
        word = "capable" if system.q_ms_percent <= CAPABLE_PERCENT else "not capable"
        lines.append(
            f"Measuring system {word} (ISO 22514-7): Q_MS = {system.q_ms_percent:.1f} %, {CAPABLE_PERCENT:g} % is the "
            "most."
        )
    if study.bias.significant:
        lines.append("The bias is significant: it is there, not chance.")
    return tuple(lines)


def _type1_steps(study: Type1) -> tuple[str, ...]:
    steps = []
    if study.cg < LEAST_INDEX:
        steps.append("It does not repeat: look at contact, seating, temperature and settling; average more readings.")
    if study.cgk < LEAST_INDEX <= study.cg:
        steps.append("It repeats, off its place: look at compensation, temperature reduction and the assigned value.")
    if study.bias.significant:
        steps.append("Correct the bias if its cause is known, else count it in the uncertainty (u_BI).")
    if study.cg >= LEAST_INDEX and study.cgk >= LEAST_INDEX:
        steps.append("Go on to linearity and to a crossed study with units of production.")
    return (*steps, "Study again after a change of gauge, fixture or range.")


def linearity_document(study: Linearity, references: np.ndarray, readings: np.ndarray, source: StudySource) -> Document:
    """Return the report of a linearity study; both arrays have the length of the readings."""
    facts = (
        ("Reference parts", ", ".join(f"{each:g}" for each in study.references)),
        ("Readings", str(references.size)),
    )
    step = (
        "Go on to a crossed study with units of production."
        if study.zero_within_band
        else "Look at zero, gain and compensation over the range; correct what is known, count the rest in the "
        "uncertainty."
    )
    return _document(
        "Gauge study: linearity and bias",
        f"{references.size} readings of {study.references.size} reference parts.",
        source,
        (
            Heading("What it comes to"),
            Paragraph(linearity_verdict(study)),
            *(Paragraph(each) for each in linearity_words(study)),
            Heading("What to do next"),
            Bullets((step, "Study again after a change of gauge, fixture or range.")),
            *_studied(source, facts),
            Heading("Bias over the range"),
            Picture(
                linearity_picture(study, references, readings, unit=source.unit),
                "Bias of each reading over its reference, with the fitted line and its band.",
                "Bias of each reading over its reference; the line with its band, and zero.",
            ),
            _table(linearity_rows(study), words=(0, 3, 4)),
            Paragraph("All single biases are regressed on their references (AIAG MSA, 4th edition, chapter III-B)."),
        ),
    )


def stability_document(study: Stability, occasions: tuple[str, ...], source: StudySource) -> Document:
    """Return the report of a stability study."""
    drifts = study.drift_p < DRIFT_SIGNIFICANCE
    drift = f"{'A drift is seen' if drifts else 'No drift is seen'} (p = {study.drift_p:.3g})."
    stable = not study.outside and not drifts
    step = (
        "Go on charting it: the bench's verification does so by itself."
        if stable
        else "Find what changed at the first occasion outside, or what drifts; hold what was measured since the last "
        "good one."
    )
    facts = (
        ("Occasions", f"{len(occasions)}, {occasions[0]} to {occasions[-1]}"),
        ("Readings an occasion", str(study.readings_per_occasion)),
    )
    return _document(
        "Gauge study: stability",
        f"One part on {len(occasions)} occasions.",
        source,
        (
            Heading("What it comes to"),
            Bullets((stability_verdict(study, occasions), drift)),
            *(Paragraph(each) for each in stability_words(study)),
            Heading("What to do next"),
            Bullets((step,)),
            *_studied(source, facts),
            Heading("Chart"),
            Picture(
                stability_picture(study, occasions, unit=source.unit),
                "Means by occasion, with centre and limits.",
                "Means by occasion; dashed: limits of 3 standard deviations; ringed: outside.",
            ),
        ),
    )


def _document(title: str, subtitle: str, source: StudySource, blocks: tuple[Block, ...]) -> Document:
    about = f"{source.about}. " if source.about else ""
    return Document(
        title=title,
        subtitle=f"{about}{subtitle}",
        date_utc=source.date_utc or NO_DATE_UTC,
        blocks=blocks,
        simulated=source.simulated,
        footer=f"{title}, {source.file}",
    )


def _studied(source: StudySource, facts: tuple[tuple[str, str], ...]) -> Iterator[Block]:
    yield Heading("What was studied")
    limits = _drawn_limits(source)
    yield Facts(
        (
            *((("About", source.about),) if source.about else ()),
            *((("Unit of measurement", source.unit),) if source.unit else ()),
            ("Date", "not stated" if source.date_utc is None else source.date_utc.date().isoformat()),
            *facts,
            *((("Tolerance limits", limits),) if limits else ()),
            ("File", source.file),
            ("SHA-256 of the file", source.digest),
        )
    )


def _table(rows: Rows, *, words: tuple[int, ...] = (0,)) -> Table:
    # Pages drop plain spaces at the beginning of a cell, which say what is part of what.
    return Table(rows.headers, tuple((_indented(row[0]), *row[1:]) for row in rows.rows), words=words)


def _indented(cell: str) -> str:
    words = cell.lstrip(" ")
    return "\u00a0" * (len(cell) - len(words)) + words
