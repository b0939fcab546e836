"""A lot in one table of numbers, a row a unit: what the search for causes reads, 100,000 units in a second or two."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import Select, and_, case, func, select

from station.core.results import Decision, ResultStatus
from station.core.run_record import Purpose, Trace
from station.errors import RecordError
from station.records.blobs import unpack_trace
from station.records.repository import Records
from station.records.schema import decision, lot, result, run, run_opened, trace, unit

_COUNTED = (Purpose.PRODUCTION.value, Purpose.IMPORTED.value)
_OURS = case((run_opened.c.purpose == Purpose.PRODUCTION.value, 1), else_=0)


@dataclass(frozen=True, slots=True)
class LotFindings:
    """What each unit's latest closed production run found, or, without one, its latest imported one; for causes.

    Arrays and tuples of equal length N, in order of first opening. codes: reason code of the decision, or empty (an
    imported run is INVALID for being imported, which says nothing about the unit). imported: units by imported runs.
    values, standard_uncertainties: characteristic to float64 [N], SI unscaled; NaN where that run did not measure it.
    first_utc, last_utc: opening of the first and last of the runs, ISO 8601.
    """

    lot: str
    serials: tuple[str, ...]
    panels: tuple[str, ...]
    decisions: tuple[str, ...]
    codes: tuple[str, ...]
    benches: tuple[str, ...]
    first_utc: str
    last_utc: str
    values: dict[str, np.ndarray]
    standard_uncertainties: dict[str, np.ndarray]
    imported: int = 0


def lot_plan_hash(records: Records, name: str) -> str:
    """Return the plan's hash of a lot's latest closed production run, without one of its latest imported one; or empty.

    Raises RecordError for an unknown lot.
    """
    with records._database.reading() as connection:
        lot_key = connection.scalar(select(lot.c.lot_key).where(lot.c.lot == name))
        if lot_key is None:
            raise _unknown(name)
        query = (
            select(run_opened.c.plan_hash)
            .join(unit, unit.c.unit_key == run_opened.c.unit_key)
            .join(run, run.c.run_key == run_opened.c.run_key)
            .where(unit.c.lot_key == lot_key, run_opened.c.purpose.in_(_COUNTED))
            .order_by(_OURS.desc(), run_opened.c.run_key.desc())
            .limit(1)
        )
        return connection.scalar(query) or ""


def lot_findings(records: Records, name: str, characteristics: Sequence[str]) -> LotFindings:
    """Return what each unit of a lot showed. Raises RecordError for an unknown lot."""
    # The package's own: a caller outside sees `Records` only.
    with records._database.reading() as connection:
        lot_key = connection.scalar(select(lot.c.lot_key).where(lot.c.lot == name))
        if lot_key is None:
            raise _unknown(name)
        rows = connection.execute(_query(lot_key, characteristics)).all()
    fixed = 7
    columns = list(zip(*rows, strict=True)) if rows else [()] * (fixed + 2 * len(characteristics))
    numbers = [np.array([np.nan if x is None else x for x in column], dtype=float) for column in columns[fixed:]]
    serials, panels, decisions, codes, benches, opened, purposes = columns[:fixed]
    theirs = [each == Purpose.IMPORTED for each in purposes]
    return LotFindings(
        lot=name,
        serials=serials,
        panels=panels,
        decisions=decisions,
        codes=tuple("" if imported else each or "" for each, imported in zip(codes, theirs, strict=True)),
        benches=tuple(sorted(set(benches))),
        first_utc=min(opened, default=""),
        last_utc=max(opened, default=""),
        values=dict(zip(characteristics, numbers[::2], strict=True)),
        standard_uncertainties=dict(zip(characteristics, numbers[1::2], strict=True)),
        imported=sum(theirs),
    )


def _unknown(name: str) -> RecordError:
    return RecordError(f"lot {name!r} is not on record. List the lots (coilgate lot show), or check the name.")


def invalid_curves(records: Records, name: str, trace_name: str) -> dict[str, Trace]:
    """Return a curve of each unit of a lot whose latest run is INVALID and kept it, by serial.

    Such a run has no values, but its curves stay on record: not proved by the check at the run's end.
    """
    with records._database.reading() as connection:
        lot_key = connection.scalar(select(lot.c.lot_key).where(lot.c.lot == name))
        if lot_key is None:
            return {}
        query = (
            _query(lot_key, ())
            .join(trace, and_(trace.c.run_key == run_opened.c.run_key, trace.c.name == trace_name))
            .where(decision.c.decision == Decision.INVALID.value)
            .add_columns(trace.c.columns, trace.c.data)
        )
        rows = connection.execute(query).all()
    return {row.serial: unpack_trace(trace_name, row.columns, row.data) for row in rows}


def _query(lot_key: int, characteristics: Sequence[str]) -> Select[Any]:
    ours = case((run_opened.c.purpose == Purpose.PRODUCTION.value, run_opened.c.run_key))
    # What we measured goes before what somebody else did, however late that was brought in.
    last = (
        select(func.coalesce(func.max(ours), func.max(run_opened.c.run_key)).label("run_key"))
        .join(unit, unit.c.unit_key == run_opened.c.unit_key)
        .join(run, run.c.run_key == run_opened.c.run_key)
        .where(unit.c.lot_key == lot_key, run_opened.c.purpose.in_(_COUNTED))
        .group_by(run_opened.c.unit_key)
        .subquery()
    )
    other = decision.alias("other")
    newest = select(func.max(other.c.place)).where(other.c.run_key == last.c.run_key).correlate(last).scalar_subquery()
    query = (
        select(unit.c.serial, unit.c.panel, decision.c.decision, decision.c.reason_code)
        .add_columns(run_opened.c.bench, run_opened.c.opened_utc, run_opened.c.purpose)
        .select_from(last)
        .join(run_opened, run_opened.c.run_key == last.c.run_key)
        .join(unit, unit.c.unit_key == run_opened.c.unit_key)
        .join(decision, and_(decision.c.run_key == last.c.run_key, decision.c.place == newest))
        .order_by(unit.c.unit_key)
    )
    for number, name in enumerate(characteristics):
        one = result.alias(f"result_{number}")
        query = query.outerjoin(
            one,
            and_(
                one.c.run_key == last.c.run_key,
                one.c.characteristic == name,
                one.c.status == ResultStatus.MEASURED.value,
            ),
        ).add_columns(one.c.value, one.c.standard_uncertainty)
    return query
