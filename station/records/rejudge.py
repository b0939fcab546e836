"""A run judged again, under another plan revision or by concession, without being measured again."""

from sqlalchemy import Connection, func, insert, select

from station.core.results import Decision
from station.errors import RecordError
from station.records import chain
from station.records.canonical import canonical_bytes
from station.records.database import Database
from station.records.hot import Driver
from station.records.rows import Row, judgements_of, judgements_text, reason_columns, reason_of
from station.records.run_rows import read_opened
from station.records.schema import decision, run_opened
from station.records.stamps import clean, moment, stamp
from station.records.views import LaterDecision


def decision_subject(run_id: str, place: int) -> str:
    """Return what names a decision in a digest chain."""
    return f"{run_id}#{place}"


class DecisionStore:
    """Adds decisions to runs that are on record. None is ever edited: the latest counts."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, later: LaterDecision) -> int:
        """See `Records.judge_again`."""
        with self._database.writing() as connection:
            return add_decision(connection, self._database.key, later)

    def of_run(self, run_id: str) -> tuple[LaterDecision, ...]:
        """See `Records.later_decisions`."""
        query = select(decision).join(run_opened, run_opened.c.run_key == decision.c.run_key)
        query = query.where(run_opened.c.run_id == run_id, decision.c.place > 0).order_by(decision.c.place)
        with self._database.reading() as connection:
            rows = connection.execute(query).mappings().all()
        return tuple(_view(run_id, dict(row)) for row in rows)


def add_decision(connection: Connection, key: bytes, later: LaterDecision) -> int:
    """Add a decision within a writing transaction; return its place. See `Records.judge_again`."""
    row = _row(later)
    found = read_opened(Driver.of(connection), later.run_id)
    if found is None or found["closed_utc"] is None:
        raise RecordError(f"run {later.run_id} is not on record as closed; it can't be judged again.")
    last = select(func.max(decision.c.place)).where(decision.c.run_key == found["run_key"])
    row["place"] = (connection.scalar(last) or 0) + 1
    connection.execute(insert(decision), row | {"run_key": found["run_key"]})
    subject = decision_subject(later.run_id, row["place"])
    content = canonical_bytes(row | {"run_id": later.run_id})
    chain.append(Driver.of(connection), key, found["bench"], "decision", subject, content)
    return int(row["place"])


def _row(later: LaterDecision) -> Row:
    if not later.who.strip() or not later.why.strip():
        raise RecordError(f"run {later.run_id}: say who judges it again and why.")
    if later.concession and later.decision is Decision.PASS:
        raise RecordError(f"run {later.run_id}: what is accepted by concession does not conform; it is never PASS.")
    return {
        "plan_hash": clean(later.plan_hash),
        "decision": later.decision.value,
        **reason_columns("reason", later.reason),
        "bin_number": int(later.bin_number),
        "bin_name": clean(later.bin_name),
        "held": int(later.held),
        "concession": clean(later.concession),
        "who": clean(later.who),
        "why": clean(later.why),
        "decided_utc": stamp(later.decided_utc),
        "judgements": judgements_text(later.judgements),
    }


def _view(run_id: str, row: Row) -> LaterDecision:
    return LaterDecision(
        run_id=run_id,
        plan_hash=row["plan_hash"],
        decision=Decision(row["decision"]),
        reason=reason_of(row, "reason"),
        bin_number=row["bin_number"],
        bin_name=row["bin_name"],
        held=bool(row["held"]),
        judgements=judgements_of(row["judgements"]),
        concession=row["concession"],
        who=row["who"],
        why=row["why"],
        decided_utc=moment(row["decided_utc"]),
    )
