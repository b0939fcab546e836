"""Lots: how many units are what, the values of a characteristic, and how far a lot has come."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import ColumnElement, ScalarSelect, Select, Subquery, bindparam, func, select
from sqlalchemy import Row as DatabaseRow

from station.core.results import Decision, ResultStatus
from station.core.run_record import Purpose
from station.errors import RecordError
from station.records.conceded import conceded_query
from station.records.database import Database
from station.records.hot import Hot
from station.records.schema import decision, hold, lot, result, run_opened, unit, unit_position
from station.records.views import BinCount, LotSummary, LotValues

_PLACES = unit_position.c
_OWN_PLACE = Hot(
    select(_PLACES.in_lot, _PLACES.in_panel)
    .join(unit, unit.c.unit_key == _PLACES.unit_key)
    .where(unit.c.serial == bindparam("serial"))
)
_OF_LOT = _PLACES.lot_key == select(lot.c.lot_key).where(lot.c.lot == bindparam("lot")).scalar_subquery()
_LAST_PLACES = Hot(
    select(
        select(func.max(_PLACES.in_lot)).where(_OF_LOT).scalar_subquery().label("in_lot"),
        select(func.max(_PLACES.in_panel))
        .where(_OF_LOT, _PLACES.panel == bindparam("panel"))
        .scalar_subquery()
        .label("in_panel"),
    )
)


class LotStore:
    """Reads lots."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def lots(self) -> tuple[str, ...]:
        """See `Records.lots`."""
        with self._database.reading() as connection:
            return tuple(connection.scalars(select(lot.c.lot).where(lot.c.lot != "").order_by(lot.c.lot)))

    def summary(self, name: str) -> LotSummary:
        """See `Records.lot_summary`."""
        with self._database.reading() as connection:
            found = connection.execute(select(lot).where(lot.c.lot == name)).one_or_none()
            if found is None:
                raise _unknown(name)
            decided = _decisions(found.lot_key)
            newest = connection.execute(_by_bin(decided)).all()
            first_passed = connection.scalar(
                select(func.count())
                .select_from(decided)
                .where(decided.c.first == 1, decided.c.decision == Decision.PASS.value)
            )
            runs = connection.scalar(select(func.count(decided.c.run_key.distinct())))
            held = connection.scalar(_held_units(found.lot_key, decided))
            conceded = len(connection.execute(conceded_query(found.lot_key)).all())
        counts = _summary(found, newest, first_passed=first_passed or 0, runs=runs or 0, held=held or 0)
        return replace(counts, conceded=conceded)

    def values(self, name: str, characteristic: str, purpose: Purpose) -> LotValues:
        """See `Records.lot_values`."""
        with self._database.reading() as connection:
            lot_key = connection.scalar(select(lot.c.lot_key).where(lot.c.lot == name))
            if lot_key is None:
                raise _unknown(name)
            last = _measured_runs(lot_key, characteristic, purpose)
            query = (
                select(unit, result.c.value, result.c.expanded_uncertainty, result.c.unit_symbol)
                .add_columns(_final(last.c.run_key).label("decision"))
                .select_from(last)
                .join(unit, unit.c.unit_key == last.c.unit_key)
                .join(result, result.c.run_key == last.c.run_key)
                .where(result.c.characteristic == characteristic)
                .order_by(unit.c.unit_key)
            )
            rows = connection.execute(query).all()
        return _values(name, characteristic, rows)

    def positions(self, name: str, panel: str, serial: str) -> tuple[int, int]:
        """See `Records.positions`."""
        with self._database.looking() as driver:
            found = _OWN_PLACE.one(driver, serial=serial) if serial else None
            if found is not None:
                return found["in_lot"] - 1, found["in_panel"] - 1
            last = _LAST_PLACES.one(driver, lot=name, panel=panel) or {}
        return last.get("in_lot") or 0, last.get("in_panel") or 0


def _unknown(name: str) -> RecordError:
    return RecordError(f"lot {name!r} is not on record. List the lots, or check the name.")


def _decisions(lot_key: int) -> Subquery:
    """Every production decision of a lot; `last` is 1 for the one that counts, `first` for a unit's first."""
    ways = {"last": (run_opened.c.run_key.desc(), decision.c.place.desc()),
            "first": (run_opened.c.run_key, decision.c.place)}  # fmt: skip
    ranks = [
        func.row_number().over(partition_by=run_opened.c.unit_key, order_by=order).label(label)
        for label, order in ways.items()
    ]
    return (
        select(unit.c.unit_key, run_opened.c.run_key, decision.c.decision, decision.c.bin_number)
        .add_columns(decision.c.bin_name, *ranks)
        .select_from(unit)
        .join(run_opened, run_opened.c.unit_key == unit.c.unit_key)
        .join(decision, decision.c.run_key == run_opened.c.run_key)
        .where(unit.c.lot_key == lot_key, run_opened.c.purpose == Purpose.PRODUCTION.value)
        .subquery()
    )


def _by_bin(decided: Subquery) -> Select[Any]:
    columns = (decided.c.decision, decided.c.bin_number, decided.c.bin_name)
    query = select(*columns, func.count().label("units")).where(decided.c.last == 1)
    return query.group_by(*columns).order_by(*columns)


def _held_units(lot_key: int, decided: Subquery) -> Select[Any]:
    newest = (
        select(hold.c.unit_key, func.max(hold.c.hold_key).label("hold_key"))
        .join(unit, unit.c.unit_key == hold.c.unit_key)
        .where(unit.c.lot_key == lot_key)
        .group_by(hold.c.unit_key)
        .subquery()
    )
    counted = select(decided.c.unit_key).where(decided.c.last == 1)
    return (
        select(func.count())
        .select_from(newest)
        .join(hold, hold.c.hold_key == newest.c.hold_key)
        .where(hold.c.held == 1, newest.c.unit_key.in_(counted))
    )


def _summary(
    found: DatabaseRow, newest: Sequence[DatabaseRow], *, first_passed: int, runs: int, held: int
) -> LotSummary:
    counts = {each: sum(row.units for row in newest if row.decision == each) for each in Decision}
    bins: dict[tuple[int, str], int] = {}
    for row in newest:
        bins[row.bin_number, row.bin_name] = bins.get((row.bin_number, row.bin_name), 0) + row.units
    units = sum(counts.values())
    judged = counts[Decision.PASS] + counts[Decision.FAIL]
    return LotSummary(
        lot=found.lot,
        simulated=bool(found.simulated),
        units=units,
        passed=counts[Decision.PASS],
        failed=counts[Decision.FAIL],
        invalid=counts[Decision.INVALID],
        held=held,
        yield_fraction=counts[Decision.PASS] / judged if judged else None,
        first_pass_fraction=first_passed / units if units else None,
        runs=runs,
        bins=tuple(BinCount(number, words, count) for (number, words), count in sorted(bins.items())),
    )


def _measured_runs(lot_key: int, characteristic: str, purpose: Purpose) -> Subquery:
    """The last run of a purpose of each unit of a lot that measured a characteristic."""
    return (
        select(run_opened.c.unit_key, func.max(run_opened.c.run_key).label("run_key"))
        .join(unit, unit.c.unit_key == run_opened.c.unit_key)
        .join(result, result.c.run_key == run_opened.c.run_key)
        .where(
            unit.c.lot_key == lot_key,
            run_opened.c.purpose == purpose.value,
            result.c.characteristic == characteristic,
            result.c.status == ResultStatus.MEASURED.value,
        )
        .group_by(run_opened.c.unit_key)
        .subquery()
    )


def _final(run_key: ColumnElement[int]) -> ScalarSelect[str]:
    """The latest decision on a run."""
    newest = select(decision.c.decision).where(decision.c.run_key == run_key)
    return newest.order_by(decision.c.place.desc()).limit(1).scalar_subquery()


def _values(name: str, characteristic: str, rows: Sequence[DatabaseRow]) -> LotValues:
    import numpy as np  # 70 ms that nobody pays who only opens and closes runs

    uncertainties = [np.nan if row.expanded_uncertainty is None else row.expanded_uncertainty for row in rows]
    return LotValues(
        lot=name,
        characteristic=characteristic,
        unit_symbol=rows[-1].unit_symbol if rows else "",
        serials=tuple(row.serial for row in rows),
        panels=tuple(row.panel for row in rows),
        rows=tuple(row.row for row in rows),
        columns=tuple(row.column for row in rows),
        decisions=tuple(row.decision for row in rows),
        values=np.array([row.value for row in rows], dtype=np.float64),
        expanded_uncertainties=np.array([np.nan if u is None else u for u in uncertainties], dtype=np.float64),
    )
