"""A unit: its runs, and one of them whole, with results, uncertainty budgets, curves and raw messages."""

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from station.app.accounts import Role
from station.app.budgets import ADVICE, budgets_of
from station.app.lot_units import plan_of
from station.core.plan import Plan
from station.core.run_record import RunRecord, Trace
from station.errors import RecordError
from station.pages import svg
from station.pages.drawings import field_profile
from station.pages.site import badge_of, form_of, later, needs, page, refused, site_of

RELEASE_REASONS = ("reseated", "cleaned", "bench put right", "measured elsewhere", "scrapped", "other")
UNIT_OF_SUFFIX = (
    ("_t_per_a", "T/A"),
    ("_degc", "degC"),
    ("_ohm", "ohm"),
    ("_m", "m"),
    ("_s", "s"),
    ("_a", "A"),
    ("_v", "V"),
    ("_w", "W"),
    ("_k", "K"),
    ("_t", "T"),
    ("_h", "H"),
)


@needs(None)
async def find(request: Request) -> Response:
    """Lead to the unit whose serial was asked for."""
    serial = request.query_params.get("serial", "").strip()
    return RedirectResponse(f"/units/{serial}" if serial else "/lots", 303)


@needs(None)
async def unit(request: Request) -> Response:
    """One unit, its last run or the one that the query asks for."""
    serial = request.path_params["serial"]
    records = site_of(request).workplace.station.records
    runs = await later(records.runs_of, serial)
    if not runs:
        raise RecordError(f"unit {serial[:60]} is not on record. Check the serial.")
    closed = [each for each in runs if each.decision is not None]
    asked = request.query_params.get("run") or (closed[-1].run_id if closed else "")
    record = await later(records.run, asked) if asked else None
    plan = await later(plan_of, records, record.opened.plan_hash) if record else None
    return page(
        request,
        "unit.html",
        serial=serial,
        runs=runs,
        record=record,
        plan=plan,
        held=await later(records.is_held, serial),
        decisions=await later(records.later_decisions, asked) if asked else (),
        rulers=_rulers(plan, record),
        budgets=budgets_of(record.results, monte_carlo=False) if record else None,
        advice=ADVICE,
        judged={each.characteristic: each for each in record.judgements} if record else {},
        profile=field_profile(plan, record.results) if record else Markup(""),
        curves=[drawn for each in record.traces for drawn in _curves(each)] if record else [],
        messages=[
            (each.monotonic_s, each.instrument, each.direction, each.data.decode("ascii", "backslashreplace"))
            for each in record.transcript
        ]
        if record
        else [],
        audit=await later(lambda: records.audit_entries(subject=serial)),
        reasons=RELEASE_REASONS,
    )


@needs(Role.ENGINEER)
async def release(request: Request) -> Response:
    """Release a held unit with a reason code and words."""
    serial = request.path_params["serial"]
    form = await form_of(request)
    if form.get("reason") not in RELEASE_REASONS:
        return refused(request, f"Choose a reason: {', '.join(RELEASE_REASONS)}.")
    station = site_of(request).workplace.station
    await later(
        lambda: station.records.release_held(
            serial,
            reason_code=form["reason"],
            who=badge_of(request),
            why=form.get("why", ""),
            utc=station.clock.utc_now(),
        )
    )
    return RedirectResponse(f"/units/{serial}", 303)


def _rulers(plan: Plan | None, record: RunRecord | None) -> dict[str, Markup]:
    if plan is None or record is None:
        return {}
    made = {}
    for each in record.results:
        found = plan.characteristic(each.characteristic)
        if found is not None:
            made[found.name] = svg.ruler(
                each.value,
                each.expanded_uncertainty,
                (found.lower, found.upper),
                title=f"{found.name} between its limits",
            )
    return made


def _curves(trace: Trace) -> list[tuple[str, Markup]]:
    """Draw each column of a trace over its first one."""
    if not trace.columns:
        return []
    (x_name, x_values), *others = trace.columns
    return [
        (
            f"{trace.name}: {name}",
            svg.curve(
                list(zip(x_values, values, strict=False)),
                _unit_of(x_name),
                _unit_of(name),
                title=f"{trace.name}, {name}",
            ),
        )
        for name, values in others
        if len(values) > 1 and _unit_of(name) != "1"
    ]


def _unit_of(column: str) -> str:
    return next((unit for suffix, unit in UNIT_OF_SUFFIX if column.endswith(suffix)), "1")


ROUTES = [
    Route("/units", find),
    Route("/units/{serial}", unit),
    Route("/units/{serial}/release", release, methods=["POST"]),
]
