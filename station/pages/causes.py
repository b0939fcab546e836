"""Find the cause: why a unit reads as it does, and what a lot's units have; asked for, as it takes a moment."""

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from station.app.causes import explain_lot_on_record, explain_unit_on_record
from station.coil.geometry import GeometryError
from station.errors import RecordError
from station.pages.site import later, needs, page, site_of


@needs(None)
async def unit(request: Request) -> Response:
    """Causes of one unit by its latest run, with probability, evidence and what would prove them."""
    serial = request.path_params["serial"]
    records = site_of(request).workplace.station.records
    try:
        found = await later(explain_unit_on_record, records, serial)
    except GeometryError as error:
        raise RecordError(f"{serial[:60]}: its drawing can't be reckoned with: {error}") from error
    return page(request, "unit_cause.html", found=found)


@needs(None)
async def lot(request: Request) -> Response:
    """Likeliest causes of a lot by count, where the lot stands, what to ask."""
    name = request.path_params["lot"]
    records = site_of(request).workplace.station.records
    try:
        found = await later(explain_lot_on_record, records, name)
    except GeometryError as error:
        raise RecordError(f"lot {name[:60]}: its drawing can't be reckoned with: {error}") from error
    return page(request, "lot_causes.html", lot=name, found=found)


ROUTES = [Route("/units/{serial}/cause", unit), Route("/lots/{lot}/causes", lot)]
