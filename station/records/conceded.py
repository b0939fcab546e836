"""Which units of a lot are accepted by concession or deviation permit now."""

from typing import TYPE_CHECKING, Any

from sqlalchemy import Select, Subquery, and_, func, select

from station.core.results import Decision
from station.core.run_record import Purpose
from station.errors import RecordError
from station.records.schema import decision, hold, lot, run_opened, unit

if TYPE_CHECKING:
    from station.records.repository import Records


def conceded(records: "Records", name: str) -> dict[str, str]:
    """Return the units of a lot that are accepted by concession now: serial to number.

    By the latest decision on the latest closed production run; a unit that is held is not accepted.
    """
    with records._database.reading() as connection:
        lot_key = connection.scalar(select(lot.c.lot_key).where(lot.c.lot == name))
        if lot_key is None:
            raise RecordError(f"lot {name!r} is not on record. List the lots (coilgate lot show), or check the name.")
        rows = connection.execute(conceded_query(lot_key)).all()
    return {row.serial: row.concession for row in rows}


def conceded_query(lot_key: int) -> Select[Any]:
    """Serial, concession and unit of those of a lot that are accepted by concession and not held."""
    latest = _latest_decisions(lot_key)
    last_hold = select(hold.c.held).where(hold.c.unit_key == unit.c.unit_key).order_by(hold.c.hold_key.desc())
    return (
        select(unit.c.serial, decision.c.concession)
        .select_from(latest)
        .join(decision, and_(decision.c.run_key == latest.c.run_key, decision.c.place == latest.c.place))
        .join(run_opened, run_opened.c.run_key == latest.c.run_key)
        .join(unit, unit.c.unit_key == run_opened.c.unit_key)
        .where(decision.c.concession != "", decision.c.decision == Decision.FAIL.value)
        .where(func.coalesce(last_hold.limit(1).scalar_subquery(), 0) == 0)
        .order_by(unit.c.unit_key)
    )


def _latest_decisions(lot_key: int) -> Subquery:
    runs = (
        select(func.max(run_opened.c.run_key).label("run_key"))
        .join(unit, unit.c.unit_key == run_opened.c.unit_key)
        .where(unit.c.lot_key == lot_key, run_opened.c.purpose == Purpose.PRODUCTION.value)
        .group_by(run_opened.c.unit_key)
        .subquery()
    )
    return (
        select(decision.c.run_key, func.max(decision.c.place).label("place"))
        .join(runs, runs.c.run_key == decision.c.run_key)
        .group_by(decision.c.run_key)
        .subquery()
    )
