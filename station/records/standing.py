"""Where the units of a lot stand now, in one query: what matched sets and limits start from."""

from dataclasses import dataclass

from sqlalchemy import and_, func, select

from station.core.results import Decision
from station.core.run_record import Purpose
from station.errors import RecordError
from station.records.repository import Records
from station.records.schema import decision, hold, lot, run_opened, unit


@dataclass(frozen=True, slots=True)
class LotStanding:
    """A lot's units by serial, as of now."""

    lot: str
    simulated: bool
    passed: frozenset[str]
    """Latest decision on the latest production run is PASS, and not held."""
    held: frozenset[str]
    plan_hash: str
    """Of the lot's latest production run; empty if it has none."""


def lot_standing(records: Records, name: str) -> LotStanding:
    """Return where the units of lot `name` stand. Raises RecordError for an unknown lot."""
    # The package's own: a caller outside sees `Records` only.
    with records._database.reading() as connection:
        found = connection.execute(select(lot).where(lot.c.lot == name)).one_or_none()
        if found is None:
            raise RecordError(f"lot {name!r} is not on record. List the lots, or check the name.")
        latest_run = (
            select(func.max(run_opened.c.run_key).label("run_key"))
            .join(unit, unit.c.unit_key == run_opened.c.unit_key)
            .where(unit.c.lot_key == found.lot_key, run_opened.c.purpose == Purpose.PRODUCTION.value)
            .group_by(run_opened.c.unit_key)
            .subquery()
        )
        latest_place = (
            select(decision.c.run_key, func.max(decision.c.place).label("place"))
            .join(latest_run, latest_run.c.run_key == decision.c.run_key)
            .group_by(decision.c.run_key)
            .subquery()
        )
        decided = (
            select(unit.c.serial)
            .join(run_opened, run_opened.c.unit_key == unit.c.unit_key)
            .join(decision, decision.c.run_key == run_opened.c.run_key)
            .join(
                latest_place,
                and_(latest_place.c.run_key == decision.c.run_key, latest_place.c.place == decision.c.place),
            )
            .where(decision.c.decision == Decision.PASS.value)
        )
        passed = frozenset(connection.scalars(decided))
        newest_hold = (
            select(func.max(hold.c.hold_key).label("hold_key"))
            .join(unit, unit.c.unit_key == hold.c.unit_key)
            .where(unit.c.lot_key == found.lot_key)
            .group_by(hold.c.unit_key)
            .subquery()
        )
        held = frozenset(
            connection.scalars(
                select(unit.c.serial)
                .join(hold, hold.c.unit_key == unit.c.unit_key)
                .join(newest_hold, newest_hold.c.hold_key == hold.c.hold_key)
                .where(hold.c.held == 1)
            )
        )
        last = select(func.max(latest_run.c.run_key)).scalar_subquery()
        plan_hash = connection.scalar(select(run_opened.c.plan_hash).where(run_opened.c.run_key == last)) or ""
    return LotStanding(name, bool(found.simulated), passed - held, held, plan_hash)
