"""Deviation permits and concessions: granted, used, withdrawn, each signed by an engineer."""

from datetime import date, timedelta

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from station.app.accounts import Role
from station.app.concessions import Wanted, accept, candidates, find, grant, withdraw
from station.app.signing import needs_secret
from station.core.concession import ConcessionError, ConcessionKind, Standing
from station.pages.access import SignInRefused
from station.pages.site import badge_of, fields_of, form_of, later, needs, page, site_of
from station.records.concessions import concessions, latest_utc

USUAL_DAYS = 90
"""So far ahead the form proposes the last day."""

ROWS = 400
"""Units that are shown at once: as many as a form takes. What is accepted makes room for the next."""

_FIELDS = ("kind", "part", "characteristic", "lower", "upper", "lot", "quantity", "customer", "why")


@needs(None)
async def every(request: Request) -> Response:
    """All of them, newest first, and the form for another one."""
    return await _list(request, {})


@needs(Role.ENGINEER)
async def granted(request: Request) -> Response:
    """Grant one; what was typed stays in the form if it is refused."""
    form = await form_of(request)
    station = site_of(request).workplace.station
    try:
        who = await _signed(request, form)
        wanted = _wanted(form)
        found = await later(
            lambda: grant(station.records, wanted, who=who, now_utc=station.clock.utc_now())
        )
    except ConcessionError as error:
        return await _list(request, form, mistake=str(error))
    return RedirectResponse(f"/concessions/{found.number}", 303)


@needs(None)
async def one(request: Request) -> Response:
    """One of them with the failing units of a lot, those that fit ticked."""
    station = site_of(request).workplace.station
    records = station.records
    found = await later(find, records, request.path_params["number"])
    lots = await later(records.lots)
    lot = request.query_params.get("lot", "") or found.granted.lot
    units = await later(candidates, records, found.granted, lot) if lot in lots else ()
    now = await later(latest_utc, records, station.clock.utc_now())
    state = found.standing(now)
    return page(
        request,
        "concession.html",
        found=found,
        each=found.granted,
        state=state,
        in_force=state is Standing.IN_FORCE,
        lot=lot,
        lots=lots,
        units=sorted(units, key=lambda each: bool(each.why_not))[:ROWS],
        failing=len(units),
        fitting=sum(not each.why_not for each in units),
        **_signature(request),
    )


@needs(Role.ENGINEER)
async def accepted(request: Request) -> Response:
    """Accept the units that are ticked."""
    form, serials = await form_of(request), await fields_of(request, "serial")
    station = site_of(request).workplace.station
    number = request.path_params["number"]
    if not serials:
        raise ConcessionError("No unit is ticked.")
    who = await _signed(request, form)
    done = await later(
        lambda: accept(
            station.records, number, serials, who=who, why=form.get("why", ""), now_utc=station.clock.utc_now()
        )
    )
    return page(
        request, "conceded.html", done=done, each=(await later(find, station.records, number)).granted
    )


@needs(Role.ENGINEER)
async def withdrawn(request: Request) -> Response:
    """End one for good."""
    form = await form_of(request)
    station = site_of(request).workplace.station
    number = request.path_params["number"]
    who = await _signed(request, form)
    await later(
        lambda: withdraw(
            station.records, number, who=who, why=form.get("why", ""), now_utc=station.clock.utc_now()
        )
    )
    return RedirectResponse(f"/concessions/{number}", 303)


async def _list(request: Request, form: dict[str, str], *, mistake: str = "") -> Response:
    station = site_of(request).workplace.station
    records = station.records
    now = await later(latest_utc, records, station.clock.utc_now())
    found = await later(concessions, records)
    usual = {"expires": (date.today() + timedelta(days=USUAL_DAYS)).isoformat(), "bin": "80", "bin_name": "concession"}
    return page(
        request,
        "concessions.html",
        status=400 if mistake else 200,
        rows=[(each, each.standing(now)) for each in reversed(found)],
        parts=sorted({each.part for each in await later(records.released_plans)}),
        kinds=list(ConcessionKind),
        asked=dict.fromkeys(_FIELDS, "") | usual | {"lot": request.query_params.get("lot", "")} | form,
        mistake=mistake,
        **_signature(request),
    )


async def _signed(request: Request, form: dict[str, str]) -> str:
    """Return the badge of the engineer who signs this act, with its secret if it has an account."""
    site, badge, secret = site_of(request), badge_of(request), form.get("secret", "")
    address = request.client.host if request.client else ""
    try:
        await later(lambda: site.access.sign(badge, secret, address=address))
    except SignInRefused as error:
        raise ConcessionError(str(error)) from error
    return badge


def _signature(request: Request) -> dict[str, bool]:
    """Whether the form asks for a secret: of a badge that has an account."""
    badge = badge_of(request)
    return {"asks_secret": bool(badge) and needs_secret(site_of(request).workplace.station.home, badge)}


def _wanted(form: dict[str, str]) -> Wanted:
    def number(key: str) -> int | None:
        text = form.get(key, "").strip()
        if not text:
            return None
        if not text.isdecimal() or len(text) > 6:
            raise ConcessionError(f"{key}: a whole number is needed; got {text[:20]!r}.")
        return int(text)

    if form.get("kind") not in list(ConcessionKind):
        raise ConcessionError(f"say which: {' or '.join(ConcessionKind)}.")
    return Wanted(
        kind=ConcessionKind(form["kind"]),
        part=form.get("part", ""),
        characteristic=form.get("characteristic", "").strip(),
        lower=form.get("lower", ""),
        upper=form.get("upper", ""),
        lot=form.get("lot", ""),
        quantity=number("quantity"),
        expires=form.get("expires", ""),
        customer_reference=form.get("customer", ""),
        why=form.get("why", ""),
        bin_number=number("bin") or 0,
        bin_name=form.get("bin_name", ""),
    )


ROUTES = [
    Route("/concessions", every),
    Route("/concessions", granted, methods=["POST"]),
    Route("/concessions/{number}", one),
    Route("/concessions/{number}/accept", accepted, methods=["POST"]),
    Route("/concessions/{number}/withdraw", withdrawn, methods=["POST"]),
]
