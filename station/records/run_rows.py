"""Reads the rows of closed runs from the tables, many runs at a time."""

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, Table, bindparam, select

from station.records.hot import Driver, Hot
from station.records.rows import Row, RunRows
from station.records.schema import (
    budget,
    decision,
    hold,
    instrument_identity,
    lot,
    result,
    run,
    run_identity,
    run_opened,
    trace,
    transcript,
    unit,
)

# SQLite allows 32,766 parameters a statement (https://sqlite.org/limits.html); this also bounds the memory.
RUNS_AT_ONCE = 200


def read_run_rows(connection: Connection, run_ids: Sequence[str]) -> dict[str, RunRows]:
    """Return the rows of those of `run_ids` that are on record and closed.

    A run whose decision or transcript is gone comes back with those rows empty, so that a check can say so.
    """
    opened = {row["run_key"]: row for row in _rows(connection, _opened().where(run_opened.c.run_id.in_(run_ids)))}
    keys = list(opened)
    runs = _one(connection, run, keys)
    parts = _Parts(connection, keys)
    return {opened[key]["run_id"]: parts.rows_of(key, opened[key], runs[key]) for key in keys if key in runs}


def read_opened(driver: Driver, run_id: str) -> Row | None:
    """Return the row of an opened run with its unit's and lot's; `closed_utc` is None while open."""
    return _OPENED.one(driver, run_id=run_id)


def _opened() -> Select[Any]:
    places = (unit.c.serial, lot.c.lot, unit.c.panel, unit.c.row, unit.c.column)
    return select(run_opened, *places).join(unit, unit.c.unit_key == run_opened.c.unit_key).join(lot)


_OPENED = Hot(
    _opened()
    .add_columns(unit.c.lot_key, run.c.closed_utc)
    .outerjoin(run, run.c.run_key == run_opened.c.run_key)
    .where(run_opened.c.run_id == bindparam("run_id"))
)


class _Parts:
    """What belongs to a set of runs, by run key."""

    def __init__(self, connection: Connection, keys: Sequence[int]) -> None:
        first = decision.c.place == 0
        self._results = _many(connection, select(result).where(result.c.run_key.in_(keys)))
        self._decisions = _one(connection, decision, keys, first)
        self._holds = _one(connection, hold, keys)
        self._budgets = _one(connection, budget, keys)
        self._transcripts = _one(connection, transcript, keys)
        order = (trace.c.run_key, trace.c.place)
        self._traces = _many(connection, select(trace).where(trace.c.run_key.in_(keys)).order_by(*order))
        place = (run_identity.c.run_key, run_identity.c.place)
        identities = select(run_identity.c.run_key, instrument_identity).join(instrument_identity)
        wanted = run_identity.c.run_key.in_(keys)
        self._identities = _many(connection, identities.where(wanted).order_by(*place))

    def rows_of(self, key: int, opened: Row, closed: Row) -> RunRows:
        return RunRows(
            opened=_picked(opened, run_opened, "run_key", "unit_key"),
            unit={name: opened[name] for name in ("serial", "lot", "panel", "row", "column")},
            run=_picked(closed, run, "run_key"),
            results=[_picked(each, result, "run_key") for each in self._results[key]],
            decision=_picked(self._decisions.get(key), decision, "decision_key", "run_key"),
            hold=_picked(self._holds.get(key), hold, "hold_key", "unit_key", "run_key") or None,
            budget=_picked(self._budgets.get(key), budget, "run_key") or None,
            traces=[_picked(each, trace, "run_key") for each in self._traces[key]],
            transcript=_picked(self._transcripts.get(key), transcript, "run_key"),
            identities=[_picked(each, instrument_identity, "identity_key") for each in self._identities[key]],
        )


def _rows(connection: Connection, query: Select[Any]) -> list[Row]:
    return [dict(row) for row in connection.execute(query).mappings()]


def _one(connection: Connection, table: Table, keys: Sequence[int], *conditions: ColumnElement[bool]) -> dict[int, Row]:
    query = select(table).where(table.c.run_key.in_(keys), *conditions)
    return {row["run_key"]: row for row in _rows(connection, query)}


def _many(connection: Connection, query: Select[Any]) -> defaultdict[int, list[Row]]:
    by_run: defaultdict[int, list[Row]] = defaultdict(list)
    for row in _rows(connection, query):
        by_run[row["run_key"]].append(row)
    return by_run


def _picked(row: Row | None, table: Table, *keys: str) -> Row:
    """Return the columns of `table` in `row`, without the database's own `keys`."""
    return {} if row is None else {c.name: row[c.name] for c in table.columns if c.name not in keys}
