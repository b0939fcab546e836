"""Control plans as they were released."""

import hashlib
from datetime import datetime

from sqlalchemy import func, insert, select

from station.core.plan import Plan
from station.core.plan_draft import require_accepted
from station.errors import RecordError
from station.records import chain
from station.records.canonical import canonical_bytes
from station.records.database import Database
from station.records.hot import Driver
from station.records.rows import Row
from station.records.schema import plan_revision, plan_text
from station.records.stamps import clean, moment, name, stamp
from station.records.views import PlanRevision


class PlanStore:
    """Releases plans and finds them."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def release(self, plan: Plan, *, who: str, why: str, utc: datetime) -> PlanRevision:
        """See `Records.release_plan`."""
        require_accepted(plan.source_text, f"plan {plan.part}")
        row = _row(plan, who, why, utc)
        column = plan_revision.c
        with self._database.writing() as connection:
            same = connection.execute(select(plan_revision).where(column.plan_hash == row["plan_hash"]))
            found = same.mappings().one_or_none()
            if found is not None:
                raise RecordError(
                    f"plan {found['part']}: this text is released already, as revision {found['revision']} "
                    f"on {found['released_utc'][:10]}. Change the plan, or use that revision."
                )
            last = connection.scalar(select(func.max(column.revision)).where(column.part == row["part"]))
            row["revision"] = (last or 0) + 1
            connection.execute(insert(plan_revision), row)
            content = canonical_bytes(row)
            chain.append(Driver.of(connection), self._database.key, chain.STATION, "plan", row["plan_hash"], content)
        return _view(row)

    def released(self, *, every_revision: bool) -> tuple[PlanRevision, ...]:
        """See `Records.released_plans`."""
        order = (plan_revision.c.part, plan_revision.c.revision)
        with self._database.reading() as connection:
            rows = connection.execute(select(plan_revision).order_by(*order)).mappings().all()
        views = [_view(dict(row)) for row in rows]
        return tuple(views if every_revision else {each.part: each for each in views}.values())

    def revision(self, plan_hash: str) -> PlanRevision | None:
        """See `Records.plan_revision`."""
        query = select(plan_revision).where(plan_revision.c.plan_hash == plan_hash)
        with self._database.reading() as connection:
            row = connection.execute(query).mappings().one_or_none()
        return None if row is None else _view(dict(row))

    def keep_text(self, plan: Plan) -> None:
        """See `Records.keep_plan`."""
        row = {"plan_hash": _checked_hash(plan), "source_text": plan.source_text}
        known = select(plan_text.c.plan_hash).where(plan_text.c.plan_hash == row["plan_hash"])
        with self._database.writing() as connection:
            if connection.scalar(known) is None:
                connection.execute(insert(plan_text), row)

    def text(self, plan_hash: str) -> str | None:
        """See `Records.plan_text`."""
        tables = (plan_revision, plan_text)
        queries = [select(table.c.source_text).where(table.c.plan_hash == plan_hash) for table in tables]
        with self._database.reading() as connection:
            found = (connection.scalar(query) for query in queries)
            return next((text for text in found if text is not None), None)


def _row(plan: Plan, who: str, why: str, utc: datetime) -> Row:
    text_hash = _checked_hash(plan)
    if not who.strip() or not why.strip():
        raise RecordError(f"plan {plan.part}: a release needs who releases it and why.")
    return {
        "plan_hash": text_hash,
        "part": name(plan.part, "part"),
        "title": clean(plan.title),
        "source_text": plan.source_text,
        "who": clean(who),
        "why": clean(why),
        "released_utc": stamp(utc),
    }


def _checked_hash(plan: Plan) -> str:
    text = plan.source_text
    if not text or clean(text) != text:
        raise RecordError(f"plan {plan.part}: its text is empty or holds NUL characters; it can't be kept.")
    text_hash = hashlib.sha256(text.encode()).hexdigest()
    if plan.text_hash != text_hash:
        raise RecordError(f"plan {plan.part}: its text and its hash do not belong together; load it anew.")
    return text_hash


def _view(row: Row) -> PlanRevision:
    return PlanRevision(**row | {"released_utc": moment(row["released_utc"])})
