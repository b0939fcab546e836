"""Deviation permits and concessions on record: granted, used, ended. All in the digest chains.

A grant and an end are audit entries of the station's chain; a use is a later decision on a run, FAIL with the number
beside it. Whatever depends on a count is counted and written in one transaction, so two writers can't exceed it.
"""

import json
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, func, select

from station.core.concession import PREFIX, Concession, ConcessionError, ConcessionKind, Standing, standing
from station.core.results import Decision
from station.core.run_record import Purpose
from station.errors import RecordError
from station.records.rejudge import add_decision
from station.records.repository import Records
from station.records.schema import audit_entry, decision, hold, run_opened, unit
from station.records.stamps import moment, stamp
from station.records.verifications import add_audit
from station.records.views import AuditEntry, LaterDecision

GRANT, END = "grant concession", "end concession"
_FORMAT = 1


@dataclass(frozen=True, slots=True)
class OnRecord:
    """A concession with what became of it. `used`: units that were accepted by it, ever; none is given back."""

    granted: Concession
    used: int
    ended: str
    """A `Standing` if its end is on record; else empty."""
    ended_why: str

    def standing(self, latest_utc: datetime) -> Standing:
        """Return whether it may be used, at the latest time that anybody has seen."""
        return standing(self.granted, used=self.used, ended=self.ended, latest_utc=latest_utc)


def grant_concession(records: Records, wanted: Concession) -> Concession:
    """Put a concession on record; return it with its number."""
    with records._database.writing() as connection:
        prefix = PREFIX[wanted.kind]
        taken = sum(each.granted.number.startswith(prefix) for each in _on_record(connection))
        granted = replace(wanted, number=f"{prefix}{taken + 1:04d}")
        entry = AuditEntry(granted.granted_utc, granted.who, GRANT, granted.number, _text(granted))
        add_audit(connection, records._database.key, entry)
    return granted


def concessions(records: Records) -> tuple[OnRecord, ...]:
    """Return every deviation permit and concession, oldest first. Raises RecordError for a newer version's."""
    with records._database.reading() as connection:
        return tuple(_on_record(connection))


def latest_utc(records: Records, now_utc: datetime) -> datetime:
    """Return the later of `now_utc` and the latest time on record: a clock that was set back does not count."""
    with records._database.reading() as connection:
        return _latest(connection, now_utc)


def end_concession(records: Records, number: str, *, how: Standing, who: str, why: str, utc: datetime) -> bool:
    """Put on record that a concession has ended, for good; False if that is on record already."""
    if not who.strip() or not why.strip():
        raise RecordError(f"concession {number}: say who ends it and why.")
    with records._database.writing() as connection:
        found = _one(connection, number)
        if found.ended:
            return False
        text = json.dumps({"format": _FORMAT, "how": how.value, "why": why})
        add_audit(connection, records._database.key, AuditEntry(utc, who, END, number, text))
    return True


def concede(records: Records, later: LaterDecision, *, after: int) -> int:
    """Put on record that a unit is accepted by the concession that `later` names; return the decision's place.

    Args:
        later: FAIL, with the concession's number.
        after: how many later decisions the run had when it was looked at.

    Raises:
        ConcessionError: the concession has ended, or is used up.
        RecordError: not FAIL, held, or another run or decision came since.
    """
    if later.decision is not Decision.FAIL or not later.concession:
        raise RecordError("a unit that is accepted by concession stays FAIL, with the concession's number.")
    with records._database.writing() as connection:
        found = _one(connection, later.concession)
        serial, place = _require_latest(connection, later.run_id)
        if place != after:
            raise RecordError(f"{serial}: another decision came meanwhile. Look at it again.")
        used = _users(connection, later.concession) - {serial}
        state = replace(found, used=len(used)).standing(_latest(connection, later.decided_utc))
        if state is not Standing.IN_FORCE:
            raise ConcessionError(f"{found.granted.kind} {later.concession} is {state}. Grant another one.")
        return add_decision(connection, records._database.key, later)


def _require_latest(connection: Connection, run_id: str) -> tuple[str, int]:
    """Return serial and place of the run's latest decision; it must be what counts for the unit, FAIL, and not held."""
    query = select(run_opened.c.run_key, unit.c.unit_key, unit.c.serial).join(
        unit, unit.c.unit_key == run_opened.c.unit_key
    )
    found = connection.execute(query.where(run_opened.c.run_id == run_id)).one_or_none()
    if found is None:
        raise RecordError(f"run {run_id} is not on record.")
    newest = select(func.max(run_opened.c.run_key)).where(
        run_opened.c.unit_key == found.unit_key, run_opened.c.purpose == Purpose.PRODUCTION.value
    )
    if connection.scalar(newest) != found.run_key:
        raise RecordError(f"{found.serial}: it was measured again since. Look at it again.")
    held = select(hold.c.held).where(hold.c.unit_key == found.unit_key).order_by(hold.c.hold_key.desc()).limit(1)
    if connection.scalar(held):
        raise RecordError(f"{found.serial} is held. Release it first.")
    own = select(decision.c.place, decision.c.decision, decision.c.concession)
    own = own.where(decision.c.run_key == found.run_key)
    last = connection.execute(own.order_by(decision.c.place.desc()).limit(1)).one_or_none()
    if last is None or last.decision != Decision.FAIL.value:
        raise RecordError(f"{found.serial} is not FAIL; only what was measured and fails is accepted by concession.")
    if last.concession:
        raise RecordError(f"{found.serial} is accepted already, by {last.concession}.")
    return found.serial, last.place


def _one(connection: Connection, number: str) -> OnRecord:
    for each in _on_record(connection):
        if each.granted.number == number:
            return each
    raise RecordError(f"concession {number[:20]!r} is not on record. List them: coilgate concession list")


def _on_record(connection: Connection) -> list[OnRecord]:
    query = select(audit_entry.c.action, audit_entry.c.subject, audit_entry.c.why)
    rows = connection.execute(
        query.where(audit_entry.c.action.in_((GRANT, END))).order_by(audit_entry.c.audit_key)
    ).all()
    ends: dict[str, dict[str, str]] = {}
    for row in rows:
        if row.action == END:
            ends.setdefault(row.subject, _entry(row.why))
    uses = connection.execute(
        select(decision.c.concession, func.count(run_opened.c.unit_key.distinct()).label("units"))
        .join(run_opened, run_opened.c.run_key == decision.c.run_key)
        .where(decision.c.place > 0, decision.c.concession != "")
        .group_by(decision.c.concession)
    )
    counts = {row.concession: int(row.units) for row in uses}
    made = []
    for row in rows:
        if row.action == GRANT:
            end = ends.get(row.subject, {"how": "", "why": ""})
            made.append(OnRecord(_concession(row.why), counts.get(row.subject, 0), end["how"], end["why"]))
    return made


def _users(connection: Connection, number: str) -> set[str]:
    query = (
        select(unit.c.serial)
        .join(run_opened, run_opened.c.unit_key == unit.c.unit_key)
        .join(decision, decision.c.run_key == run_opened.c.run_key)
        .where(decision.c.place > 0, decision.c.concession == number)
    )
    return set(connection.scalars(query))


def _latest(connection: Connection, now_utc: datetime) -> datetime:
    columns = (audit_entry.c.utc, decision.c.decided_utc, hold.c.utc)
    known = [connection.scalar(select(func.max(each))) for each in columns]
    return max([now_utc, *(moment(each) for each in known if each)])


def _text(granted: Concession) -> str:
    whens = {key: stamp(getattr(granted, key)) for key in ("expires_utc", "granted_utc")}
    return json.dumps({"format": _FORMAT} | asdict(granted) | whens)


def _entry(text: str) -> dict[str, Any]:
    entry: dict[str, Any] = json.loads(text)
    if entry.pop("format", None) != _FORMAT:
        raise RecordError("concessions were recorded by a newer version. Update coilgate.")
    return entry


def _concession(text: str) -> Concession:
    entry = _entry(text)
    whens = {key: moment(entry[key]) for key in ("expires_utc", "granted_utc")}
    return Concession(**entry | whens | {"kind": ConcessionKind(entry["kind"])})
