"""Equipment: the bench that is open, its instruments, its fixture's life, and its verifications over time."""

from collections.abc import Sequence

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from station.app.accounts import Role
from station.app.drift import series_of
from station.app.fixture import contact_trends
from station.app.study_records import READINGS as STUDY_READINGS
from station.core.equipment import Bench
from station.core.fixture_life import FixtureLife, fixture_life
from station.errors import RecordError
from station.pages.equipment_charts import SeriesDrawing, contact_drawings, series_drawings
from station.pages.site import later, needs, page, session_of, site_of
from station.records import ContactPoint, Records


@needs(None)
async def equipment(request: Request) -> Response:
    """Bench, instruments, verifications, and, for engineers, the audit trail."""
    site = site_of(request)
    records, bench = site.workplace.station.records, site.workplace.shown.bench
    session = session_of(request)
    verifications = await later(records.verifications, bench.name) if bench else ()
    audit = await later(records.audit_entries) if session and session.role.includes(Role.ENGINEER) else ()
    points = await later(lambda: records.contact_points(bench.name, nest=bench.nest)) if bench else ()
    done = await later(records.fixture_services, bench.name) if bench else ()
    services = [each for each in done if bench and each.nest == bench.nest]
    identity = verifications[-1].fixture_identity if verifications else ""
    return page(
        request,
        "equipment.html",
        bench=bench,
        bench_file=request.app.state.bench_file,
        verifications=tuple(reversed(verifications))[:100],
        last_values=await later(records.verification_values, verifications[-1].verification_id)
        if verifications
        else (),
        series=await later(_series, records, bench.name) if verifications and bench else [],
        contacts=await later(contact_drawings, points),
        trends=await later(contact_trends, points, services),
        services=services,
        cycles=points[-1].contact_cycles if points else 0,
        fixture_identity=identity,
        life=await later(_life, records, bench, identity, points) if bench else None,
        audit=tuple(each for each in reversed(audit) if each.action not in STUDY_READINGS)[:200],
    )


def _series(records: Records, bench: str) -> list[SeriesDrawing]:
    try:
        return series_drawings(series_of(records, bench))
    except RecordError:
        return []  # a verification that was broken off has no values


def _life(records: Records, bench: Bench, identity: str, points: Sequence[ContactPoint]) -> FixtureLife:
    service = records.service_state(bench.name, bench.nest, identity)
    return fixture_life(bench.fixture, service, points[-1].contact_cycles if points else 0)


ROUTES = [Route("/equipment", equipment)]
