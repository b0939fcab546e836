"""Walks the digest chains and names what is not as it was recorded.

An entry that its own digest doesn't prove was made without the key: inserted. An entry that stands behind
another one than it was made behind: reordered, or the one before it is gone. What the entry proves and the
tables no longer say: changed, or removed. What the tables say and no entry proves: inserted. What an earlier
head names and the chain no longer has: cut off.
"""

import hmac
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from itertools import islice
from typing import Any

from sqlalchemy import Connection, Row, Select, Text, cast, select

from station.records.canonical import (
    NO_DIGEST,
    canonical_bytes,
    content_digest,
    entry_digest,
    run_bytes,
    values_bytes,
)
from station.records.database import Database
from station.records.rejudge import decision_subject
from station.records.run_rows import RUNS_AT_ONCE, read_run_rows
from station.records.schema import (
    audit_entry,
    chain,
    decision,
    fixture_service,
    hold,
    placing,
    plan_revision,
    run,
    run_opened,
    unit,
    verification,
    verification_plan,
    verification_value,
)
from station.records.views import ChainFault, ChainReport, Head

_Contents = dict[str, bytes]
_Entry = Row[Any]


def check(database: Database, heads: Sequence[Head]) -> ChainReport:
    """See `Records.check`."""
    with database.reading() as connection:
        walk = _Walk(connection, database.key)
        walk.links()
        walk.contents()
        walk.without_entry()
        walk.cut(heads)
    return walk.report()


class _Walk:
    """One walk over one state of the records."""

    def __init__(self, connection: Connection, key: bytes) -> None:
        self._connection = connection
        self._key = key
        self._faults: list[ChainFault] = []
        self._entries = 0
        self._digests: defaultdict[str, dict[bytes, int]] = defaultdict(dict)
        self._last: dict[str, _Entry] = {}

    def report(self) -> ChainReport:
        heads = [Head(bench, last.seq, bytes(last.digest).hex()) for bench, last in sorted(self._last.items())]
        order = sorted(self._faults, key=lambda each: (each.bench, each.seq or 0))
        return ChainReport(self._entries, tuple(heads), tuple(order))

    def links(self) -> None:
        """Check each entry by itself and against the one before it."""
        # All digests first: a predecessor that stands elsewhere was moved, one that stands nowhere is gone.
        for entry in self._all(select(chain.c.bench, chain.c.seq, chain.c.digest)):
            self._digests[entry.bench][bytes(entry.digest)] = entry.seq
            self._entries += 1
        for entry in self._all(select(chain)):
            self._link(entry, self._last.get(entry.bench))
            self._last[entry.bench] = entry

    def contents(self) -> None:
        """Check that the tables still say what the entries prove."""
        for kind, read in _READERS.items():
            entries = iter(self._all(select(chain).where(chain.c.kind == kind)))
            while some := list(islice(entries, RUNS_AT_ONCE)):
                found = read(self._connection, [entry.subject for entry in some])
                for entry in some:
                    self._content(entry, found.get(entry.subject))

    def without_entry(self) -> None:
        """Name what is in the tables and in no chain."""
        for kind, (bench, subjects) in _SUBJECTS.items():
            proven = set(self._connection.scalars(select(chain.c.subject).where(chain.c.kind == kind)))
            for row in self._connection.execute(subjects):
                subject = str(row[0])
                if subject not in proven:
                    where = row[1] if bench else ""
                    self._fault(where, None, "inserted", kind, subject, "is on record without an entry in a chain")

    def cut(self, heads: Sequence[Head]) -> None:
        """Name each of `heads` that its chain no longer has."""
        for head in heads:
            if head.seq and bytes.fromhex(head.digest) not in self._digests[head.bench]:
                last = self._last.get(head.bench)
                left = f"ends at entry {last.seq}" if last is not None else "is empty"
                words = f"entry {head.seq} of an earlier report is gone; the chain {left}"
                self._fault(head.bench, head.seq, "cut off", "", "", words)

    def _all(self, query: Select[Any]) -> Iterator[_Entry]:
        yield from self._connection.execute(query.order_by(chain.c.bench, chain.c.seq)).yield_per(1_000)

    def _link(self, entry: _Entry, before: _Entry | None) -> None:
        proof = entry_digest(
            self._key, entry.bench, entry.kind, entry.subject, bytes(entry.content), bytes(entry.previous)
        )
        if not hmac.compare_digest(proof, bytes(entry.digest)):
            self._at(entry, "inserted", "its entry was not made with the key")
            return
        expected = NO_DIGEST if before is None else bytes(before.digest)
        if bytes(entry.previous) != expected:
            place = self._digests[entry.bench].get(bytes(entry.previous))
            if place is not None or entry.previous == NO_DIGEST:
                self._at(entry, "reordered", f"belongs behind entry {place or 0} of its chain")
            else:
                self._at(entry, "removed", "what was recorded just before it is gone")
        elif entry.seq != (0 if before is None else before.seq) + 1:
            self._at(entry, "reordered", "its number does not follow the one before")

    def _content(self, entry: _Entry, content: bytes | None) -> None:
        if content is None:
            self._at(entry, "removed", "is in the chain but no longer on record")
            return
        proof = content_digest(self._key, entry.kind, entry.subject, content)
        if not hmac.compare_digest(proof, bytes(entry.content)):
            self._at(entry, "changed", "is not as it was recorded")

    def _at(self, entry: _Entry, what: str, words: str) -> None:
        self._fault(entry.bench, entry.seq, what, entry.kind, entry.subject, words)

    def _fault(self, bench: str, seq: int | None, what: str, kind: str, subject: str, words: str) -> None:
        self._faults.append(ChainFault(bench, seq, what, kind, subject, f"{kind} {subject}: {words}".strip(" :")))


def _runs(connection: Connection, subjects: Sequence[str]) -> _Contents:
    return {run_id: run_bytes(rows) for run_id, rows in read_run_rows(connection, subjects).items()}


def _keyed(query: Select[Any], own_key: str, dropped: tuple[str, ...]) -> Callable[..., _Contents]:
    """Return a reader of rows whose subject is column `own_key`, their contents without `dropped`."""
    column = query.selected_columns[own_key]

    def read(connection: Connection, subjects: Sequence[str]) -> _Contents:
        # A subject that is no number of ours was forged; its entry is reported as such.
        keys = [int(each) for each in subjects if each.isdecimal()] if own_key.endswith("_key") else subjects
        rows = connection.execute(query.where(column.in_(keys))).mappings()
        return {str(row[own_key]): canonical_bytes({k: v for k, v in row.items() if k not in dropped}) for row in rows}

    return read


def _verifications(connection: Connection, subjects: Sequence[str]) -> _Contents:
    query = select(verification, verification_plan.c.plan_hash).outerjoin(verification_plan)
    rows = connection.execute(query.where(verification.c.verification_id.in_(subjects))).mappings()
    # One without a plan was recorded before its plan was kept.
    return {
        row["verification_id"]: _bytes_without(
            dict(row), ("verification_key", *(() if row["plan_hash"] is not None else ("plan_hash",)))
        )
        for row in rows
    }


def _values(connection: Connection, subjects: Sequence[str]) -> _Contents:
    query = select(verification_value, verification.c.verification_id).join(verification)
    wanted = query.where(verification.c.verification_id.in_(subjects))
    by_subject: defaultdict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in connection.execute(wanted).mappings():
        own = {name: value for name, value in row.items() if name not in ("verification_key", "verification_id")}
        by_subject[row["verification_id"]].append(own)
    return {subject: values_bytes(rows) for subject, rows in by_subject.items()}


def _decisions(connection: Connection, subjects: Sequence[str]) -> _Contents:
    pairs = [each.rpartition("#") for each in subjects]
    query = select(decision, run_opened.c.run_id).join(run_opened, run_opened.c.run_key == decision.c.run_key)
    rows = connection.execute(query.where(run_opened.c.run_id.in_([pair[0] for pair in pairs]))).mappings()
    return {
        decision_subject(row["run_id"], row["place"]): _bytes_without(dict(row), ("decision_key", "run_key"))
        for row in rows
    }


def _bytes_without(row: dict[str, Any], dropped: tuple[str, ...]) -> bytes:
    return canonical_bytes({name: value for name, value in row.items() if name not in dropped})


_LATER = (
    select(run_opened.c.run_id.concat("#").concat(cast(decision.c.place, Text)), run_opened.c.bench)
    .join(run_opened, run_opened.c.run_key == decision.c.run_key)
    .where(decision.c.place > 0)
)
_VALUES = select(verification.c.verification_id, verification.c.bench).join(verification_value).distinct()
_HOLDS = select(hold, unit.c.serial).join(unit, unit.c.unit_key == hold.c.unit_key)
_HOLD_KEYS = ("hold_key", "unit_key", "run_key")
_PLACINGS = select(placing, unit.c.serial).join(unit, unit.c.unit_key == placing.c.unit_key)

_READERS: dict[str, Callable[[Connection, Sequence[str]], _Contents]] = {
    "run": _runs,
    "decision": _decisions,
    "verification": _verifications,
    "values": _values,
    "fixture": _keyed(select(fixture_service), "service_key", ("service_key",)),
    "plan": _keyed(select(plan_revision), "plan_hash", ()),
    "hold": _keyed(_HOLDS, "hold_key", _HOLD_KEYS),
    "placing": _keyed(_PLACINGS, "placing_key", ("placing_key", "unit_key")),
    "audit": _keyed(select(audit_entry), "audit_key", ("audit_key",)),
}

# Of each kind: whether a bench is named in the second column, and all subjects on record.
_SUBJECTS: dict[str, tuple[bool, Select[Any]]] = {
    "run": (True, select(run_opened.c.run_id, run_opened.c.bench).join(run)),
    "decision": (True, _LATER),
    "verification": (True, select(verification.c.verification_id, verification.c.bench)),
    "values": (True, _VALUES),
    "fixture": (True, select(fixture_service.c.service_key, fixture_service.c.bench)),
    "plan": (False, select(plan_revision.c.plan_hash)),
    # What a run holds is part of the run.
    "hold": (False, select(hold.c.hold_key).where(hold.c.run_key.is_(None))),
    "placing": (False, select(placing.c.placing_key)),
    "audit": (False, select(audit_entry.c.audit_key)),
}
