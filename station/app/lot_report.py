"""The lot report from the records."""

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import TypeVar

import numpy as np

from station.app.causes import explain_lot_on_record
from station.app.concessions import lot_concessions
from station.app.copper_shown import copper_shown
from station.app.lot_life import lot_now
from station.app.lot_quality import lot_capability
from station.app.lot_samples import (
    IMPORTED,
    MEASURED,
    LotSample,
    LotStanding,
    limits_in,
    lot_reasons,
    lot_sample,
    lot_standing,
    plan_of,
)
from station.causes.explain import LotExplanation
from station.coil.geometry import GeometryError
from station.core.plan import Plan
from station.errors import RecordError
from station.quality.capability import Capability
from station.quality.components import Components, nested_components
from station.quality.panel import PanelMap, panel_map
from station.quality.readings import StudyDataError
from station.records import Records
from station.records.lot_findings import lot_findings
from station.reports.document import Document
from station.reports.lot_pictures import Limited
from station.reports.lot_report import LotFindings, lot_document
from station.reports.supplier_report import supplier_document

T = TypeVar("T")

_SHOWN = "R20"


def lot_report(records: Records, lot: str) -> Document:
    """Return the report of a lot. Raises RecordError for an unknown lot, or one without a closed run."""
    return lot_document(report_findings(records, lot))


def supplier_report(records: Records, lot: str) -> Document:
    """Return the report of a lot to the board maker. Raises as `lot_report`."""
    found = report_findings(records, lot)
    uncertainty = {}
    for each in found.limited:
        known = records.lot_values(lot, each.name).expanded_uncertainties
        if np.isfinite(known).any():
            uncertainty[each.name] = float(np.nanmedian(known))
    return supplier_document(found, uncertainty, copper_shown(records, lot))


def report_findings(records: Records, lot: str) -> LotFindings:
    """Return what a lot's reports say. Raises as `lot_report`."""
    summary, standing = records.lot_summary(lot), lot_standing(records, lot)
    runs = lot_findings(records, lot, ())
    if not runs.serials:
        raise RecordError(f"lot {lot}: no unit of it was measured yet. Measure some, then ask again.")
    plan = plan_of(records, standing)
    missing: list[str] = []
    # Values of ours and theirs are never in one sample; theirs stand only where there are none of ours.
    imported = 0 if summary.units else runs.imported
    population = IMPORTED if imported else MEASURED
    samples = _samples(records, standing, plan, missing, population=population)
    limited, capability = _values(samples, plan, missing)
    shown = _sample(records, standing, _SHOWN, missing, population=population)
    return LotFindings(
        summary=summary,
        first_passed=round((summary.first_pass_fraction or 0.0) * summary.units),
        part=plan.part if plan else "not known",
        plan_words=plan_words(records, plan),
        first_utc=datetime.fromisoformat(runs.first_utc),
        last_utc=datetime.fromisoformat(runs.last_utc),
        benches=runs.benches,
        heads=tuple(records.head(bench) for bench in runs.benches),
        reasons=lot_reasons(records, lot),
        limited=limited,
        capability=capability,
        components=_tried(shown, _components, "variance components", missing),
        panel=_tried(shown, _panel, "panel map", missing),
        causes=_causes(records, lot, missing),
        missing=tuple(missing),
        concessions=lot_concessions(records, lot),
        now=lot_now(records, lot),
        imported=imported,
    )


def plan_words(records: Records, plan: Plan | None) -> str:
    """Return which revision a plan is, with the beginning of its digest."""
    if plan is None:
        return "its text is not on record"
    revision = records.plan_revision(plan.text_hash)
    which = "a text that was not released" if revision is None else f"revision {revision.revision}"
    return f"{plan.part}, {which}, SHA-256 {plan.text_hash[:16]}..."


def _samples(
    records: Records, standing: LotStanding, plan: Plan | None, missing: list[str], *, population: str
) -> list[LotSample]:
    if plan is None:
        missing.append("limits: the plan of the lot is not on record")
        return []
    names = [each.name for each in plan.characteristics if each.lower is not None or each.upper is not None]
    found = [_sample(records, standing, name, missing, population=population) for name in names]
    return [each for each in found if each is not None]


def _sample(
    records: Records, standing: LotStanding, name: str, missing: list[str], *, population: str
) -> LotSample | None:
    try:
        return lot_sample(records, standing, name, population=population)
    except RecordError:
        words = f"{name}: no unit has a value"
        missing += [] if words in missing else [words]
        return None


def _values(
    samples: Sequence[LotSample], plan: Plan | None, missing: list[str]
) -> tuple[tuple[Limited, ...], dict[str, Capability]]:
    """What is drawn and what its process holds."""
    limited, capability = [], {}
    for each in samples:
        tolerance = limits_in(plan, each.characteristic)
        if tolerance is None:
            continue
        limited.append(Limited(each.characteristic, each.sample, tolerance))
        try:
            capability[each.characteristic] = lot_capability(each, tolerance)
        except StudyDataError as error:
            missing.append(f"{each.characteristic}: no Ppk: {error}")
    return tuple(limited), capability


def _tried(
    lot: LotSample | None, make: Callable[[LotSample], T], what: str, missing: list[str]
) -> T | None:
    if lot is None:
        return None
    try:
        return make(lot)
    except StudyDataError as error:
        missing.append(f"{what}: {error}")
        return None


def _components(lot: LotSample) -> Components:
    if len(set(lot.panels)) < 2:
        raise StudyDataError("needs units of several panels")
    return nested_components(lot.sample, {"panel": np.array(lot.panels)}, within="within panel")


def _panel(lot: LotSample) -> PanelMap:
    return panel_map(lot.sample, lot.rows, lot.columns)


def _causes(records: Records, lot: str, missing: list[str]) -> LotExplanation | None:
    try:
        return explain_lot_on_record(records, lot)
    except (RecordError, GeometryError) as error:
        missing.append(f"causes: {error}")
        return None
