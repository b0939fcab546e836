"""Deviation permits and concessions on record: granted, used, ended. All in the digest chains.

A grant and an end are audit entries of the station's chain; a use is a later decision on a run, FAIL with the number
beside it. Whatever depends on a count is counted and written in one transaction, so two writers can't exceed it.
"""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, func, select

from station.core.concession import PREFIX, Concession, ConcessionError, ConcessionKind, Standing, standing
from station.core.results import Decision
from station.core.run_record import Purpose
from station.errors import RecordError
from station.records.placings import leave_tray
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


def concede(records: Records, wanted: Sequence[tuple[LaterDecision, int]]) -> tuple[str, ...]:
    """Put on record, in one transaction, that units are accepted by one concession; return why each was not.

    One that lies in a tray has left it by that.

    Args:
        wanted: decisions, FAIL with the concession's number, and how many later decisions each run had when it was
            looked at. In order, as long as the concession lasts.

    Returns:
        Words for each one; empty: it is on record.

    Raises:
        RecordError: not FAIL, unknown concession, or several of them.
    """
    numbers = {later.concession for later, _ in wanted}
    if len(numbers) != 1 or "" in numbers or any(later.decision is not Decision.FAIL for later, _ in wanted):
        raise RecordError("a unit that is accepted by concession stays FAIL, with the concession's number.")
    with records._database.writing() as connection:
        found = _one(connection, numbers.pop())
        used = _users(connection, found.granted.number)
        latest = _latest(connection, max(later.decided_utc for later, _ in wanted))
        words = []
        for later, after in wanted:
            try:
                serial = _require_latest(connection, later.run_id, after)
                _require_in_force(replace(found, used=len(used - {serial})), latest)
            except (RecordError, ConcessionError) as error:
                words.append(str(error))
                continue
            add_decision(connection, records._database.key, later)
            # It goes into a bin of its own: it must not be found, on record, among units that are rejected.
            leave_tray(connection, records._database, serial, who=later.who, why=_bin(later), utc=later.decided_utc)
            used.add(serial)
            words.append("")
    return tuple(words)


def _bin(later: LaterDecision) -> str:
    return f"accepted by {later.concession}: bin {later.bin_number} ({later.bin_name})"


def _require_in_force(found: OnRecord, latest_utc: datetime) -> None:
    state = found.standing(latest_utc)
    if state is not Standing.IN_FORCE:
        raise ConcessionError(f"{found.granted.kind} {found.granted.number} is {state}. Grant another one.")


def _require_latest(connection: Connection, run_id: str, after: int) -> str:
    """Return the serial of a run whose latest decision counts for its unit and is FAIL; the unit is not held.

    Raises RecordError for any other, or if the decision is not the one at place `after`.
    """
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
    if last.place != after:
        raise RecordError(f"{found.serial}: another decision came meanwhile. Look at it again.")
    return str(found.serial)


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
    if not rows:  # the usual case, and the count below reads every decision
        return []
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
