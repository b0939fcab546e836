"""From an empty home to the first unit: a plan, a bench, and what to do next."""

from pathlib import Path

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from station.app.accounts import Role
from station.app.setting_up import PART, open_simulated
from station.pages.access import SignInRefused
from station.pages.site import COOKIE, form_of, later, needs, page, refused, session_of, site_of


@needs(None)
async def start(request: Request) -> Response:
    """What is missing before a unit can be measured, and how to get it."""
    site = site_of(request)
    asked: Path | None = request.app.state.bench_file
    home = f" --home {site.workplace.station.home}"
    return page(request, "start.html", home=home, asked_bench="" if asked is None else asked.name)


async def simulate(request: Request) -> Response:
    """Open a simulated bench, with the invented plan released if none is."""
    site = site_of(request)
    form = await form_of(request)
    session, token = session_of(request), ""
    if session is None:
        address = request.client.host if request.client else ""
        try:
            token = await later(lambda: site.access.sign_in(form.get("badge", ""), "", address=address))
        except SignInRefused as error:
            return refused(request, f"{error} If it has a secret, sign in first.", status=403)
        session = site.access.session(token)
    if session is None or not session.role.includes(Role.ENGINEER):
        return refused(request, "An engineer opens a bench: sign in with a badge such as EN-02.", status=403)
    speed = form.get("speed", "10")
    badge, plan_name = session.badge, form.get("plan", PART)
    times = float(speed) if speed in ("1", "10", "100") else 10.0
    done = await later(lambda: open_simulated(site.workplace, who=badge, speed=times, plan_name=plan_name))
    if done:
        return refused(request, done)
    response = RedirectResponse("/", 303)
    if token:
        response.set_cookie(COOKIE, token, httponly=True, samesite="strict", secure=site.secure_cookie)
    return response


@needs(None)
async def open_again(request: Request) -> Response:
    """Open the bench that these pages were started on once more: after a repair, or when its watchdog has ended."""
    workplace = site_of(request).workplace
    asked: Path | None = request.app.state.bench_file
    session = session_of(request)
    if asked is None:
        return refused(request, "These pages were started on no bench file: coilgate serve --bench FILE")
    if workplace.busy:
        return refused(request, "Something is under way. Wait for its end, or stop it.")
    if workplace.shown.bench is not None and (session is None or not session.role.includes(Role.OPERATOR)):
        return refused(request, "An operator opens the bench anew: sign in first.", status=403)
    await later(workplace.open, asked)
    return RedirectResponse("/", 303)


ROUTES = [
    Route("/start", start),
    Route("/simulate", simulate, methods=["POST"]),
    Route("/open", open_again, methods=["POST"]),
]
