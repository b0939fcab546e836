"""Lots: how many units are what, the values of a characteristic, and how far a lot has come."""

from collections import Counter
from collections.abc import Sequence

from sqlalchemy import ColumnElement, ScalarSelect, Subquery, bindparam, func, select
from sqlalchemy import Row as DatabaseRow

from station.core.results import Decision, ResultStatus
from station.core.run_record import Purpose
from station.errors import RecordError
from station.records.database import Database
from station.records.hot import Driver, Hot
from station.records.lot_decisions import LotDecisions, lot_decisions
from station.records.schema import decision, lot, result, run_opened, unit, unit_position
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
            decided = lot_decisions(Driver.of(connection), found.lot_key)
        return _summary(found, decided)

    def values(self, name: str, characteristic: str, purpose: Purpose) -> LotValues:
        """See `Records.lot_values`."""
        with self._database.reading() as connection:
            lot_key = connection.scalar(select(lot.c.lot_key).where(lot.c.lot == name))
            if lot_key is None:
                raise _unknown(name)
            last = _measured_runs(lot_key, characteristic, purpose)
            query = (
                select(unit.c.serial, unit.c.panel, unit.c.row, unit.c.column, _final(last.c.run_key))
                .add_columns(result.c.value, result.c.expanded_uncertainty, result.c.unit_symbol)
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
    return RecordError(f"lot {name!r} is not on record. List the lots (coilgate lot show), or check the name.")


def _summary(found: DatabaseRow, decided: LotDecisions) -> LotSummary:
    latest = decided.latest
    counts = Counter(each.decision for each in latest.values())
    bins = Counter((each.bin_number, each.bin_name) for each in latest.values())
    judged = counts[Decision.PASS] + counts[Decision.FAIL]
    return LotSummary(
        lot=found.lot,
        simulated=bool(found.simulated),
        units=len(latest),
        passed=counts[Decision.PASS],
        failed=counts[Decision.FAIL],
        invalid=counts[Decision.INVALID],
        held=len(decided.held & latest.keys()),
        yield_fraction=counts[Decision.PASS] / judged if judged else None,
        first_pass_fraction=decided.first_passed / len(latest) if latest else None,
        runs=decided.runs,
        bins=tuple(BinCount(number, words, count) for (number, words), count in sorted(bins.items())),
        conceded=sum(each.conceded and each.unit_key not in decided.held for each in latest.values()),
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

    # Column by column: with 100,000 rows each look into a row by name costs more than the query.
    columns = list(zip(*rows, strict=True)) if rows else [()] * 8
    serials, panels, places, across, decisions, values, uncertainties, units = columns
    return LotValues(
        lot=name,
        characteristic=characteristic,
        unit_symbol=units[-1] if units else "",
        serials=serials,
        panels=panels,
        rows=places,
        columns=across,
        decisions=decisions,
        values=np.array(values, dtype=np.float64),
        # None becomes NaN.
        expanded_uncertainties=np.array(uncertainties, dtype=np.float64),
    )
