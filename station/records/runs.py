"""Runs: opened before the first contact, closed whole in one transaction, read back complete."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, Text, bindparam, delete, exists, func, insert, select

from station.core.results import Decision, Reason
from station.core.run_record import Purpose, RunOpened, RunRecord
from station.errors import RecordError
from station.records import chain
from station.records.canonical import run_bytes
from station.records.database import Database
from station.records.hot import Driver, Hot
from station.records.rows import Row, RunRows, opened_of, opened_row, record_of, rows_of, unit_row
from station.records.run_rows import read_opened, read_run_rows
from station.records.schema import (
    Key,
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
    unfinished,
    unit,
    unit_position,
)

STOPPED = Reason("station_stopped", "station stopped", "Measure the unit again.")
"""Why a run that was opened and never closed is INVALID."""

_TOLD_EVERY = 1_000

Hook = Callable[[str], None]
"""Called with the name of a point: `open_run.written`, `open_run.committed`, `close_run.begun`, ..."""


@dataclass(frozen=True, slots=True)
class _Open:
    """The keys of an opened run."""

    run_key: int
    unit_key: int
    lot_key: int


_ADD_LOT = Hot.adding(lot, returning=lot.c.lot_key)
_ADD_UNIT = Hot.adding(unit, returning=unit.c.unit_key)
_ADD_OPENED = Hot.adding(run_opened, returning=run_opened.c.run_key)
_ADD_IDENTITY = Hot.adding(instrument_identity, returning=instrument_identity.c.identity_key)
_ADD_UNFINISHED, _ADD_RUN, _ADD_RESULT, _ADD_DECISION, _ADD_HOLD, _ADD_BUDGET, _ADD_TRACE = map(
    Hot.adding, (unfinished, run, result, decision, hold, budget, trace)
)
_ADD_TRANSCRIPT, _ADD_RUN_IDENTITY = map(Hot.adding, (transcript, run_identity))
_FINISH = Hot(delete(unfinished).where(unfinished.c.run_key == bindparam("run_key")))
_RUN_KEY = Hot(select(run_opened.c.run_key).where(run_opened.c.run_id == bindparam("run_id")))
_LOT = Hot(select(lot.c.lot_key, lot.c.simulated).where(lot.c.lot == bindparam("lot")))
_UNIT = Hot(select(unit, lot.c.lot).join(lot).where(unit.c.serial == bindparam("serial")))
_IDENTITY = Hot(
    select(instrument_identity.c.identity_key).where(
        *(instrument_identity.c[name] == bindparam(name) for name in ("name", "identity", "calibration_due"))
    )
)


def _next(column: ColumnElement[int], *conditions: ColumnElement[bool]) -> ColumnElement[int]:
    return func.coalesce(select(func.max(column)).where(*conditions).scalar_subquery(), 0) + 1


_PLACES = unit_position.alias()
_OF_LOT = _PLACES.c.lot_key == bindparam("lot_key")
# Numbers a unit within its lot and its panel when it is decided for the first time.
_PLACE = Hot(
    insert(unit_position).from_select(
        ["unit_key", "lot_key", "panel", "in_lot", "in_panel"],
        select(
            bindparam("unit_key", type_=Key),
            bindparam("lot_key", type_=Key),
            bindparam("panel", type_=Text),
            _next(_PLACES.c.in_lot, _OF_LOT),
            _next(_PLACES.c.in_panel, _OF_LOT, _PLACES.c.panel == bindparam("panel", type_=Text)),
        ).where(~exists().where(_PLACES.c.unit_key == bindparam("unit_key", type_=Key))),
    )
)


class RunStore:
    """Opens, closes and reads runs."""

    def __init__(self, database: Database, *, hook: Hook) -> None:
        self._database = database
        self._hook = hook
        # Identities hardly ever change; known ones cost no query. Filled only after a commit.
        self._identity_keys: dict[tuple[Any, ...], int] = {}
        # What we opened ourselves and did not close yet, as `read_opened` would give it.
        self._opened: dict[str, Row] = {}

    def open_run(self, opened: RunOpened) -> None:
        """See `Records.open_run`."""
        row, where = opened_row(opened), unit_row(opened.unit)
        with self._database.driving() as driver:
            if opened.repeats_run_id:
                _known(driver, opened.repeats_run_id)
            if _RUN_KEY.one(driver, run_id=row["run_id"]) is not None:
                raise RecordError(f"run {opened.run_id} is on record already; a new run needs a new id.")
            lot_key = _lot_key(driver, opened)
            keys = {"unit_key": _unit_key(driver, where, lot_key), "lot_key": lot_key}
            keys["run_key"] = _ADD_OPENED.key(driver, row | keys)
            _ADD_UNFINISHED.run(driver, keys)
            self._hook("open_run.written")
        self._opened[opened.run_id] = row | where | keys | {"closed_utc": None}
        self._hook("open_run.committed")

    def close_run(self, record: RunRecord) -> int:
        """See `Records.close_run`."""
        rows = rows_of(record)
        self._hook("close_run.begun")
        found = self._opened.pop(record.opened.run_id, None)
        with self._database.driving() as driver:
            if found is None or _FINISH.changed(driver, found) == 0:
                # Opened by another process, or closed by one since.
                found = read_opened(driver, record.opened.run_id)
                _FINISH.run(driver, found or {"run_key": None})
            seq, learnt = self._close(driver, rows, found)
            self._hook("close_run.written")
        self._identity_keys.update(learnt)
        self._hook("close_run.committed")
        return seq

    def close_unfinished(self, bench: str, *, closed_utc: datetime) -> list[str]:
        """See `Records.close_unfinished`."""
        query = select(run_opened.c.run_id).join(unfinished).where(run_opened.c.bench == bench)
        with self._database.writing() as connection:
            run_ids = list(connection.scalars(query.order_by(run_opened.c.run_key)))
            driver = Driver.of(connection)
            for run_id in run_ids:
                row = read_opened(driver, run_id)
                if row is not None:
                    _FINISH.run(driver, row)
                    self._close(driver, rows_of(_stopped(opened_of(row, row), closed_utc)), row)
            self._hook("close_unfinished.written")
        return run_ids

    def add_closed(
        self,
        connection: Connection,
        records: Iterable[RunRecord],
        *,
        told: Callable[[int], object] = lambda count: None,
    ) -> int:
        """Put runs on record, opened and closed at once, within a writing transaction; return how many.

        For what was measured elsewhere (`imports`), or made for a benchmark: a bench of ours opens its runs first. Use
        a store made for it, which knows nothing that a rollback takes back. `told` is called every thousand runs.
        """
        driver, lots, count = Driver.of(connection), dict[str, int](), 0
        for count, record in enumerate(records, start=1):
            rows, name = rows_of(record), record.opened.unit.lot
            if name not in lots:
                lots[name] = _lot_key(driver, record.opened)
            keys = {"unit_key": _unit_key(driver, rows.unit, lots[name]), "lot_key": lots[name]}
            keys["run_key"] = _ADD_OPENED.key(driver, rows.opened | keys)
            _, learnt = self._close(driver, rows, rows.opened | rows.unit | keys | {"closed_utc": None})
            self._identity_keys.update(learnt)
            if count % _TOLD_EVERY == 0:
                told(count)
        return count

    def run(self, run_id: str) -> RunRecord:
        """See `Records.run`."""
        with self._database.reading() as connection:
            rows = read_run_rows(connection, [run_id]).get(run_id)
            if rows is None:
                _known(Driver.of(connection), run_id)
                raise RecordError(f"run {run_id} is not closed yet; it can be read when it has ended.")
        return record_of(rows)

    def _close(self, driver: Driver, rows: RunRows, found: Row | None) -> tuple[int, dict[tuple[Any, ...], int]]:
        """Write all rows of a closed run; return its chain number and the identities that were looked up."""
        keys = _open_keys(rows, found)
        run_key = {"run_key": keys.run_key}
        _ADD_RUN.run(driver, rows.run | run_key)
        _ADD_RESULT.run_each(driver, [row | run_key for row in rows.results])
        _ADD_DECISION.run(driver, rows.decision | run_key)
        if rows.hold is not None:
            _ADD_HOLD.run(driver, rows.hold | run_key | {"unit_key": keys.unit_key})
        if rows.budget is not None:
            _ADD_BUDGET.run(driver, rows.budget | run_key)
        _ADD_TRACE.run_each(driver, [row | run_key for row in rows.traces])
        _ADD_TRANSCRIPT.run(driver, rows.transcript | run_key)
        learnt = self._write_identities(driver, rows, keys.run_key)
        if rows.opened["purpose"] == Purpose.PRODUCTION and rows.decision["decision"] != Decision.INVALID:
            places = {"unit_key": keys.unit_key, "lot_key": keys.lot_key, "panel": rows.unit["panel"]}
            _PLACE.run(driver, places)
        bench, run_id = str(rows.opened["bench"]), str(rows.opened["run_id"])
        seq = chain.append(driver, self._database.key, bench, "run", run_id, run_bytes(rows))
        return seq, learnt

    def _write_identities(self, driver: Driver, rows: RunRows, run_key: int) -> dict[tuple[Any, ...], int]:
        learnt: dict[tuple[Any, ...], int] = {}
        links = []
        for place, row in enumerate(rows.identities):
            wanted = tuple(row.values())
            key = self._identity_keys.get(wanted) or learnt.get(wanted)
            if key is None:
                key = learnt[wanted] = _identity_key(driver, row)
            links.append({"run_key": run_key, "place": place, "identity_key": key})
        _ADD_RUN_IDENTITY.run_each(driver, links)
        return learnt


def _lot_key(driver: Driver, opened: RunOpened) -> int:
    name = opened.unit.lot
    found = _LOT.one(driver, lot=name)
    if found is None:
        return _ADD_LOT.key(driver, {"lot": name, "simulated": int(opened.simulated)})
    # Units without a lot (reference units) belong together in nothing.
    if name and bool(found["simulated"]) != opened.simulated:
        kinds = ("real", "simulated") if opened.simulated else ("simulated", "real")
        raise RecordError(
            f"lot {name}: its units on record are {kinds[0]}; a {kinds[1]} run of {opened.unit.serial} can't "
            "join them. Use another lot or another home."
        )
    return int(found["lot_key"])


def _unit_key(driver: Driver, row: Row, lot_key: int) -> int:
    found = _UNIT.one(driver, serial=row["serial"])
    if found is None:
        return _ADD_UNIT.key(driver, row | {"lot_key": lot_key})
    for name in ("lot", "panel", "row", "column"):
        if found[name] != row[name]:
            raise RecordError(
                f"unit {row['serial']} is on record with {name} {found[name]!r}, now {name} {row[name]!r}. "
                "Check the label and the serial pattern of the plan."
            )
    return int(found["unit_key"])


def _known(driver: Driver, run_id: str) -> None:
    if _RUN_KEY.one(driver, run_id=run_id) is None:
        raise RecordError(f"run {run_id} is not on record. Check the id.")


def _open_keys(rows: RunRows, found: Row | None) -> _Open:
    run_id = rows.opened["run_id"]
    if found is None:
        raise RecordError(f"run {run_id} was never opened; open it before the first contact.")
    if found["closed_utc"] is not None:
        raise RecordError(f"run {run_id} was closed at {found['closed_utc']}; a record is never changed.")
    for name, value in (rows.opened | rows.unit).items():
        if found[name] != value:
            raise RecordError(f"run {run_id}: opened with {name} {found[name]!r}, closed with {value!r}.")
    return _Open(found["run_key"], found["unit_key"], found["lot_key"])


def _identity_key(driver: Driver, row: Row) -> int:
    found = _IDENTITY.one(driver, **row)
    return _ADD_IDENTITY.key(driver, row) if found is None else int(found["identity_key"])


def _stopped(opened: RunOpened, closed_utc: datetime) -> RunRecord:
    return RunRecord(
        opened=opened,
        closed_utc=closed_utc,
        results=(),
        judgements=(),
        decision=Decision.INVALID,
        reason=STOPPED,
        bin_number=0,
        bin_name="",
        held=False,
        traces=(),
        identities=(),
        transcript=(),
        drive_off_verified=False,
        verification_id="",
    )
