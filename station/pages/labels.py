"""Sheets to print: labels with the serials' codes, and the traveller that goes with a lot."""

from markupsafe import Markup, escape
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from station.app.lot_units import lot_units
from station.core.scans import ScanKind, recognise
from station.pages.site import later, needs, page, refused, site_of
from station.reports.codes import code_path, data_matrix

MOST_LABELS = 2_000


@needs(None)
async def labels(request: Request) -> Response:
    """A sheet of labels for the serials asked for; by default those of a lot that are on record."""
    records = site_of(request).workplace.station.records
    lot = request.query_params.get("lot", "")
    asked = request.query_params.get("serials", "").split()
    if not asked and lot:
        asked = [each.serial for each in await later(lot_units, records, lot)]
    if len(asked) > MOST_LABELS:
        return refused(request, f"{len(asked)} labels; a sheet has at most {MOST_LABELS}. Print a part of them.")
    drawn = await later(lambda: [(each, drawing(each)) for each in asked])
    return page(request, "labels.html", lot=lot, labels=drawn, serials="\n".join(asked))


@needs(None)
async def traveller(request: Request) -> Response:
    """The paper that goes with a lot: its code, part, plan revision, quantity, and room for hands."""
    records = site_of(request).workplace.station.records
    plans = site_of(request).workplace.shown.plans
    lot = request.query_params.get("lot", "").strip()
    quantity = request.query_params.get("quantity", "").strip()
    plan = next((each for each in plans if recognise(lot, (each,)).kind is ScanKind.LOT), None)
    if lot and plan is None:
        return refused(request, f"{lot[:40]!r} is no lot of a part whose plan is released.")
    revision = await later(records.plan_revision, plan.text_hash) if plan else None
    return page(
        request,
        "traveller.html",
        lot=lot,
        quantity=quantity[:20],
        plan=plan,
        revision=revision,
        code=await later(drawing, lot) if lot else Markup(""),
    )


def drawing(text: str) -> Markup:
    """Draw a text's Data Matrix; black on white in any colour scheme, as scanners want it."""
    path, side = code_path(data_matrix(text))
    return Markup(
        f'<svg class="code" viewBox="0 0 {side} {side}" role="img" aria-label="code of {escape(text)}">'
        f'<rect class="white" width="{side}" height="{side}"/><path class="black" d="{path}"/></svg>'
    )


ROUTES = [Route("/labels", labels), Route("/traveller", traveller)]
