"""Reports of gauge studies: what they say, read back from paper."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from station.quality.gauge_crossed import crossed_study
from station.quality.gauge_linearity import linearity_study
from station.quality.gauge_stability import stability_study
from station.quality.gauge_type1 import system_uncertainty, type1_study
from station.quality.readings import CrossedReadings
from station.reports.document import Bullets, Document, Picture, Table
from station.reports.gauge_report import (
    StudySource,
    crossed_document,
    linearity_document,
    stability_document,
    type1_document,
)
from station.reports.gauge_verdict import next_steps, process_percent, verdict_words
from station.reports.pdf import pdf_of
from tests.quality.published import AIAG_LINEARITY, VDA_TYPE1, aiag_readings
from tests.reports.test_pdf import read_text

SOURCE = StudySource("aiag.csv", "ab" * 32, about="R20 on bench-1", lower=-4.0, upper=4.0)


def tables(document: Document) -> list[Table]:
    """The tables of a document."""
    return [each for each in document.blocks if isinstance(each, Table)]


def steady(spread: float, *, appraisers: int = 3, between: float = 0.0) -> CrossedReadings:
    """Readings of ten units 1 apart whose trials spread by +-`spread` and whose appraisers are `between` apart."""
    parts = np.arange(10.0)[:, None, None]
    who = between * np.arange(appraisers)[None, :, None]
    trials = spread * np.array([-1.0, 0.0, 1.0])[None, None, :]
    # Signs that change from cell to cell, so that no cell's trials are all alike.
    sign = np.where(np.add.outer(np.arange(10), np.arange(appraisers)) % 2 == 0, 1.0, -1.0)[:, :, None]
    names = tuple(f"OP-{each:02d}" for each in range(appraisers))
    return CrossedReadings(tuple(f"U{each}" for each in range(10)), names, parts + who + sign * trials)


@pytest.mark.slow
def test_crossed_report_says_the_published_figures_on_paper() -> None:
    """AIAG MSA, 4th edition, chapter III-B: per cents, categories, both tables; and what was studied."""
    text = read_text(pdf_of(crossed_document(crossed_study(aiag_readings(), tolerance=8.0), SOURCE)))
    words = (
        "R20 on bench-1",
        "10 units, 3 appraisers, 3 trials: 90 readings",
        "27.9",
        "88.3619",
        "94.6471",
        "Analysis of variance, interaction kept",
        "interaction pooled with repeatability",
        "lower limit -4",
        "SHA-256 of the file",
        "What to do next",
    )

    assert [] == [each for each in words if each not in text]


@pytest.mark.slow
def test_same_study_gives_same_bytes() -> None:
    """No time of printing."""
    study = crossed_study(aiag_readings(), tolerance=8.0)

    assert pdf_of(crossed_document(study, SOURCE)) == pdf_of(crossed_document(study, replace(SOURCE)))


def test_simulated_study_is_marked() -> None:
    """So that no invented gauge is ever shown to a customer."""
    study = crossed_study(aiag_readings())

    assert [True, False] == [
        crossed_document(study, replace(SOURCE, simulated=each)).simulated for each in (True, False)
    ]


def test_every_appraiser_and_unit_is_named() -> None:
    """Facts name them, pictures stand for them in words."""
    document = crossed_document(crossed_study(aiag_readings()), SOURCE)
    pictures = [each for each in document.blocks if isinstance(each, Picture)]

    assert 3 == len(pictures)
    assert "unit to unit 92.2\u00a0%" in pictures[2].alt


@pytest.mark.parametrize(
    ("spread", "tolerance", "words"),
    [
        (0.01, 2.0, ("acceptable.", "Nothing here speaks against", "acceptable.")),
        (0.06, 2.0, ("acceptable for some uses.", "Nothing here speaks against", "acceptable.")),
        (0.3, 2.0, ("not acceptable.", "not capable", "acceptable")),
    ],
)
def test_verdict_is_in_the_words_of_the_standards(spread: float, tolerance: float, words: tuple[str, ...]) -> None:
    """AIAG's three words for judging, ISO 22514-7's capable, and AIAG's for watching the process."""
    found = verdict_words(crossed_study(steady(spread), tolerance=tolerance))

    assert [True] * 3 == [word in line for word, line in zip(words, found, strict=True)], found


def test_process_ratio_is_four_standard_deviations_of_the_gauge_over_the_tolerance() -> None:
    """Q_MP = 2 U / T with U = 2 u (ISO 22514-7): AIAG's study, GRR = 0.302373, tolerance 8."""
    assert 100.0 * 4.0 * 0.302373 / 8.0 == pytest.approx(
        process_percent(crossed_study(aiag_readings(), tolerance=8.0)), rel=1e-5
    )


def test_without_tolerance_the_verdict_on_units_is_not_known() -> None:
    """And the next step asks for it."""
    study = crossed_study(steady(0.01))

    assert "not known" in verdict_words(study)[0]
    assert any("Give the tolerance" in each for each in next_steps(study))


@pytest.mark.parametrize(
    ("study", "words"),
    [
        (crossed_study(steady(0.01), tolerance=9.0), "Keep the gauge"),
        (crossed_study(steady(0.05, between=0.5), tolerance=2.0), "Appraisers differ more from each other"),
        (crossed_study(steady(0.3), tolerance=2.0), "The same appraiser gets other readings"),
        (crossed_study(steady(0.01, appraisers=1), tolerance=9.0), "Let another appraiser"),
    ],
)
def test_next_step_follows_from_where_the_variance_is(study: object, words: str) -> None:
    """Look where the larger part of it comes from."""
    assert any(words in each for each in next_steps(study))  # type: ignore[arg-type]


@pytest.mark.slow
def test_type1_report_gives_the_published_figures() -> None:
    """VDA volume 5, 2nd edition, 5.2.2.1: Q_MS = 10.31 %."""
    study = type1_study(VDA_TYPE1, 6.002, 0.06, resolution=0.001)
    system = system_uncertainty(study.bias, u_cal=0.001, resolution=0.001, tolerance=0.06)
    text = read_text(pdf_of(type1_document(study, system, np.array(VDA_TYPE1), SOURCE)))

    assert [] == [each for each in ("capable (ISO 22514-7)", "10.31 %", "3.015") if each not in text]


@pytest.mark.slow
def test_linearity_report_gives_the_published_figures() -> None:
    """AIAG MSA, 4th edition, chapter III-B: slope -0.131667, intercept 0.736667; zero leaves the band."""
    references = np.array([reference for reference, values in AIAG_LINEARITY.items() for _ in values])
    values = np.array([value for each in AIAG_LINEARITY.values() for value in each])
    study = linearity_study(references.tolist(), values.tolist())
    text = read_text(pdf_of(linearity_document(study, references, values, SOURCE)))

    assert [] == [each for each in ("-0.131667", "0.736667", "needs work") if each not in text]


def test_stability_report_names_the_occasion_outside_and_the_drift() -> None:
    """A step at the end: outside, and a slope."""
    values = np.array([[7.0, 7.1, 6.9]] * 12 + [[8.0, 8.1, 7.9]] * 3) + 0.01 * np.arange(15)[:, None]
    occasions = tuple(f"day {each}" for each in range(1, 16))
    dated = replace(SOURCE, date_utc=datetime(2026, 11, 25, tzinfo=UTC))
    document = stability_document(stability_study(values), occasions, dated)
    (first, *_) = [each for each in document.blocks if isinstance(each, Bullets)]

    assert "Outside the limits" in first.items[0]
    assert "day 15" in first.items[0]
    assert first.items[1].startswith("A drift is seen")
