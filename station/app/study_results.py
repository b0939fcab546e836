"""What a finished study on the bench comes to: its readings from the records, and their statistics.

Readings of a study that is not finished are given to nobody: who still measures must not know them.
"""

import csv
import io
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from station.core.quantity import format_quantity, parse_quantity
from station.core.reasons import CAUSES
from station.core.results import ResultStatus
from station.core.run_record import Purpose, RunRecord
from station.errors import RecordError, StationError
from station.quality.gauge_crossed import CrossedStudy, crossed_study
from station.quality.gauge_type1 import (
    Bias,
    SystemUncertainty,
    Type1,
    bias_study,
    system_uncertainty,
    type1_study,
)
from station.quality.readings import CrossedReadings
from station.quality.study_order import Step
from station.quality.study_state import Studied, StudyKind, StudySetup, StudyState
from station.records import Records
from station.records.export import spreadsheet_text

COVERAGE = 2.0
"""By which an assigned value's expanded uncertainty is taken back to a standard one."""


@dataclass(frozen=True, slots=True, eq=False)
class StudyResult:
    """One characteristic of a finished study. Values in the unit of `studied`.

    `crossed` in a crossed study; `bias` in a type-1 study, with `type1` and `system` if there is a tolerance. All None
    if there are no statistics of these readings, and `trouble` says why.
    """

    studied: Studied
    values: np.ndarray
    """Shape (units, appraisers, trials)."""
    tolerance: float | None
    """Width, by the plan's limits."""
    crossed: CrossedStudy | None = None
    bias: Bias | None = None
    type1: Type1 | None = None
    system: SystemUncertainty | None = None
    trouble: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class FinishedStudy:
    """A study that has all its readings: `results` a characteristic each, in the plan's order."""

    state: StudyState
    results: tuple[StudyResult, ...]
    closed_utc: Mapping[Step, datetime]
    """When each reading was taken."""

    @property
    def setup(self) -> StudySetup:
        """What it is of."""
        return self.state.setup

    @property
    def newest_utc(self) -> datetime:
        """When the last reading was taken."""
        return max(self.closed_utc.values())


def finished_study(records: Records, state: StudyState) -> FinishedStudy:
    """Return a study with its results.

    Raises RecordError for a study that is not finished, or whose runs are not what it says.
    """
    setup = state.setup
    if not state.complete:
        raise RecordError(
            f"study {setup.name} is not finished: {len(state.taken)} of {len(state.steps)} readings are taken. "
            f"Readings stay hidden until the last; go on: coilgate gauge measure --resume {setup.name} --bench FILE"
        )
    runs = {step: _checked(records.run(run_id), step, setup) for step, run_id in state.taken.items()}
    results = tuple(_result(setup, each, _values(setup, each, runs)) for each in setup.characteristics)
    return FinishedStudy(state, results, {step: run.closed_utc for step, run in runs.items()})


def in_readable_unit(setup: StudySetup, result: StudyResult) -> tuple[str, StudyResult]:
    """Return a unit with a prefix that suits the readings, such as uH, and the same result in it."""
    symbol = result.studied.unit_symbol
    shown = format_quantity(float(np.abs(result.values).max()), symbol)
    _, _, unit = shown.partition(" ")
    factor = _factor(unit, symbol)
    studied = result.studied
    scaled = replace(
        studied,
        lower=_times(studied.lower, factor),
        upper=_times(studied.upper, factor),
        assigned=_times(studied.assigned, factor),
        assigned_uncertainty=_times(studied.assigned_uncertainty, factor),
    )
    return unit or symbol, _result(setup, scaled, result.values * factor)


def words_of_repeats(state: StudyState) -> str:
    """Return how many runs gave no reading, by cause; empty if each gave one."""
    counts = Counter(each.code for each in state.not_taken)
    if not counts:
        return ""
    said = "; ".join(
        f"{CAUSES[code].words if code in CAUSES else code}: {count}" for code, count in counts.most_common()
    )
    count = len(state.not_taken)
    runs = "1 run gave no reading and was" if count == 1 else f"{count} runs gave no reading and were"
    return f"{runs} repeated ({said})"


def write_study(study: FinishedStudy, target: Path) -> tuple[Path, ...]:
    """Write the readings as CSV; return the files, which appear whole or not at all.

    One characteristic goes to `target`, each of several to a file that has its name added. Raises StationError if a
    file can't be written.
    """
    targets = targets_of(study, target)
    for path, result in zip(targets, study.results, strict=True):
        unfinished = path.with_name(path.name + ".part")
        try:
            unfinished.write_text(csv_text(study, result), encoding="utf-8", newline="")
            unfinished.replace(path)
        except OSError as error:
            raise StationError(f"{path}: can't be written: {error.strerror or error}.") from error
        finally:
            unfinished.unlink(missing_ok=True)
    return targets


def targets_of(study: FinishedStudy, target: Path) -> tuple[Path, ...]:
    """Return a file a characteristic: `target` for one alone, else with its name added."""
    names = [each.studied.name for each in study.results]
    return (target,) if len(names) == 1 else tuple(target.with_stem(f"{target.stem}-{name}") for name in names)


def csv_text(study: FinishedStudy, result: StudyResult) -> str:
    """Return the readings of one characteristic as CSV (RFC 4180), SI unscaled, every digit.

    Columns part, appraiser, trial, value: what `coilgate gauge study` reads (in a type-1 study, `gauge type1`); then
    the unit of measurement, whether it was a simulated bench, when, and by which run.
    """
    setup, text = study.setup, io.StringIO()
    writer = csv.writer(text)
    writer.writerow(["part", "appraiser", "trial", "value", "unit", "simulated", "utc", "run"])
    for step in study.state.steps:
        named = [spreadsheet_text(step.part), step.appraiser, step.trial]
        value = repr(float(result.values[_place(setup, step)]))
        taken = [int(setup.simulated), study.closed_utc[step].isoformat(), study.state.taken[step]]
        writer.writerow([*named, value, result.studied.unit_symbol, *taken])
    return text.getvalue()


def _checked(record: RunRecord, step: Step, setup: StudySetup) -> RunRecord:
    opened = record.opened
    found = (opened.unit.serial, opened.operator, opened.purpose, opened.plan_hash)
    if found != (step.part, step.appraiser, Purpose.STUDY, setup.plan_hash):
        raise RecordError(
            f"study {setup.name}: run {opened.run_id} is of {opened.unit.serial} by {opened.operator} for "
            f"{opened.purpose}, and not of {step.part} by {step.appraiser}. Check the records: coilgate records check"
        )
    return record


def _values(setup: StudySetup, studied: Studied, runs: dict[Step, RunRecord]) -> np.ndarray:
    values = np.full((len(setup.units), len(setup.appraisers), setup.trials), np.nan)
    for step, record in runs.items():
        found = next((each for each in record.results if each.characteristic == studied.name), None)
        if found is None or found.value is None or found.status is not ResultStatus.MEASURED:
            raise RecordError(f"study {setup.name}: run {record.opened.run_id} has no value of {studied.name}.")
        values[_place(setup, step)] = found.value
    return values


def _result(setup: StudySetup, studied: Studied, values: np.ndarray) -> StudyResult:
    plain = StudyResult(studied, values, studied.tolerance(float(values.mean())))
    try:
        return _type1(plain) if setup.kind is StudyKind.TYPE1 else _crossed(setup, plain)
    except ValueError as error:  # readings that have no study, such as all alike
        return replace(plain, trouble=f"{error}.")


def _crossed(setup: StudySetup, plain: StudyResult) -> StudyResult:
    readings = CrossedReadings(setup.units, setup.appraisers, plain.values)
    return replace(plain, crossed=crossed_study(readings, tolerance=plain.tolerance))


def _type1(plain: StudyResult) -> StudyResult:
    readings, studied = plain.values.ravel().tolist(), plain.studied
    if studied.assigned is None or studied.assigned_uncertainty is None:
        raise ValueError("there is no assigned value")
    bias = bias_study(readings, studied.assigned)
    system = system_uncertainty(bias, u_cal=studied.assigned_uncertainty / COVERAGE, tolerance=plain.tolerance)
    if plain.tolerance is None:
        return replace(plain, bias=bias, system=system)
    return replace(
        plain, bias=bias, type1=type1_study(readings, studied.assigned, plain.tolerance), system=system
    )


def _place(setup: StudySetup, step: Step) -> tuple[int, int, int]:
    return setup.units.index(step.part), setup.appraisers.index(step.appraiser), step.trial - 1


def _factor(unit: str, symbol: str) -> float:
    return 1.0 if unit in ("", symbol) else 1.0 / parse_quantity(f"1 {unit}", symbol)


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor
