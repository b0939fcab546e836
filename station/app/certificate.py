"""A unit's certificate from the records."""

from station.app.concessions import find
from station.app.lot_report import plan_words
from station.core.plan_file import parse_plan
from station.errors import RecordError
from station.records import Records
from station.reports.certificate import UnitFindings


def unit_findings(records: Records, serial: str) -> UnitFindings:
    """Return what a unit's certificate says, by its latest production run and the latest decision on it.

    Raises:
        RecordError: unknown unit, one without a production run, or one whose latest run is not closed.
    """
    state = records.unit_state(serial)
    if state is None or not state.run_id:
        raise RecordError(
            f"{serial}: no production run on record in {records.where}. Look at the serial, or at --home."
        )
    if state.decision is None:
        raise RecordError(f"{serial}: its latest run is still open. Wait until it has ended, then ask again.")
    record = records.run(state.run_id)
    decisions = records.later_decisions(state.run_id)
    later = decisions[-1] if decisions else None
    plan_hash = record.opened.plan_hash if later is None else later.plan_hash
    text = records.plan_text(plan_hash)
    plan = None if text is None else parse_plan(text, f"plan {plan_hash[:12]}")
    bench = record.opened.bench
    stands_on = (each for each in records.verifications(bench) if each.verification_id == record.verification_id)
    return UnitFindings(
        record=record,
        later=later,
        held=state.held,
        plan=plan,
        plan_words=plan_words(records, plan),
        verification=next(stands_on, None),
        head=records.head(bench),
        concession=find(records, later.concession).granted if later and later.concession else None,
    )
