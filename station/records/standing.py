"""Where the units of a lot stand now: what matched sets, limits and the reasons of failure start from."""

from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, Subquery, and_, func, select

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


@dataclass(frozen=True, slots=True)
class ReasonCount:
    """How many units of a lot are FAIL or INVALID for a reason, by the latest decision on their latest run."""

    decision: Decision
    code: str
    units: int


def lot_standing(records: Records, name: str) -> LotStanding:
    """Return where the units of lot `name` stand. Raises RecordError for an unknown lot."""
    # The package's own door: a caller outside sees `Records` only.
    with records._database.reading() as connection:
        lot_key, simulated = _lot(connection, name)
        latest = _latest_runs(lot_key)
        passed = frozenset(
            connection.scalars(_decided(latest, unit.c.serial).where(decision.c.decision == Decision.PASS.value))
        )
        held = frozenset(connection.scalars(_held(lot_key)))
        last = select(func.max(latest.c.run_key)).scalar_subquery()
        plan_hash = connection.scalar(select(run_opened.c.plan_hash).where(run_opened.c.run_key == last)) or ""
    return LotStanding(name, simulated, passed - held, held, plan_hash)


def lot_reasons(records: Records, name: str) -> tuple[ReasonCount, ...]:
    """Return the reasons of a lot's units that are not PASS. Raises RecordError for an unknown lot."""
    with records._database.reading() as connection:
        lot_key, _ = _lot(connection, name)
        columns = (decision.c.decision, decision.c.reason_code)
        query = (
            _decided(_latest_runs(lot_key), *columns, func.count())
            .where(decision.c.decision != Decision.PASS.value)
            .group_by(*columns)
            .order_by(*columns)
        )
        rows = connection.execute(query).all()
    return tuple(ReasonCount(Decision(word), code or "", units) for word, code, units in rows)


def _lot(connection: Connection, name: str) -> tuple[int, bool]:
    found = connection.execute(select(lot).where(lot.c.lot == name)).one_or_none()
    if found is None:
        raise RecordError(f"lot {name!r} is not on record. List the lots (coilgate lot show), or check the name.")
    return found.lot_key, bool(found.simulated)


def _latest_runs(lot_key: int) -> Subquery:
    """The latest production run of each unit, closed or not: while it is open the unit has no decision."""
    return (
        select(func.max(run_opened.c.run_key).label("run_key"))
        .join(unit, unit.c.unit_key == run_opened.c.unit_key)
        .where(unit.c.lot_key == lot_key, run_opened.c.purpose == Purpose.PRODUCTION.value)
        .group_by(run_opened.c.unit_key)
        .subquery()
    )


def _decided(latest: Subquery, *columns: ColumnElement[Any]) -> Select[Any]:
    places = (
        select(decision.c.run_key, func.max(decision.c.place).label("place"))
        .join(latest, latest.c.run_key == decision.c.run_key)
        .group_by(decision.c.run_key)
        .subquery()
    )
    same = and_(places.c.run_key == decision.c.run_key, places.c.place == decision.c.place)
    return (
        select(*columns)
        .select_from(decision)
        .join(places, same)
        .join(run_opened, run_opened.c.run_key == decision.c.run_key)
        .join(unit, unit.c.unit_key == run_opened.c.unit_key)
    )


def _held(lot_key: int) -> Select[Any]:
    newest = (
        select(func.max(hold.c.hold_key).label("hold_key"))
        .join(unit, unit.c.unit_key == hold.c.unit_key)
        .where(unit.c.lot_key == lot_key)
        .group_by(hold.c.unit_key)
        .subquery()
    )
    return (
        select(unit.c.serial)
        .join(hold, hold.c.unit_key == unit.c.unit_key)
        .join(newest, newest.c.hold_key == hold.c.hold_key)
        .where(hold.c.held == 1)
    )
