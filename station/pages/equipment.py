"""Equipment: the bench that is open, its instruments, and its verifications."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from station.app.accounts import Role
from station.app.study_records import READINGS as STUDY_READINGS
from station.pages import svg
from station.pages.site import later, needs, page, session_of, site_of


@needs(None)
async def equipment(request: Request) -> Response:
    """Bench, instruments, verifications, and, for engineers, the audit trail."""
    site = site_of(request)
    records, bench = site.workplace.station.records, site.workplace.shown.bench
    session = session_of(request)
    verifications = await later(records.verifications, bench.name) if bench else ()
    past = await later(records.verification_history, bench.name) if bench else ()
    audit = await later(records.audit_entries) if session and session.role.includes(Role.ENGINEER) else ()
    charts = []
    for subject, name in sorted({(each.found.subject, each.found.characteristic) for each in past}):
        found = [each.found for each in past if (each.found.subject, each.found.characteristic) == (subject, name)]
        points = [
            svg.Point(i, each.en, "pass" if each.agrees else "fail", "#", f"E_n {each.en:+.2f}")
            for i, each in enumerate(found, start=1)
            if each.en is not None
        ]
        if len(points) > 1:
            title = f"E_n of {subject} {name}, in order of verification"
            charts.append(
                (f"{subject} {name}", svg.scatter(points, ("1", "1"), ((None, None), (-1.0, 1.0)), title=title))
            )
    return page(
        request,
        "equipment.html",
        bench=bench,
        bench_file=request.app.state.bench_file,
        verifications=tuple(reversed(verifications)),
        last_values=await later(records.verification_values, verifications[-1].verification_id)
        if verifications
        else (),
        charts=charts,
        audit=tuple(each for each in reversed(audit) if each.action not in STUDY_READINGS)[:200],
    )


ROUTES = [Route("/equipment", equipment)]
