"""A lot as one wide table, a row a run, read piece by piece: what exports are made of."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Select, and_, func, select

from station.core.run_record import Purpose
from station.errors import RecordError
from station.records.database import Database
from station.records.export_columns import FIXED, characteristic_columns
from station.records.rows import Row
from station.records.run_rows import RUNS_AT_ONCE
from station.records.schema import decision, hold, lot, placing, result, run, run_opened, unit
from station.records.views import ExportColumn, LotRows


@contextmanager
def lot_rows(
    database: Database, name: str, *, every_run: bool, with_u: bool = False
) -> Iterator[LotRows]:
    """See `Records.lot_rows`."""
    with database.reading() as connection:
        lot_key = connection.scalar(select(lot.c.lot_key).where(lot.c.lot == name))
        if lot_key is None:
            raise RecordError(f"lot {name!r} is not on record. List the lots (coilgate lot show), or check the name.")
        keys = list(connection.scalars(_run_keys(lot_key, every_run)))
        measured = _characteristics(connection, lot_key)
        columns = FIXED + tuple(column for each in measured for column in characteristic_columns(*each, with_u=with_u))
        yield LotRows(columns, _rows(connection, keys, measured, with_u))


def _run_keys(lot_key: int, every_run: bool) -> Select[Any]:
    """Closed runs in order of opening: all, or of each unit the latest production run."""
    column = run_opened.c.run_key if every_run else func.max(run_opened.c.run_key).label("run_key")
    joined = run_opened.join(unit, unit.c.unit_key == run_opened.c.unit_key).join(
        run, run.c.run_key == run_opened.c.run_key
    )
    query = select(column).select_from(joined).where(unit.c.lot_key == lot_key)
    if not every_run:
        query = query.where(run_opened.c.purpose == Purpose.PRODUCTION.value).group_by(run_opened.c.unit_key)
    return query.order_by("run_key")


def _characteristics(connection: Connection, lot_key: int) -> list[tuple[str, str]]:
    query = (
        select(result.c.characteristic, result.c.unit_symbol)
        .join(run_opened, run_opened.c.run_key == result.c.run_key)
        .join(unit, unit.c.unit_key == run_opened.c.unit_key)
        .where(unit.c.lot_key == lot_key, result.c.unit_symbol.is_not(None))
        .distinct()
        .order_by(result.c.characteristic, result.c.unit_symbol)
    )
    return [(row.characteristic, row.unit_symbol) for row in connection.execute(query)]


def _rows(
    connection: Connection, keys: Sequence[int], measured: Sequence[tuple[str, str]], with_u: bool
) -> Iterator[tuple[Any, ...]]:
    for start in range(0, len(keys), RUNS_AT_ONCE):
        some = keys[start : start + RUNS_AT_ONCE]
        results: dict[tuple[int, str, str], tuple[Any, ...]] = {
            (row.run_key, row.characteristic, row.unit_symbol): (
                row.value,
                row.expanded_uncertainty,
                row.judgement,
                *((row.standard_uncertainty, row.degrees_of_freedom) if with_u else ()),
            )
            for row in connection.execute(select(result).where(result.c.run_key.in_(some)))
        }
        nothing = (None,) * (5 if with_u else 3)
        for row in connection.execute(_runs(some)).mappings():
            plain = dict(row)
            cells = [_cell(plain, column) for column in FIXED]
            for each in measured:
                cells.extend(results.get((row["run_key"], *each), nothing))
            yield tuple(cells)


def _runs(keys: Sequence[int]) -> Select[Any]:
    newest = (
        select(decision.c.run_key, func.max(decision.c.place).label("place"))
        .where(decision.c.run_key.in_(keys))
        .group_by(decision.c.run_key)
        .subquery()
    )
    # What counts is whether the unit is held now.
    last_hold = select(hold.c.held).where(hold.c.unit_key == unit.c.unit_key).order_by(hold.c.hold_key.desc())
    # Where it lies now; no tray: taken out.
    other = placing.alias()
    last_placing = select(func.max(other.c.placing_key)).where(other.c.unit_key == unit.c.unit_key).scalar_subquery()
    own = [c for c in decision.c if c.name not in {"run_key", "plan_hash", "held"}]
    return (
        select(run_opened, unit.c.serial, unit.c.panel, unit.c.row, unit.c.column, lot.c.lot)
        .add_columns(run.c.closed_utc, run.c.verification_id, *own)
        .add_columns(func.coalesce(last_hold.limit(1).scalar_subquery(), 0).label("held"))
        .add_columns(func.nullif(placing.c.tray, "").label("tray"), func.nullif(placing.c.pocket, 0).label("pocket"))
        .join(unit, unit.c.unit_key == run_opened.c.unit_key)
        .join(lot, lot.c.lot_key == unit.c.lot_key)
        .outerjoin(placing, placing.c.placing_key == last_placing)
        .join(run, run.c.run_key == run_opened.c.run_key)
        .join(newest, newest.c.run_key == run_opened.c.run_key)
        .join(decision, and_(decision.c.run_key == newest.c.run_key, decision.c.place == newest.c.place))
        .order_by(run_opened.c.run_key)
    )


def _cell(row: Row, column: ExportColumn) -> Any:
    value = row[column.name]
    return bool(value) if column.kind == "flag" else value
