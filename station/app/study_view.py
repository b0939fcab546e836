"""Gauge studies as a page shows them: the list, and one with its readings by unit, verdict and variance shares."""

from dataclasses import dataclass, replace
from itertools import takewhile

import numpy as np

from station.app.study_begin import words_of_study
from station.app.study_records import studies, study
from station.app.study_results import StudyResult, finished_study, in_readable_unit, words_of_repeats
from station.quality.gauge_crossed import CrossedStudy
from station.quality.gauge_type1 import Type1
from station.quality.study_state import StudyKind, StudySetup, StudyState
from station.quality.variation import percent_of_variance, standard_deviations
from station.records import Records
from station.reports.gauge_single_words import system_words, type1_convention, type1_notes, type1_rows
from station.reports.gauge_verdict import next_steps, verdict_rows, verdict_words
from station.reports.gauge_words import CONVENTIONS, SOURCES, Rows, has_appraisers, leads

COVERAGE = 2.0
"""U of one reading is so many standard deviations of the gauge."""

ALL_SHARES = ("repeatability", "appraiser", "interaction", "part")


@dataclass(frozen=True, slots=True)
class StudyLine:
    """A study in the list."""

    setup: StudySetup
    of: str
    taken: int
    readings: int
    left: tuple[tuple[str, int], ...]
    """Appraisers who have readings to take, and how many."""


@dataclass(frozen=True, slots=True)
class ReadingsGroup:
    """Readings that stand beside each other in the drawing: of one unit, or of one trial of a type-1 study."""

    name: str
    label: str
    """The name without what all names begin with."""
    mean: float
    readings: tuple[tuple[float, ...], ...]
    """By appraiser."""


@dataclass(frozen=True, slots=True)
class ResultView:
    """One characteristic. Values in `unit`."""

    name: str
    unit: str
    verdict: tuple[str, ...]
    criteria: Rows | None
    notes: tuple[str, ...]
    next_steps: tuple[str, ...]
    groups: tuple[ReadingsGroup, ...]
    limits: tuple[float | None, float | None]
    """Tolerance limits; of a type-1 study the assigned value -+ 10 % of the tolerance (half of Cg's share of it)."""
    centre: float | None
    """The assigned value of a type-1 study."""
    half_width: float | None
    """U of one reading, drawn about each unit's mean; None in a type-1 study."""
    shares: tuple[tuple[str, float], ...]
    """Source and its per cent of the variance."""


@dataclass(frozen=True, slots=True)
class StudyView:
    """One study. `results` is empty until its last reading: nobody sees one before."""

    line: StudyLine
    repeats: str
    conventions: str
    results: tuple[ResultView, ...]


def study_lines(records: Records) -> tuple[StudyLine, ...]:
    """Return all studies on record, newest first."""
    return tuple(map(_line, reversed(studies(records))))


def study_view(records: Records, name: str) -> StudyView:
    """Return one study. Raises RecordError if there is none of this name."""
    state = study(records, name)
    results = finished_study(records, state).results if state.complete else ()
    conventions = CONVENTIONS if state.setup.kind is StudyKind.CROSSED else ""
    return StudyView(
        _line(state), words_of_repeats(state), conventions, tuple(_view(state.setup, each) for each in results)
    )


def _line(state: StudyState) -> StudyLine:
    left = tuple((each, state.left(each)) for each in state.waiting)
    return StudyLine(state.setup, words_of_study(state), len(state.taken), len(state.steps), left)


def _view(setup: StudySetup, result: StudyResult) -> ResultView:
    unit, shown = in_readable_unit(setup, result)
    studied = shown.studied
    plain = ResultView(
        name=studied.name,
        unit=unit,
        verdict=(shown.trouble,) if shown.trouble else (),
        criteria=None,
        notes=(),
        next_steps=(),
        groups=_groups(setup, shown.values),
        limits=(studied.lower, studied.upper),
        centre=studied.assigned,
        half_width=None,
        shares=(),
    )
    if shown.crossed is not None:
        return _crossed(plain, shown.crossed)
    if shown.type1 is not None:
        return _type1(plain, shown, shown.type1)
    return plain


def _crossed(plain: ResultView, study: CrossedStudy) -> ResultView:
    variation = study.model.variation
    shares = percent_of_variance(variation)
    names = ALL_SHARES if has_appraisers(study) else ("repeatability", "part")
    words = SOURCES | {"part": "unit to unit"}
    return replace(
        plain,
        verdict=verdict_words(study),
        criteria=verdict_rows(study),
        notes=tuple(leads(study)),
        next_steps=next_steps(study),
        half_width=COVERAGE * standard_deviations(variation)["repeatability_and_reproducibility"],
        shares=tuple((words[each], shares[each]) for each in names),
    )


def _type1(plain: ResultView, shown: StudyResult, study: Type1) -> ResultView:
    half = study.share / 2.0 * study.tolerance
    reference = study.bias.reference
    return replace(
        plain,
        criteria=type1_rows(study),
        notes=(
            type1_convention(study),
            *type1_notes(study),
            *(system_words(shown.system) if shown.system is not None else ()),
            f"The assigned value is {shown.studied.assigned_origin}.",
        ),
        limits=(reference - half, reference + half),
    )


def _groups(setup: StudySetup, values: np.ndarray) -> tuple[ReadingsGroup, ...]:
    """Units in the order of their means, so that a step shows; of one unit its trials, in their order."""
    if setup.kind is StudyKind.TYPE1:
        readings = values.ravel().tolist()
        return tuple(
            ReadingsGroup(f"trial {trial}", str(trial), value, ((value,),))
            for trial, value in enumerate(readings, start=1)
        )
    means = values.mean(axis=(1, 2))
    alike = _alike(setup.units)
    return tuple(
        ReadingsGroup(
            setup.units[at],
            setup.units[at].removeprefix(alike),
            float(means[at]),
            tuple(tuple(each) for each in values[at].tolist()),
        )
        for at in np.argsort(means, kind="stable").tolist()
    )


def _alike(names: tuple[str, ...]) -> str:
    """Return what all names begin with, up to and with the last hyphen of it."""
    pairs = zip(min(names), max(names), strict=False)
    common = "".join(a for a, _ in takewhile(lambda pair: pair[0] == pair[1], pairs))
    return common[: common.rfind("-") + 1]
