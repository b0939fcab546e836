"""Verifications of benches, and the units that were judged on the strength of each."""

import json
from collections.abc import Callable, Sequence
from datetime import datetime

from sqlalchemy import ColumnElement, Connection, Select, bindparam, func, insert, literal, select

from station.core.run_record import Purpose
from station.core.verification import Verification, VerificationValue
from station.errors import RecordError
from station.records import chain
from station.records.canonical import canonical_bytes
from station.records.database import Database, add_row
from station.records.hot import Driver, Hot
from station.records.rows import Row
from station.records.schema import audit_entry, run, run_opened, unit, verification, verification_plan
from station.records.stamps import clean, moment, name, stamp
from station.records.verification_values import add_values, hold_units
from station.records.views import AuditEntry


def _units(verification_id: ColumnElement[str]) -> Select[tuple[()]]:
    joined = run.join(run_opened, run_opened.c.run_key == run.c.run_key).join(unit)
    stands_on = (run.c.verification_id == verification_id) & (run.c.verification_id != "")
    return select().select_from(joined).where(stands_on, run_opened.c.purpose == Purpose.PRODUCTION.value)


_WHOLE = select(verification, verification_plan.c.plan_hash).outerjoin(verification_plan)
_LATEST = Hot(
    _WHOLE
    .where(verification.c.bench == bindparam("bench"), verification.c.nest == bindparam("nest"))
    .order_by(verification.c.verification_key.desc())
    .limit(1)
)
_NEW = Hot(
    _units(bindparam("verification_id"))
    .add_columns(run.c.run_key, unit.c.unit_key)
    .where(run.c.run_key > bindparam("run_key"))
)


class VerificationStore:
    """Adds and finds verifications."""

    def __init__(self, database: Database) -> None:
        self._database = database
        # Of the verification asked for last: its id, the last run and the units counted so far.
        self._counted: tuple[str, int, set[int]] = ("", 0, set())

    def add(
        self, done: Verification, *, values: Sequence[VerificationValue] = (), held: Sequence[str] = ()
    ) -> None:
        """See `Records.add_verification`."""
        row = _row(done)
        with self._database.writing() as connection:
            known = select(verification.c.bench).where(verification.c.verification_id == done.verification_id)
            if connection.scalar(known) is not None:
                raise RecordError(f"verification {done.verification_id} is on record already.")
            key = add_row(connection, verification, row)
            if done.plan_hash:
                plan_row = {"plan_hash": clean(done.plan_hash)}
                connection.execute(insert(verification_plan), plan_row | {"verification_key": key})
                row |= plan_row
            content = canonical_bytes(row)
            subject = done.verification_id
            chain.append(Driver.of(connection), self._database.key, done.bench, "verification", subject, content)
            add_values(connection, self._database.key, done, key, values)
            hold_units(connection, self._database.key, done, held)

    def latest(self, bench: str, nest: str) -> Verification | None:
        """See `Records.latest_verification`."""
        with self._database.looking() as driver:
            row = _LATEST.one(driver, bench=bench, nest=nest)
        return None if row is None else _view(row)

    def every(self, bench: str) -> tuple[Verification, ...]:
        """See `Records.verifications`."""
        query = _WHOLE.where(verification.c.bench == bench)
        with self._database.reading() as connection:
            rows = connection.execute(query.order_by(verification.c.verification_key)).mappings().all()
        return tuple(_view(dict(row)) for row in rows)

    def units_since(self, verification_id: str) -> tuple[str, ...]:
        """See `Records.units_since`."""
        first = func.min(run_opened.c.run_key)
        query = _units(literal(verification_id)).add_columns(unit.c.serial).group_by(unit.c.serial).order_by(first)
        with self._database.reading() as connection:
            return tuple(row.serial for row in connection.execute(query))

    def count_since(self, verification_id: str) -> int:
        """See `Records.count_since`. Asked for each unit: only runs closed since the last time are read."""
        if self._counted[0] != verification_id:
            self._counted = verification_id, 0, set()
        _, last, units = self._counted
        with self._database.looking() as driver:
            rows = _NEW.every(driver, verification_id=verification_id, run_key=last)
        units.update(row["unit_key"] for row in rows)
        # A nest makes one run after the other, so what is closed later has a larger key.
        self._counted = verification_id, max((row["run_key"] for row in rows), default=last), units
        return len(units)


class AuditStore:
    """Keeps who did what that needs a reason."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, entry: AuditEntry) -> None:
        """See `Records.audit`."""
        with self._database.writing() as connection:
            add_audit(connection, self._database.key, entry)

    def add_from(self, subject: str, make: Callable[[tuple[AuditEntry, ...]], AuditEntry]) -> None:
        """See `Records.audit_from`."""
        with self._database.writing() as connection:
            add_audit(connection, self._database.key, make(_entries(connection, subject, None)))

    def entries(self, subject: str | None, action: str | None) -> tuple[AuditEntry, ...]:
        """See `Records.audit_entries`."""
        with self._database.reading() as connection:
            return _entries(connection, subject, action)


def _entries(connection: Connection, subject: str | None, action: str | None) -> tuple[AuditEntry, ...]:
    query = select(audit_entry).order_by(audit_entry.c.audit_key)
    if subject is not None:
        query = query.where(audit_entry.c.subject == subject)
    if action is not None:
        query = query.where(audit_entry.c.action == action)
    rows = connection.execute(query).all()
    return tuple(AuditEntry(moment(row.utc), row.who, row.action, row.subject, row.why) for row in rows)


def add_audit(connection: Connection, secret: bytes, entry: AuditEntry) -> None:
    """Add an entry within a writing transaction, in the station's chain."""
    row = {
        "utc": stamp(entry.utc),
        "who": clean(entry.who),
        "action": name(entry.action, "action"),
        "subject": clean(entry.subject),
        "why": clean(entry.why),
    }
    key = add_row(connection, audit_entry, row)
    chain.append(Driver.of(connection), secret, chain.STATION, "audit", str(key), canonical_bytes(row))


def _row(done: Verification) -> Row:
    return {
        "verification_id": name(done.verification_id, "verification id"),
        "bench": name(done.bench, "bench"),
        "nest": clean(done.nest),
        "fixture_identity": clean(done.fixture_identity),
        "part": clean(done.part),
        "done_utc": stamp(done.done_utc),
        "verified": int(done.verified),
        "verified_until_utc": stamp(done.verified_until_utc),
        "unit_limit": int(done.unit_limit),
        "operator": clean(done.operator),
        "words": clean(done.words),
        "run_ids": json.dumps([clean(each) for each in done.run_ids]),
    }


def _view(row: Row) -> Verification:
    del row["verification_key"]
    times: dict[str, datetime] = {key: moment(row[key]) for key in ("done_utc", "verified_until_utc")}
    run_ids = tuple(json.loads(row["run_ids"]))
    own = {"verified": bool(row["verified"]), "run_ids": run_ids, "plan_hash": row["plan_hash"] or ""}
    return Verification(**row | times | own)
