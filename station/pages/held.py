"""Units that wait for an engineer."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from station.pages.site import later, needs, page, site_of


@needs(None)
async def held(request: Request) -> Response:
    """Every held unit, with why."""
    records = site_of(request).workplace.station.records
    return page(request, "held.html", units=await later(records.held_units))


ROUTES = [Route("/held", held)]
