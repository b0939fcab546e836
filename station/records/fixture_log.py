"""The cleaning log of each fixture, and the contact resistances of the runs made on it."""

from sqlalchemy import Text, and_, bindparam, cast, func, select

from station.core.fixture_life import CHANGED, CLEANED, ServiceState
from station.errors import RecordError
from station.records import blobs, chain
from station.records.canonical import canonical_bytes
from station.records.database import Database, add_row
from station.records.hot import Driver, Hot
from station.records.rows import Row
from station.records.schema import chain as entries
from station.records.schema import fixture_service, run_opened, trace, unit
from station.records.stamps import clean, moment, name, stamp
from station.records.views import ContactPoint, FixtureService

_HERE = and_(fixture_service.c.bench == bindparam("bench"), fixture_service.c.nest == bindparam("nest"))
_OF_THIS = and_(_HERE, fixture_service.c.fixture_identity == bindparam("fixture_identity"))
_AT = func.max(fixture_service.c.contact_cycles)
_STATE = Hot(
    select(
        select(_AT).where(_OF_THIS, fixture_service.c.action == CLEANED).scalar_subquery().label("cleaned"),
        select(_AT).where(_OF_THIS, fixture_service.c.action == CHANGED).scalar_subquery().label("changed"),
        # A chain's numbers say which came first; two clocks might not.
        select(func.max(entries.c.seq))
        .join(fixture_service, entries.c.subject == cast(fixture_service.c.service_key, Text))
        .where(_HERE, entries.c.kind == "fixture")
        .scalar_subquery()
        .label("serviced"),
        select(entries.c.seq)
        .where(entries.c.kind == "verification", entries.c.subject == bindparam("verification_id"))
        .scalar_subquery()
        .label("verified"),
    )
)


class FixtureLog:
    """Adds to the log and reads what a fixture's life is watched by."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, done: FixtureService) -> None:
        """See `Records.add_fixture_service`."""
        if not done.who.strip() or not done.why.strip():
            raise RecordError(f"bench {done.bench}: say who serviced the fixture and why.")
        if done.action not in (CLEANED, CHANGED):
            raise RecordError(f"a fixture is {CLEANED!r} or its {CHANGED!r}; got {done.action!r}.")
        row: Row = {
            "bench": name(done.bench, "bench"),
            "nest": clean(done.nest),
            "fixture_identity": clean(done.fixture_identity),
            "action": done.action,
            "contact_cycles": int(done.contact_cycles),
            "who": clean(done.who),
            "why": clean(done.why),
            "utc": stamp(done.utc),
        }
        with self._database.writing() as connection:
            key = add_row(connection, fixture_service, row)
            content = canonical_bytes(row)
            chain.append(Driver.of(connection), self._database.key, done.bench, "fixture", str(key), content)

    def of(self, bench: str) -> tuple[FixtureService, ...]:
        """See `Records.fixture_services`."""
        query = select(fixture_service).where(fixture_service.c.bench == bench)
        with self._database.reading() as connection:
            rows = connection.execute(query.order_by(fixture_service.c.service_key)).mappings().all()
        return tuple(_view(dict(row)) for row in rows)

    def state(self, bench: str, nest: str, fixture_identity: str, verification_id: str) -> ServiceState:
        """See `Records.service_state`."""
        with self._database.looking() as driver:
            row = _STATE.one(
                driver, bench=bench, nest=nest, fixture_identity=fixture_identity, verification_id=verification_id
            )
        if row is None:
            return ServiceState()
        # Serviced and never verified: there is nothing that the service could have ended.
        since = row["serviced"] is not None and row["verified"] is not None and row["serviced"] > row["verified"]
        return ServiceState(row["cleaned"], row["changed"], since)

    def contacts(self, bench: str, nest: str | None, newest: int) -> tuple[ContactPoint, ...]:
        """See `Records.contact_points`."""
        own = (trace.c.name, trace.c.columns, trace.c.data)
        query = (
            select(*own, unit.c.serial, run_opened.c.opened_utc, run_opened.c.nest)
            .join(run_opened, run_opened.c.run_key == trace.c.run_key)
            .join(unit, unit.c.unit_key == run_opened.c.unit_key)
            .where(run_opened.c.bench == bench, trace.c.name == "contacts")
            .order_by(trace.c.run_key.desc())
            .limit(newest)
        )
        if nest is not None:
            query = query.where(run_opened.c.nest == nest)
        with self._database.reading() as connection:
            rows = connection.execute(query).mappings().all()
        return tuple(_point(dict(row)) for row in reversed(rows))


def _point(row: Row) -> ContactPoint:
    columns = dict(blobs.unpack_trace(row["name"], row["columns"], row["data"]).columns)
    try:
        cycles, resistances = int(columns["contact_cycles"][0]), columns["resistance_ohm"]
    except (KeyError, IndexError) as error:
        raise RecordError(f"the contacts of {row['serial']} on record are damaged: {error}") from error
    return ContactPoint(row["serial"], row["nest"], moment(row["opened_utc"]), cycles, resistances)


def _view(row: Row) -> FixtureService:
    del row["service_key"]
    return FixtureService(**row | {"utc": moment(row["utc"])})
