"""Units: their runs, where they stand, whether they are held."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, and_, bindparam, func, select

from station.core.reasons import ABOUT_THE_SEAT
from station.core.results import Decision, ResultStatus
from station.core.run_record import Purpose, UnitId
from station.errors import RecordError
from station.records import chain
from station.records.canonical import canonical_bytes
from station.records.database import Database, add_row
from station.records.hot import Driver, Hot
from station.records.rows import Row, reason_of
from station.records.schema import decision, hold, lot, result, run, run_opened, unit
from station.records.stamps import clean, moment, name, stamp
from station.records.views import HeldUnit, LastMeasured, RunSummary, UnitState

RETEST_CHARACTERISTICS = ("R20", "L")


class UnitStore:
    """Finds what is on record of one unit, holds it and releases it."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def runs_of(self, serial: str) -> list[RunSummary]:
        """See `Records.runs_of`."""
        with self._database.reading() as connection:
            return [_summary(row) for row in _run_rows(connection, serial)]

    def state(self, serial: str, *, characteristics: Sequence[str]) -> UnitState | None:
        """See `Records.unit_state`."""
        with self._database.looking() as driver:
            found = _WHERE_IS.one(driver, serial=serial)
        if found is None:  # nearly always: most scans are of a unit's first time
            return None
        place = UnitId(*(found[each] for each in ("serial", "lot", "panel", "row", "column")))
        with self._database.reading() as connection:
            held, released_utc = _held(connection, found["unit_key"])
            measured = _last_measured(connection, found["unit_key"], characteristics)
            rows = [row for row in _run_rows(connection, serial) if _counts(row)]
        return _state(place, rows, held, released_utc, measured)

    def recent(self, bench: str, *, since_utc: datetime, limit: int) -> list[RunSummary]:
        """See `Records.recent_runs`."""
        query = (
            _run_query()
            .where(run_opened.c.bench == bench, run_opened.c.opened_utc >= stamp(since_utc))
            .where(run_opened.c.purpose == Purpose.PRODUCTION.value, decision.c.decision.is_not(None))
            .order_by(run_opened.c.run_key.desc())
            .limit(limit)
        )
        with self._database.reading() as connection:
            return [_summary(dict(row)) for row in connection.execute(query).mappings()][::-1]

    def held(self) -> tuple[HeldUnit, ...]:
        """See `Records.held_units`."""
        newest = select(func.max(hold.c.hold_key)).group_by(hold.c.unit_key)
        query = (
            select(unit.c.serial, lot.c.lot, hold.c.reason_code, hold.c.who, hold.c.why, hold.c.utc)
            .select_from(hold.join(unit, unit.c.unit_key == hold.c.unit_key).join(lot))
            .where(hold.c.hold_key.in_(newest), hold.c.held == 1)
            .order_by(hold.c.hold_key)
        )
        with self._database.reading() as connection:
            rows = connection.execute(query).all()
        return tuple(HeldUnit(*row[:-1], utc=moment(row.utc)) for row in rows)

    def is_held(self, serial: str) -> bool:
        """See `Records.is_held`."""
        with self._database.reading() as connection:
            return _held(connection, _unit_key(connection, serial, missing=0))[0]

    def set_held(self, serial: str, held: bool, *, reason_code: str, who: str, why: str, utc: datetime) -> None:
        """See `Records.hold` and `Records.release_held`."""
        if not who.strip() or not why.strip():
            raise RecordError(f"unit {serial}: say who decides and why.")
        row = hold_row(held=held, reason_code=reason_code, who=who, why=why, utc=utc)
        with self._database.writing() as connection:
            if not hold_unit(connection, self._database.key, serial, row):
                raise RecordError(f"unit {serial} is {'held already' if held else 'not held'}.")


def hold_row(*, held: bool, reason_code: str, who: str, why: str, utc: datetime) -> Row:
    """Return the row of table `hold`, without the keys of unit and run."""
    return {
        "held": int(held),
        "reason_code": name(reason_code, "reason code"),
        "who": clean(who),
        "why": clean(why),
        "utc": stamp(utc),
    }


def hold_unit(connection: Connection, secret: bytes, serial: str, row: Row) -> bool:
    """Hold or release a unit as `row` says, in the station's chain; False if it is so already.

    Raises:
        RecordError: unknown unit.
    """
    key = _unit_key(connection, serial)
    if _held(connection, key)[0] == bool(row["held"]):
        return False
    entry = add_row(connection, hold, row | {"unit_key": key})
    content = canonical_bytes(row | {"serial": serial})
    chain.append(Driver.of(connection), secret, chain.STATION, "hold", str(entry), content)
    return True


_WHERE_IS = Hot(select(unit, lot.c.lot).join(lot).where(unit.c.serial == bindparam("serial")))


def _unit_key(connection: Connection, serial: str, *, missing: int | None = None) -> int:
    key = connection.scalar(select(unit.c.unit_key).where(unit.c.serial == serial))
    if key is None and missing is None:
        raise RecordError(f"unit {serial} is not on record. Check the serial.")
    return int(key or missing or 0)


def _held(connection: Connection, unit_key: int) -> tuple[bool, str]:
    """Return whether the unit is held, and when it was last released (empty: never)."""
    query = select(hold.c.held, hold.c.utc).where(hold.c.unit_key == unit_key).order_by(hold.c.hold_key)
    rows = connection.execute(query).all()
    released = [row.utc for row in rows if not row.held]
    return bool(rows and rows[-1].held), released[-1] if released else ""


def _run_rows(connection: Connection, serial: str) -> list[Row]:
    """Return every run of a unit in order of opening, with its latest decision, if any."""
    query = _run_query().where(unit.c.serial == serial).order_by(run_opened.c.run_key)
    return [dict(row) for row in connection.execute(query).mappings()]


def _run_query() -> Select[Any]:
    """Runs with unit, lot and their latest decision, if any."""
    later = decision.alias()
    newest = select(func.max(later.c.place)).where(later.c.run_key == run_opened.c.run_key).scalar_subquery()
    own = [c for c in decision.c if c.name not in {"run_key", "plan_hash"}]
    return (
        select(run_opened, unit.c.serial, lot.c.lot, run.c.closed_utc, *own)
        .join(unit, unit.c.unit_key == run_opened.c.unit_key)
        .join(lot)
        .outerjoin(run, run.c.run_key == run_opened.c.run_key)
        .outerjoin(decision, and_(decision.c.run_key == run_opened.c.run_key, decision.c.place == newest))
    )


def _counts(row: Row) -> bool:
    return row["purpose"] == Purpose.PRODUCTION and row["decision"] is not None


def _summary(row: Row) -> RunSummary:
    names = ("run_id", "serial", "lot", "part", "plan_hash", "bench", "nest", "operator", "repeats_run_id")
    closed = row["closed_utc"]
    return RunSummary(
        **{key: row[key] for key in names},
        purpose=Purpose(row["purpose"]),
        simulated=bool(row["simulated"]),
        opened_utc=moment(row["opened_utc"]),
        closed_utc=None if closed is None else moment(closed),
        decision=None if row["decision"] is None else Decision(row["decision"]),
        reason=reason_of(row, "reason"),
        bin_number=row["bin_number"],
        bin_name=row["bin_name"] or "",
        held=bool(row["held"]),
        concession=row["concession"] or "",
    )


def _state(
    place: UnitId, rows: list[Row], held: bool, released_utc: str, measured: tuple[LastMeasured, ...]
) -> UnitState:
    last = rows[-1] if rows else None
    decided = [row for row in rows if row["decision"] != Decision.INVALID]
    after = rows[rows.index(decided[-1]) + 1 :] if decided else rows
    return UnitState(
        unit=place,
        run_id=last["run_id"] if last else "",
        decision=Decision(last["decision"]) if last else None,
        reason=reason_of(last, "reason") if last else None,
        bin_number=last["bin_number"] if last else None,
        bin_name=last["bin_name"] if last else "",
        plan_hash=last["plan_hash"] if last else "",
        decided=Decision(decided[-1]["decision"]) if decided else None,
        decided_run_id=decided[-1]["run_id"] if decided else "",
        held=held,
        invalid_runs=sum(row["reason_code"] in ABOUT_THE_SEAT and row["decided_utc"] > released_utc for row in after),
        measured=measured,
        concession=last["concession"] if last else "",
    )


def _last_measured(connection: Connection, unit_key: int, characteristics: Sequence[str]) -> tuple[LastMeasured, ...]:
    query = (
        select(result, run_opened.c.run_id)
        .join(run_opened, run_opened.c.run_key == result.c.run_key)
        .where(
            run_opened.c.unit_key == unit_key,
            run_opened.c.purpose == Purpose.PRODUCTION.value,
            result.c.characteristic.in_(characteristics),
            result.c.status == ResultStatus.MEASURED.value,
        )
        .order_by(result.c.run_key)
    )
    last = {row.characteristic: row for row in connection.execute(query)}
    return tuple(
        LastMeasured(row.characteristic, row.value, row.expanded_uncertainty, row.unit_symbol, row.run_id)
        for row in last.values()
    )
