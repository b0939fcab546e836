"""Facts as plain dictionaries: what `--json` prints and what pages are fed with. Values SI, unscaled."""

from typing import TYPE_CHECKING, TypeAlias

from station.core.results import Judgement, Reason, Result
from station.core.run_record import RunRecord, TranscriptMessage
from station.core.verification import Verification, VerificationValue
from station.records.views import LaterDecision, LotSummary

if TYPE_CHECKING:
    from station.app.drift import Series
    from station.quality.charts import Chart

Fact: TypeAlias = dict[str, object]


def run_fact(record: RunRecord, *, messages: bool = False) -> Fact:
    """Return a run: decision, bin, results with uncertainty; with raw messages if asked for."""
    opened = record.opened
    fact: Fact = {
        "serial": opened.unit.serial,
        "lot": opened.unit.lot,
        "part": opened.part,
        "run": opened.run_id,
        "purpose": opened.purpose.value,
        "simulated": opened.simulated,
        "decision": record.decision.value,
        "bin": record.bin_number,
        "bin_name": record.bin_name,
        "held": record.held,
        "reason": _reason(record.reason),
        "results": {each.characteristic: _result(each, record.judgements) for each in record.results},
        "bench": opened.bench,
        "nest": opened.nest,
        "operator": opened.operator,
        "opened_utc": opened.opened_utc.isoformat(),
        "closed_utc": record.closed_utc.isoformat(),
        "plan_hash": opened.plan_hash,
        "software_version": opened.software_version,
        "verification": record.verification_id or None,
        "repeats_run": opened.repeats_run_id or None,
        "drive_off_verified": record.drive_off_verified,
        "instruments": {each.name: each.identity for each in record.identities},
    }
    if messages:
        fact["messages"] = [_message(each) for each in record.transcript]
        fact["traces"] = {each.name: dict(each.columns) for each in record.traces}
    return fact


def later_fact(found: LaterDecision) -> Fact:
    """Return a decision after a run's own one; `concession` is the number that it was accepted by."""
    return {
        "decision": found.decision.value,
        "bin": found.bin_number,
        "bin_name": found.bin_name,
        "concession": found.concession or None,
        "reason": _reason(found.reason),
        "plan_hash": found.plan_hash,
        "who": found.who,
        "why": found.why,
        "decided_utc": found.decided_utc.isoformat(),
    }


def lot_fact(summary: LotSummary) -> Fact:
    """Return a lot's counts; `yield` is passed / (passed + failed), None if none is decided."""
    return {
        "lot": summary.lot,
        "units": summary.units,
        "pass": summary.passed,
        "fail": summary.failed,
        "invalid": summary.invalid,
        "held": summary.held,
        "conceded": summary.conceded,
        "yield": summary.yield_fraction,
        "first_pass_yield": summary.first_pass_fraction,
        "runs": summary.runs,
        "simulated": summary.simulated,
        "bins": [{"bin": each.number, "name": each.name, "units": each.units} for each in summary.bins],
        "population": "units with a production run, each by its latest decision",
    }


def verification_fact(verification: Verification) -> Fact:
    """Return a verification."""
    return {
        "verification": verification.verification_id,
        "bench": verification.bench,
        "nest": verification.nest,
        "part": verification.part,
        "verified": verification.verified,
        "done_utc": verification.done_utc.isoformat(),
        "verified_until_utc": verification.verified_until_utc.isoformat(),
        "unit_limit": verification.unit_limit,
        "words": verification.words,
        "runs": list(verification.run_ids),
    }


def verification_value_fact(found: VerificationValue) -> Fact:
    """Return one value of a verification; `en` is the E_n number."""
    return {
        "reference_unit": found.subject or None,
        "characteristic": found.characteristic,
        "unit": found.unit_symbol,
        "value": found.value,
        "expanded_uncertainty": found.expanded_uncertainty,
        "assigned": found.assigned,
        "assigned_uncertainty": found.assigned_uncertainty,
        "en": found.en,
        "lower": found.lower,
        "upper": found.upper,
        "agrees": found.agrees,
        "words": found.words,
    }


def series_fact(series: "Series") -> Fact:
    """Return verification values over time; `share` is the deviation over what is allowed, at 1 not verified."""
    drift = series.drift
    averages = None if drift.averages is None else drift.averages.points.tolist()
    return {
        "bench": series.bench,
        "nest": series.nest,
        "reference_unit": series.subject or None,
        "characteristic": series.characteristic,
        "unit": series.newest.unit_symbol,
        "assigned": series.newest.assigned,
        "values": [
            {"utc": each.done_utc.isoformat(), "value": each.found.value, "share": share, "agrees": each.found.agrees}
            for each, share in zip(series.values, drift.shares.tolist(), strict=True)
        ],
        "moving_average": averages,
        "single_values_range": None if drift.singles is None else _range(drift.singles),
        "moving_average_range": None if drift.averages is None else _range(drift.averages),
        "baseline": drift.baseline,
        "warnings": list(drift.warnings),
        "days_left": drift.days_left,
    }


def _range(chart: "Chart") -> list[float]:
    return [float(chart.lower[-1]), float(chart.upper[-1])]


def _result(result: Result, judgements: tuple[Judgement, ...]) -> Fact:
    judgement = next((each for each in judgements if each.characteristic == result.characteristic), None)
    fact: Fact = {
        "status": result.status.value,
        "value": result.value,
        "unit": result.unit_symbol,
        "standard_uncertainty": result.standard_uncertainty,
        "expanded_uncertainty": result.expanded_uncertainty,
        "degrees_of_freedom": _finite(result.degrees_of_freedom),
        "reason": _reason(result.reason),
    }
    if judgement is not None:
        fact |= {
            "decision": None if judgement.decision is None else judgement.decision.value,
            "conditional": judgement.conditional,
            "acceptance_lower": judgement.acceptance_lower,
            "acceptance_upper": judgement.acceptance_upper,
        }
    return fact


def _finite(value: float | None) -> float | None:
    """JSON has no infinity: None stands for it."""
    return None if value is None or value == float("inf") else value


def _reason(reason: Reason | None) -> Fact | None:
    if reason is None:
        return None
    return {"code": reason.code, "words": reason.words, "remedy": reason.remedy}


def _message(message: TranscriptMessage) -> Fact:
    return {
        "instrument": message.instrument,
        "direction": message.direction,
        "time_s": message.monotonic_s,
        "data": message.data.decode("ascii", "backslashreplace"),
    }
