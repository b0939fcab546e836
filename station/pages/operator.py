"""The operator's page: sign in, lot, verify, scan, stop. Each request asks the workplace and returns at once."""

import asyncio
from collections.abc import AsyncIterator

from starlette.background import BackgroundTask
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Route

from station.app.accounts import Role
from station.core.scans import ScanKind
from station.pages.access import SignInRefused
from station.pages.live import BOOT, board_html, stream
from station.pages.site import (
    COOKIE,
    Site,
    answer,
    badge_of,
    form_of,
    later,
    needs,
    page,
    refused,
    session_of,
    site_of,
)


@needs(None)
async def bench(request: Request) -> Response:
    """The operator's page; on a station without plan or bench, the start page."""
    site = site_of(request)
    shown = site.workplace.shown
    if shown.bench is None:
        return RedirectResponse("/start", 303)
    signed_in = session_of(request) is not None
    live = board_html(site.templates, shown, signed_in=signed_in)
    return page(request, "bench.html", live=live, last_id=f"{BOOT}-{shown.version}", local=site.access.local)


@needs(None)
async def events(request: Request) -> Response:
    """The event stream of the operator's page. Listening is no sign that somebody is there."""
    site = site_of(request)
    last_id = request.headers.get("last-event-id") or request.query_params.get("after", "")
    token = request.cookies.get(COOKIE, "")
    session = site.access.session(token, touch=False)
    closing: asyncio.Event = request.app.state.closing

    async def told() -> AsyncIterator[str]:
        source = stream(site.workplace, site.templates, last_id, signed_in=session is not None, still_there=closing)
        async for each in source:
            if session is not None and site.access.session(token, touch=False) is None:
                yield "event: signed-out\ndata: 1\n\n"
                return
            yield each

    headers = {"cache-control": "no-store", "x-accel-buffering": "no"}
    return StreamingResponse(told(), media_type="text/event-stream", headers=headers)


async def scan(request: Request) -> Response:
    """Whatever the scanner read: a badge signs in, a lot is taken up, a unit is measured."""
    site = site_of(request)
    form = await form_of(request)
    text = form.get("scan", "")[:4096]
    found = site.workplace.recognise(text)
    if found.kind is ScanKind.BADGE:
        return await _take_badge(request, found.text)
    session = session_of(request)
    if session is None:
        return refused(request, f"Nobody is signed in: '{text[:40]}' was NOT taken. Scan your badge first.", status=403)
    if not session.role.includes(Role.OPERATOR):
        return refused(request, f"{session.badge} is {session.role} and may only look.", status=403)
    studied = site.workplace.shown.study is not None
    slip = form.get("typed") == "1" and not studied  # in a study a slip is no unit that is next
    if slip and found.kind is ScanKind.UNIT and not site.workplace.typed_twice(found.text):
        return answer(request, words_said="Typed by hand: type the same serial once more, so that a slip is found.")
    if found.kind is ScanKind.PANEL and not studied:
        await later(site.workplace.panels.take_up, found.text)  # what is on record of its places takes a moment
    else:
        site.workplace.scan(text, session.badge, repeat=form.get("repeat") == "1")
    return answer(request)


async def _take_badge(request: Request, badge: str) -> Response:
    access = site_of(request).access
    if access.needs_secret(badge):
        return _go(request, f"/sign-in?badge={badge}")
    return await _sign_in(request, badge, "", "/")


async def sign_in_page(request: Request) -> Response:
    """Ask for badge and secret."""
    badge = request.query_params.get("badge", "")
    return page(request, "sign_in.html", badge=badge[:20], words_said="", next=_local(request.query_params.get("next")))


async def sign_in(request: Request) -> Response:
    """Sign in with badge and secret."""
    form = await form_of(request)
    return await _sign_in(request, form.get("badge", ""), form.get("secret", ""), _local(form.get("next")))


async def _sign_in(request: Request, badge: str, secret: str, go: str) -> Response:
    site = site_of(request)
    address = request.client.host if request.client else ""
    try:
        token = await later(lambda: site.access.sign_in(badge, secret, address=address))
    except SignInRefused as error:
        if "application/json" in request.headers.get("accept", ""):
            return refused(request, str(error), status=403)
        return page(request, "sign_in.html", status=403, badge=badge[:20], words_said=str(error), next=go)
    site.access.sign_out(request.cookies.get(COOKIE, ""))
    session = site.access.session(token)
    if session is not None and session.role is Role.OPERATOR:
        # An engineer who looks in, from elsewhere perhaps, does not end the operator's shift.
        site.workplace.begin_shift(session.badge)
    response = _signed_in(request, site, token, go)
    if session is not None and session.role.includes(Role.OPERATOR):
        # After the answer: a unit that is scanned as soon as it is asked for must come with this badge.
        response.background = BackgroundTask(site.workplace.studies.badge, session.badge)
    response.set_cookie(COOKIE, token, httponly=True, samesite="strict", secure=site.secure_cookie)
    return response


def _signed_in(request: Request, site: Site, token: str, go: str) -> Response:
    if "application/json" not in request.headers.get("accept", ""):
        return RedirectResponse(go, 303)
    who = site.templates.get_template("who.html").render(session=site.access.session(token))
    return JSONResponse({"words": "", "go": "", "who": who})


async def sign_out(request: Request) -> Response:
    """End this browser's sign-in; a run that is under way goes on."""
    site_of(request).access.sign_out(request.cookies.get(COOKIE, ""))
    response = _go(request, "/")
    response.delete_cookie(COOKIE)
    return response


@needs(Role.OPERATOR)
async def verify(request: Request) -> Response:
    """Measure the reference units."""
    site_of(request).workplace.verify(badge_of(request), part=(await form_of(request)).get("part", ""))
    return answer(request)


async def stop(request: Request) -> Response:
    """Stop what is under way. Whoever stands at the bench may: nobody needs to sign in first."""
    site = site_of(request)
    session = session_of(request)
    if session is None and not site.access.local:
        return refused(request, "Nobody is signed in.", status=403)
    site.workplace.request_stop(session.badge if session else "somebody at the page")
    return answer(request)


@needs(Role.OPERATOR)
async def confirm(request: Request) -> Response:
    """What was asked for (a spacer) is in place."""
    site_of(request).workplace.confirm()
    return answer(request)


@needs(Role.OPERATOR)
async def panel_place(request: Request) -> Response:
    """Measure the unit of the next place of the panel; skip the place; note that no unit is there; leave the panel."""
    panels = site_of(request).workplace.panels
    what = request.path_params["what"]
    shown = (await form_of(request)).get("shown", "")
    if what == "place":
        panels.measure_here(badge_of(request), shown=shown)
    elif what == "skip":
        panels.skip(shown=shown)
    elif what == "missing":
        await later(lambda: panels.missing(badge_of(request), shown=shown))
    elif what == "leave":
        panels.leave()
    else:
        return refused(request, "There is no such key.", status=404)
    return answer(request)


@needs(Role.OPERATOR)
async def leave_study(request: Request) -> Response:
    """Go no further with the gauge study now."""
    site_of(request).workplace.studies.leave()
    return answer(request)


@needs(Role.ENGINEER)
async def clear_latch(request: Request) -> Response:
    """Clear *drive state unknown*, with a reason."""
    why = (await form_of(request)).get("why", "").strip()
    if not why:
        return refused(request, "Say what you saw at the source before you clear the latch.")
    site_of(request).workplace.clear_latch(who=badge_of(request), why=why)
    return answer(request)


def _go(request: Request, where: str) -> Response:
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"words": "", "go": where})
    return RedirectResponse(where, 303)


def _local(where: str | None) -> str:
    """Only a path of our own: never another site that a link smuggled in."""
    return where if where and where.startswith("/") and not where.startswith(("//", "/\\")) else "/"


ROUTES = [
    Route("/", bench),
    Route("/events", events),
    Route("/scan", scan, methods=["POST"]),
    Route("/sign-in", sign_in_page),
    Route("/sign-in", sign_in, methods=["POST"]),
    Route("/sign-out", sign_out, methods=["POST"]),
    Route("/verify", verify, methods=["POST"]),
    Route("/stop", stop, methods=["POST"]),
    Route("/confirm", confirm, methods=["POST"]),
    Route("/panel/{what}", panel_place, methods=["POST"]),
    Route("/study/leave", leave_study, methods=["POST"]),
    Route("/clear-latch", clear_latch, methods=["POST"]),
]
