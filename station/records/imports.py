"""Somebody else's readings, put on record whole: every unit's run and the file's own entry in one transaction."""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from itertools import islice

from sqlalchemy import select

from station.core.run_record import Purpose, RunRecord, UnitId
from station.errors import RecordError
from station.records.repository import Records
from station.records.runs import RunStore
from station.records.schema import audit_entry, lot, unit
from station.records.verifications import add_audit
from station.records.views import AuditEntry

ACTION = "import readings"
BENCH = "imported"
"""The chain that imported runs stand in: no bench of ours measured them."""

_AT_ONCE = 500
"""Serials a query: SQLite allows 32,766 parameters a statement."""


def readings_subject(digest: str) -> str:
    """Return the subject of a readings file's audit entry. `digest`: SHA-256 of its bytes, hexadecimal."""
    return f"readings file {digest}"


def add_imported(
    records: Records,
    runs: Iterable[RunRecord],
    *,
    digest: str,
    facts: Mapping[str, object],
    who: str,
    utc: datetime,
    again: bool = False,
    told: Callable[[int], object] = lambda count: None,
) -> int:
    """Put closed runs of purpose imported on record, all or none; return how many.

    Args:
        runs: in order; taken one by one, so that memory stays flat.
        digest: of the file; one that is on record is refused unless `again`.
        facts: what the entry says besides, as JSON.
        told: called with the number of runs written, now and then.

    Raises:
        RecordError: the file was imported before, a unit is on record with another place or lot, a lot is simulated
            and the runs are not, or a run is of another purpose. Nothing is on record then.
    """
    database, subject = records._database, readings_subject(digest)
    with database.writing() as connection:
        before = connection.execute(
            select(audit_entry).where(audit_entry.c.subject == subject, audit_entry.c.action == ACTION)
        ).first()
        if before is not None and not again:
            when = before.utc[:16].replace("T", " ")
            raise RecordError(
                f"this very file was imported already, by {before.who}, {when} UTC. "
                "If its first import was wrong (a unit, a column): --again; the newest import counts."
            )
        store = RunStore(database, hook=lambda point: None)
        count = store.add_closed(connection, map(_checked, runs), told=told)
        text = json.dumps({"format": 1, "units": count, **facts})
        add_audit(connection, database.key, AuditEntry(utc, who, ACTION, subject, text))
    return count


def places_on_record(records: Records, serials: Sequence[str]) -> dict[str, UnitId]:
    """Return those of `serials` that are on record, each with its lot and place."""
    found: dict[str, UnitId] = {}
    left = iter(serials)
    with records._database.reading() as connection:
        while some := list(islice(left, _AT_ONCE)):
            query = select(unit, lot.c.lot).join(lot).where(unit.c.serial.in_(some))
            for row in connection.execute(query):
                found[row.serial] = UnitId(row.serial, row.lot, row.panel, row.row, row.column)
    return found


def _checked(record: RunRecord) -> RunRecord:
    if record.opened.purpose is not Purpose.IMPORTED:
        raise RecordError(f"run {record.opened.run_id}: only imported runs come without being opened first.")
    return record
