"""Causes from the records: a lot's findings, its drawing by the plan, and what the reference unit showed meanwhile."""

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from station.app.copper import lot_copper
from station.app.drawing import geometry_of
from station.causes.explain import LotExplanation, UnitExplanation, explain_lot, explain_unit
from station.causes.level import ReferenceShift
from station.causes.observables import Drawn, Findings
from station.causes.study import Study, study_of
from station.core.characteristics import field_name
from station.core.plan import ContactStep, FieldStep, InductanceStep, Plan
from station.core.plan_file import parse_plan
from station.core.results import ResultStatus
from station.core.run_record import Purpose, Trace
from station.errors import RecordError
from station.records import PastValue, Records
from station.records.lot_findings import LotFindings, invalid_curves, lot_findings, lot_plan_hash

_CURVE = "holding_still"
"""Trace of the resistance method: a run that ended later, without values, still has it."""

_LAST = 6
"""Readings of it that count."""


def explain_lot_on_record(records: Records, lot: str) -> LotExplanation:
    """Explain a lot. Raises RecordError for an unknown lot, one without a measured unit, or a plan not on record."""
    return explain_lot(study_on_record(records, lot))


def study_on_record(records: Records, lot: str) -> Study:
    """Return a lot studied once, a row a unit by its latest run. Raises RecordError as `explain_lot_on_record`."""
    drawn = drawn_on_record(records, lot)
    found = lot_findings(records, lot, _names(drawn))
    curves = invalid_curves(records, lot, _CURVE)
    return _study(records, found, _with_curves(_findings(found), curves, drawn), drawn)


def explain_unit_on_record(records: Records, serial: str) -> UnitExplanation:
    """Explain a unit by its latest closed run, against its lot.

    Raises:
        RecordError: the unit has no closed run, or its plan is not on record.
    """
    closed = [each for each in records.runs_of(serial) if each.decision is not None]
    if not closed:
        raise RecordError(f"{serial}: no run on record in {records.where}. Look at the serial, or at --home.")
    # What we measured goes before what somebody else did, however late that was brought in.
    latest = ([each for each in closed if each.purpose is not Purpose.IMPORTED] or closed)[-1]
    drawn = drawn_by(_plan(records, latest.plan_hash, serial))
    found = lot_findings(records, latest.lot, _names(drawn))
    findings = _with_unit(records, latest.run_id, _findings(found) if latest.lot else _nobody(), drawn)
    return explain_unit(_study(records, found, findings, drawn), len(findings) - 1)


def drawn_on_record(records: Records, lot: str) -> Drawn:
    """Return the drawing of a lot by the plan of its latest closed run. Raises as `explain_lot_on_record`."""
    plan_hash = lot_plan_hash(records, lot)
    if not plan_hash:
        raise RecordError(f"lot {lot}: no unit of it was measured yet. Measure some, then ask again.")
    return drawn_by(_plan(records, plan_hash, lot))


def drawn_by(plan: Plan) -> Drawn:
    """Return what a plan says of the coil and of what is measured on it."""
    inductance = [each for each in plan.steps if isinstance(each, InductanceStep)][:2]
    heights = sorted({height for each in plan.steps if isinstance(each, FieldStep) for height in each.heights_m})
    return Drawn(
        geometry_of(plan.coil),
        tuple(each.test_frequency_hz for each in inductance) or Drawn.frequencies_hz,
        inductance[1].suffix if len(inductance) > 1 else "",
        tuple(heights),
        any(isinstance(each, ContactStep) for each in plan.steps),
        1.0 / (plan.winding_constant_k + 20.0),
    )


def reference_shifts(history: tuple[PastValue, ...], first_utc: str, last_utc: str) -> tuple[ReferenceShift, ...]:
    """Return each characteristic's newest value of a reference unit between the verification before `first_utc` and
    the one after `last_utc` (ISO 8601), against its assigned value."""
    newest: dict[str, ReferenceShift] = {}
    times = [each.done_utc.isoformat() for each in history]
    start = max((each for each in times if each <= first_utc), default=first_utc)
    end = min((each for each in times if each >= last_utc), default=last_utc)
    for past, when in zip(history, times, strict=True):
        found = past.found
        if not start <= when <= end or not found.subject or found.value is None or not found.assigned:
            continue
        ratio = found.value / found.assigned
        if ratio > 0:
            doubt = (found.allowed or 0.0) / 2 / abs(found.assigned)
            newest[found.characteristic] = ReferenceShift(found.characteristic, math.log(ratio), doubt)
    return tuple(newest.values())


def _study(records: Records, found: LotFindings, findings: Findings, drawn: Drawn) -> Study:
    reference: dict[str, ReferenceShift] = {}
    for bench in found.benches:
        for each in reference_shifts(records.verification_history(bench), found.first_utc, found.last_utc):
            # The bench that is further off speaks: one drifted bench of two is one too many.
            other = reference.get(each.characteristic)
            if other is None or abs(other.shift) < abs(each.shift):
                reference[each.characteristic] = each
    seen_ohm = dict(zip(findings.serials, findings.value("R20").tolist(), strict=True))
    copper = lot_copper(records, found.lot, drawn.coil, seen_ohm).findings if found.lot else ()
    return study_of(findings, drawn, reference=tuple(reference.values()), copper=copper)


def _plan(records: Records, plan_hash: str, subject: str) -> Plan:
    text = records.plan_text(plan_hash)
    if text is None:
        raise RecordError(f"{subject}: the plan of its run is not on record, so its drawing is not known.")
    return parse_plan(text, f"plan {plan_hash[:12]}")


def _names(drawn: Drawn) -> tuple[str, ...]:
    suffixes = ("", drawn.second_suffix)[: len(drawn.frequencies_hz)]
    return (
        "R20",
        *(f"{name}{suffix}" for suffix in suffixes for name in ("L", "Rs")),
        *(field_name(each) for each in drawn.heights_m),
    )


def _findings(found: LotFindings) -> Findings:
    doubts = found.standard_uncertainties
    return Findings(
        found.serials, found.panels, found.codes, found.decisions, found.values, doubts, imported=found.imported
    )


def _nobody() -> Findings:
    """A unit without a lot is compared with its drawing."""
    return Findings((), (), (), (), {})


def _with_curves(findings: Findings, curves: dict[str, Trace], drawn: Drawn) -> Findings:
    """Give units whose run ended without values the resistance of their curve."""
    if not curves:
        return findings
    resistance = findings.value("R20").copy()
    for row, serial in enumerate(findings.serials):
        if serial in curves and np.isnan(resistance[row]):
            resistance[row] = _still_r20(curves[serial], drawn)
    return replace(findings, values={**findings.values, "R20": resistance})


def _still_r20(curve: Trace, drawn: Drawn) -> float:
    """R20 (ohm) of the last readings of a curve; NaN without any. R (k + 20)/(k + T), IEC 60034-1, 8.6.2."""
    columns = dict(curve.columns)
    resistance = np.array(columns.get("resistance_ohm", ())[-_LAST:])
    temperature_degc = np.array(columns.get("temperature_degc", ())[-_LAST:])
    if not len(resistance) or len(resistance) != len(temperature_degc):
        return float("nan")
    return float(np.mean(resistance / (1 + drawn.alpha20_per_k * (temperature_degc - 20.0))))


def _with_unit(records: Records, run_id: str, others: Findings, drawn: Drawn) -> Findings:
    """The lot with the unit of a run as its last row, by that very run, whatever its purpose."""
    record = records.run(run_id)
    unit, decisions = record.opened.unit, records.later_decisions(run_id)
    decision = decisions[-1].decision if decisions else record.decision
    reason = decisions[-1].reason if decisions else record.reason
    if record.opened.purpose is Purpose.IMPORTED:
        reason = None  # INVALID for being imported: that says nothing about the unit
    kept = [row for row, serial in enumerate(others.serials) if serial != unit.serial]
    measured = [each for each in record.results if each.status is ResultStatus.MEASURED]
    own = {each.characteristic: each.value for each in measured if each.value is not None}
    doubts = {
        each.characteristic: each.standard_uncertainty for each in measured if each.standard_uncertainty is not None
    }
    curve = next((each for each in record.traces if each.name == _CURVE), None)
    if "R20" not in own and curve is not None:
        own["R20"] = _still_r20(curve, drawn)
    return replace(
        others,
        serials=(*(others.serials[row] for row in kept), unit.serial),
        panels=(*(others.panels[row] for row in kept), unit.panel),
        codes=(*(others.codes[row] for row in kept), "" if reason is None else reason.code),
        decisions=(*(others.decisions[row] for row in kept), decision.value),
        values=_joined(others.values, kept, own),
        uncertainties=_joined(others.uncertainties, kept, doubts),
    )


def _joined(
    columns: Mapping[str, np.ndarray], kept: list[int], own: dict[str, float]
) -> dict[str, np.ndarray]:
    nothing = np.full(len(kept), np.nan)
    return {
        name: np.append(columns[name][kept] if name in columns else nothing, own.get(name, np.nan))
        for name in sorted({*columns, *own})
    }
