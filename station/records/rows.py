"""A run as rows of the tables, and back. Pure; keys of the database are added by who writes."""

import json
from dataclasses import dataclass
from typing import Any

from station.core.results import Decision, Judgement, Reason, Result, ResultStatus, Term
from station.core.run_record import InstrumentIdentity, Purpose, RunOpened, RunRecord, UnitId
from station.errors import RecordError
from station.records import blobs
from station.records.stamps import clean, moment, name, number, stamp

Row = dict[str, Any]
"""Column name to value: str, int, float, bytes or None."""


@dataclass(frozen=True, slots=True)
class RunRows:
    """The rows of one closed run. Texts are clean, times stamps, numbers floats: as they come back."""

    opened: Row
    unit: Row
    run: Row
    results: list[Row]
    decision: Row
    hold: Row | None
    budget: Row | None
    traces: list[Row]
    transcript: Row
    identities: list[Row]


def opened_row(opened: RunOpened) -> Row:
    """Return the row of table `run_opened`.

    Raises:
        RecordError: a name is missing or not printable, the time has no zone.
    """
    return {
        "run_id": name(opened.run_id, "run id"),
        "part": clean(opened.part),
        "plan_hash": clean(opened.plan_hash),
        "bench": name(opened.bench, "bench"),
        "nest": clean(opened.nest),
        "operator": clean(opened.operator),
        "purpose": opened.purpose.value,
        "simulated": int(opened.simulated),
        "opened_utc": stamp(opened.opened_utc),
        "software_version": clean(opened.software_version),
        "repeats_run_id": clean(opened.repeats_run_id),
    }


def unit_row(unit: UnitId) -> Row:
    """Return the row of table `unit`, with the lot's name.

    Raises:
        RecordError: the serial is missing or not printable.
    """
    return {
        "serial": name(unit.serial, "serial"),
        "lot": clean(unit.lot),
        "panel": clean(unit.panel),
        "row": clean(unit.row),
        "column": clean(unit.column),
    }


def rows_of(record: RunRecord) -> RunRows:
    """Return `record` as rows.

    Raises:
        RecordError: it holds something that would not come back the same.
    """
    opened = record.opened
    decision = _decision_row(record)
    hold = None
    if record.held:
        hold = {
            "held": 1,
            "reason_code": decision["reason_code"] or "",
            "who": decision["who"],
            "why": decision["reason_words"] or "",
            "utc": stamp(record.closed_utc),
        }
    return RunRows(
        opened=opened_row(opened),
        unit=unit_row(opened.unit),
        run={
            "closed_utc": stamp(record.closed_utc),
            "drive_off_verified": int(record.drive_off_verified),
            "verification_id": clean(record.verification_id),
            "clock_speed": number(record.clock_speed, "the run", "clock speed"),
            "seed": None if record.seed is None else str(record.seed),
        },
        results=_result_rows(record),
        decision=decision,
        hold=hold,
        budget=_budget_row(record),
        traces=[_trace_row(place, record) for place in range(len(record.traces))],
        transcript={"format": blobs.FORMAT, "data": blobs.pack_transcript(record.transcript)},
        identities=[
            {
                "name": clean(each.name),
                "identity": clean(each.identity),
                "calibration_due": clean(each.calibration_due),
            }
            for each in record.identities
        ],
    )


def opened_of(row: Row, unit: Row) -> RunOpened:
    """Return what was opened from its row and its unit's."""
    return RunOpened(
        run_id=str(row["run_id"]),
        unit=UnitId(*(str(unit[key]) for key in ("serial", "lot", "panel", "row", "column"))),
        part=str(row["part"]),
        plan_hash=str(row["plan_hash"]),
        bench=str(row["bench"]),
        nest=str(row["nest"]),
        operator=str(row["operator"]),
        purpose=Purpose(row["purpose"]),
        simulated=bool(row["simulated"]),
        opened_utc=moment(str(row["opened_utc"])),
        software_version=str(row["software_version"]),
        repeats_run_id=str(row["repeats_run_id"]),
    )


def record_of(rows: RunRows) -> RunRecord:
    """Return the run that `rows_of` was given.

    Raises:
        RecordError: a row is damaged; the message names the run.
    """
    try:
        return _record_of(rows)
    except (RecordError, ValueError, TypeError, KeyError) as error:
        raise RecordError(f"run {rows.opened['run_id']} can't be read: {error}") from error


def reason_of(row: Row, prefix: str) -> Reason | None:
    """Return the reason in columns `prefix`_code, _words, _remedy; None if there is none."""
    if row[f"{prefix}_code"] is None:
        return None
    return Reason(*(str(row[f"{prefix}_{part}"]) for part in ("code", "words", "remedy")))


def reason_columns(prefix: str, reason: Reason | None) -> Row:
    """Return the columns that `reason_of` reads."""
    if reason is None:
        return {f"{prefix}_code": None, f"{prefix}_words": None, f"{prefix}_remedy": None}
    return {
        f"{prefix}_code": clean(reason.code),
        f"{prefix}_words": clean(reason.words),
        f"{prefix}_remedy": clean(reason.remedy),
    }


def judgements_text(judgements: tuple[Judgement, ...]) -> str:
    """Return `judgements` as JSON, for a decision that judges a run again."""
    return json.dumps(
        [
            _judgement_columns(each, place) | {"name": clean(each.characteristic)}
            for place, each in enumerate(judgements)
        ],
        separators=(",", ":"),
    )


def judgements_of(text: str) -> tuple[Judgement, ...]:
    """Return what `judgements_text` was given."""
    return tuple(_judgement(row["name"], row) for row in json.loads(text))


def _record_of(rows: RunRows) -> RunRecord:
    terms = {} if rows.budget is None else blobs.unpack_budget(rows.budget["format"], rows.budget["data"])
    measured, judged = (_in_order(rows.results, place) for place in ("result_place", "judgement_place"))
    return RunRecord(
        opened=opened_of(rows.opened, rows.unit),
        closed_utc=moment(str(rows.run["closed_utc"])),
        results=tuple(_result(row, terms.get(str(row["characteristic"]), ())) for row in measured),
        judgements=tuple(_judgement(str(row["characteristic"]), row) for row in judged),
        decision=Decision(rows.decision["decision"]),
        reason=reason_of(rows.decision, "reason"),
        bin_number=int(rows.decision["bin_number"]),
        bin_name=str(rows.decision["bin_name"]),
        held=bool(rows.decision["held"]),
        traces=tuple(blobs.unpack_trace(row["name"], row["columns"], row["data"]) for row in rows.traces),
        identities=tuple(InstrumentIdentity(**row) for row in rows.identities),
        transcript=blobs.unpack_transcript(rows.transcript["format"], rows.transcript["data"]),
        drive_off_verified=bool(rows.run["drive_off_verified"]),
        verification_id=str(rows.run["verification_id"]),
        clock_speed=float(rows.run["clock_speed"]),
        seed=None if rows.run["seed"] is None else int(rows.run["seed"]),
    )


def _in_order(rows: list[Row], place: str) -> list[Row]:
    return sorted((row for row in rows if row[place] is not None), key=lambda row: row[place])


def _decision_row(record: RunRecord) -> Row:
    return {
        "place": 0,
        "plan_hash": clean(record.opened.plan_hash),
        "decision": record.decision.value,
        **reason_columns("reason", record.reason),
        "bin_number": int(record.bin_number),
        "bin_name": clean(record.bin_name),
        "held": int(record.held),
        "concession": "",
        "who": clean(record.opened.operator),
        "why": "measured",
        "decided_utc": stamp(record.closed_utc),
        "judgements": None,
    }


_NO_RESULT: Row = dict.fromkeys(
    [
        "result_place",
        "unit_symbol",
        "status",
        "value",
        "standard_uncertainty",
        "degrees_of_freedom",
        "expanded_uncertainty",
        "reason_code",
        "reason_words",
        "reason_remedy",
        "first_message",
        "past_message",
    ]
)
_NO_JUDGEMENT: Row = dict.fromkeys(
    [
        "judgement_place",
        "judgement",
        "conditional",
        "acceptance_lower",
        "acceptance_upper",
        "judgement_code",
        "judgement_words",
        "judgement_remedy",
    ]
)


def _result_rows(record: RunRecord) -> list[Row]:
    rows: dict[str, Row] = {}
    for place, result in enumerate(record.results):
        key = _new_name(result.characteristic, rows, "result_place", record)
        rows[key] = {"characteristic": key, **_result_columns(result, place), **_NO_JUDGEMENT}
    for place, judgement in enumerate(record.judgements):
        key = _new_name(judgement.characteristic, rows, "judgement_place", record)
        row = rows.setdefault(key, {"characteristic": key, **_NO_RESULT, **_NO_JUDGEMENT})
        row.update(_judgement_columns(judgement, place))
    return list(rows.values())


def _new_name(characteristic: str, rows: dict[str, Row], place: str, record: RunRecord) -> str:
    key = name(characteristic, "characteristic")
    if key in rows and rows[key][place] is not None:
        raise RecordError(f"run {record.opened.run_id}: characteristic {key!r} comes twice.")
    return key


def _result_columns(result: Result, place: int) -> Row:
    what = result.characteristic
    first, past = result.messages or (None, None)
    return {
        "result_place": place,
        "unit_symbol": clean(result.unit_symbol),
        "status": result.status.value,
        "value": number(result.value, what, "value"),
        "standard_uncertainty": number(result.standard_uncertainty, what, "standard uncertainty"),
        "degrees_of_freedom": number(result.degrees_of_freedom, what, "degrees of freedom"),
        "expanded_uncertainty": number(result.expanded_uncertainty, what, "expanded uncertainty"),
        **reason_columns("reason", result.reason),
        "first_message": first,
        "past_message": past,
    }


def _judgement_columns(judgement: Judgement, place: int) -> Row:
    what = judgement.characteristic
    return {
        "judgement_place": place,
        "judgement": None if judgement.decision is None else judgement.decision.value,
        "conditional": int(judgement.conditional),
        "acceptance_lower": number(judgement.acceptance_lower, what, "acceptance limit"),
        "acceptance_upper": number(judgement.acceptance_upper, what, "acceptance limit"),
        **reason_columns("judgement", judgement.reason),
    }


def _result(row: Row, terms: tuple[Term, ...]) -> Result:
    messages = None if row["first_message"] is None else (row["first_message"], row["past_message"])
    return Result(
        characteristic=str(row["characteristic"]),
        unit_symbol=str(row["unit_symbol"]),
        status=ResultStatus(row["status"]),
        value=row["value"],
        standard_uncertainty=row["standard_uncertainty"],
        degrees_of_freedom=row["degrees_of_freedom"],
        expanded_uncertainty=row["expanded_uncertainty"],
        terms=terms,
        reason=reason_of(row, "reason"),
        messages=messages,
    )


def _judgement(characteristic: str, row: Row) -> Judgement:
    return Judgement(
        characteristic=characteristic,
        decision=None if row["judgement"] is None else Decision(row["judgement"]),
        conditional=bool(row["conditional"]),
        acceptance_lower=row["acceptance_lower"],
        acceptance_upper=row["acceptance_upper"],
        reason=reason_of(row, "judgement"),
    )


def _budget_row(record: RunRecord) -> Row | None:
    terms = {clean(each.characteristic): each.terms for each in record.results if each.terms}
    return {"format": blobs.BUDGET_FORMAT, "data": blobs.pack_budget(terms)} if terms else None


def _trace_row(place: int, record: RunRecord) -> Row:
    columns, data = blobs.pack_trace(record.traces[place])
    return {"place": place, "name": clean(record.traces[place].name), "columns": columns, "data": data}
