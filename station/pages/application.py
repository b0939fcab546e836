"""Puts the pages together: routes, shield, compression, the end of the program."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Collection
from pathlib import Path

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles

from station.app.accounts import Accounts
from station.app.workplace import Workplace
from station.pages import (
    causes,
    concessions,
    copper,
    equipment,
    gauge,
    held,
    labels,
    lot_life,
    lots,
    operator,
    plans,
    start,
    units,
)
from station.pages.access import Access
from station.pages.shield import Shield
from station.pages.site import Site, make_templates, page
from station.pages.turns import Turns

LOOPBACK = ("127.0.0.1", "localhost", "[::1]", "::1")
STATIC = Path(__file__).parent / "static"


def make_application(
    workplace: Workplace, *, local: bool = True, bench_file: Path | None = None, hosts: Collection[str] = LOOPBACK
) -> Starlette:
    """Return the pages as an ASGI application.

    Args:
        local: bound to a loopback address: pages can be read without signing in.
        bench_file: the bench that was asked for, to be opened again if it could not be.
        hosts: names that the station answers to; empty: any.
    """
    routes = [
        *operator.ROUTES,
        *start.ROUTES,
        *lots.ROUTES,
        *lot_life.ROUTES,
        *copper.ROUTES,
        *units.ROUTES,
        *held.ROUTES,
        *concessions.ROUTES,
        *causes.ROUTES,
        *plans.ROUTES,
        *equipment.ROUTES,
        *gauge.ROUTES,
        *labels.ROUTES,
        Mount("/static", StaticFiles(directory=STATIC), name="static"),
    ]
    closing = asyncio.Event()
    middleware = [
        Middleware(Shield, hosts=hosts),
        Middleware(Turns, closing=closing),
        Middleware(GZipMiddleware, minimum_size=1_000, compresslevel=4),
    ]
    application = Starlette(
        routes=routes, middleware=middleware, lifespan=_lifespan, exception_handlers={404: _not_found}
    )
    application.state.site = Site(workplace, Access(Accounts(workplace.station.home), local), make_templates())
    application.state.bench_file = bench_file
    application.state.closing = closing
    return application


async def _not_found(request: Request, _error: Exception) -> Response:
    return page(request, "refused.html", status=404, words_said="There is no such page.")


@contextlib.asynccontextmanager
async def _lifespan(application: Starlette) -> AsyncIterator[None]:
    yield
    application.state.closing.set()
