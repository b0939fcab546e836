"""What all pages share: templates, who is signed in, forms, refusals."""

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from functools import wraps
from typing import TypeVar
from urllib.parse import parse_qsl

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from drivers.errors import InstrumentError
from station.app.accounts import Role
from station.app.workplace import Workplace
from station.errors import RecordError, StationError
from station.pages import words
from station.pages.access import Access, Session

COOKIE = "coilgate"
T = TypeVar("T")
Endpoint = Callable[[Request], Awaitable[Response]]


@dataclass(slots=True)
class Site:
    """The pages of one station."""

    workplace: Workplace
    access: Access
    templates: Environment
    secure_cookie: bool = False


def make_templates() -> Environment:
    """Return the templates; every text in them is escaped, a name that is missing is an error."""
    environment = Environment(
        loader=PackageLoader("station.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(shape=words.shape, decision_words=words.WORDS, kinds=words.KINDS)
    environment.filters.update(
        decision=words.decision,
        standing=words.standing,
        quantity=words.quantity,
        result=words.result,
        percent=words.percent,
        share=words.share,
        likelihood=words.likelihood,
        freedom=words.freedom,
        moment=words.moment,
        clock_time=words.clock_time,
    )
    return environment


def site_of(request: Request) -> Site:
    """Return the site that a request came to."""
    found: Site = request.app.state.site
    return found


def session_of(request: Request, *, touch: bool = True) -> Session | None:
    """Return who is signed in, if anybody."""
    return site_of(request).access.session(request.cookies.get(COOKIE, ""), touch=touch)


def page(request: Request, name: str, *, status: int = 200, **context: object) -> HTMLResponse:
    """Return a page made from a template."""
    site = site_of(request)
    common = {
        "session": session_of(request),
        "here": request.url.path,
        "engineer": Role.ENGINEER,
        "shown": site.workplace.shown,
    }
    return HTMLResponse(site.templates.get_template(name).render(**(common | context)), status)


async def form_of(request: Request) -> dict[str, str]:
    """Return a form's fields (application/x-www-form-urlencoded), the last of each name."""
    body = await request.body()
    return dict(parse_qsl(body.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=500))


async def fields_of(request: Request, name: str) -> list[str]:
    """Return every value of a form's field that may come more than once."""
    body = await request.body()
    pairs = parse_qsl(body.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=500)
    return [value for key, value in pairs if key == name]


def answer(request: Request, *, go: str = "/", words_said: str = "") -> Response:
    """Answer something done: a redirect for a form, JSON for our script."""
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"words": words_said, "go": ""})
    return RedirectResponse(go, 303)


async def later(work: Callable[..., T], *arguments: object) -> T:
    """Carry out what waits for a disk or an instrument outside the event loop."""
    return await run_in_threadpool(work, *arguments)


def refused(request: Request, words_said: str, *, status: int = 400) -> Response:
    """Say why something was not done."""
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"words": words_said, "go": ""}, status)
    return page(request, "refused.html", status=status, words_said=words_said)


def needs(role: Role | None) -> Callable[[Endpoint], Endpoint]:
    """Let an endpoint be reached by a role only. None: whoever sits at the bench, or is signed in at all.

    What the station refuses becomes a page with its words, never a traceback.
    """

    def decorate(endpoint: Endpoint) -> Endpoint:
        @wraps(endpoint)
        async def guarded(request: Request) -> Response:
            session = session_of(request)
            if session is None and (role is not None or not site_of(request).access.local):
                return _sign_in_first(request)
            if role is not None and session is not None and not session.role.includes(role):
                return refused(request, f"{session.badge} is {session.role}; this needs the role {role}.", status=403)
            try:
                return await endpoint(request)
            except RecordError as error:
                return refused(request, str(error), status=404 if "not on record" in str(error) else 400)
            except (StationError, InstrumentError) as error:
                return refused(request, str(error))

        return guarded

    return decorate


def _sign_in_first(request: Request) -> Response:
    if request.method == "GET":
        return RedirectResponse(f"/sign-in?next={request.url.path}", 303)
    return refused(request, "Nobody is signed in. Scan your badge first.", status=403)


def badge_of(request: Request) -> str:
    """Return the badge of who is signed in; only behind `needs(role)`."""
    session = session_of(request)
    return session.badge if session else ""
