"""Lots: how many are what, how each characteristic spreads, where on the panel, why units are out."""

from urllib.parse import urlencode

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from station.app.concessions import lot_concessions
from station.app.lot_life import every_lot, lot_now
from station.app.lot_units import LotUnit, causes, lot_units, plan_of, slices
from station.core.plan import Characteristic, Plan
from station.core.results import Decision
from station.pages import svg
from station.pages.lot_chart import shown_chart
from station.pages.site import later, needs, page, site_of
from station.pages.words import KINDS, WORDS

LOTS_A_PAGE = 40
"""Each takes some milliseconds to count."""

SLICED_BY = ("panel", "bench", "nest", "operator", "hour")
"""Attributes of a unit; `hour` is in UTC."""


@needs(None)
async def lots(request: Request) -> Response:
    """The newest lots with their counts (names count up), and by pages those before them."""
    records = site_of(request).workplace.station.records
    names = (await later(every_lot, records))[::-1]
    start = _start(request.query_params.get("from", ""), len(names))
    shown = names[start : start + LOTS_A_PAGE]
    on_record = {*await later(records.lots)}
    summaries = await later(lambda: [records.lot_summary(each) for each in shown if each in on_record])
    found = [each for each in summaries if each.units]
    measured = {each.lot for each in found}
    return page(
        request,
        "lots.html",
        lots=found,
        received=[each for each in shown if each not in measured],
        start=start,
        every=len(names),
        step=LOTS_A_PAGE,
    )


def _start(text: str, every: int) -> int:
    return min(int(text), max(0, every - 1)) if text.isascii() and text.isdecimal() and len(text) < 9 else 0


@needs(None)
async def lot(request: Request) -> Response:
    """One lot, or the slice of it that the query asks for."""
    name = request.path_params["lot"]
    records = site_of(request).workplace.station.records
    summary = await later(records.lot_summary, name)
    every = await later(lot_units, records, name)
    asked = {key: request.query_params[key] for key in SLICED_BY if request.query_params.get(key)}
    units = [each for each in every if all(getattr(each, key) == value for key, value in asked.items())]
    plan = await later(plan_of, records, units[-1].plan_hash) if units else None
    charted = _charted(plan, request.query_params.get("chart", ""))
    return page(
        request,
        "lot.html",
        lot=summary,
        now=await later(lot_now, records, name),
        units=units,
        asked=asked,
        plan=plan,
        drawings=_drawings(plan, units),
        against=_against(plan, units),
        chart=await later(shown_chart, name, units, charted) if charted else None,
        charted=[each.name for each in plan.characteristics] if plan else [],
        sliced={key: slices(every, key) for key in SLICED_BY},
        causes=causes(units),
        concessions=await later(lot_concessions, records, name),
        out=[each for each in units if each.decision is not Decision.PASS],
        map=_map(units),
        one_panel=len({each.panel for each in units}) == 1,
        link=lambda key, value: f"/lots/{name}?" + urlencode(asked | {key: value}),
    )


def _drawings(plan: Plan | None, units: list[LotUnit]) -> list[tuple[str, int, Markup]]:
    if plan is None:
        return []
    made = []
    for each in plan.characteristics:
        values = [value for unit in units if (value := unit.value(each.name)) is not None]
        title = f"{each.name} of {len(values)} units with its limits"
        made.append(
            (each.name, len(values), svg.histogram(values, each.unit_symbol, (each.lower, each.upper), title=title))
        )
    return made


def _limits(found: Characteristic | None) -> svg.Limits:
    return (None, None) if found is None else (found.lower, found.upper)


def _against(plan: Plan | None, units: list[LotUnit]) -> Markup:
    """Draw L against R20: a shorted turn or a wrong drawing leaves the cloud at once."""
    points = [
        svg.Point(x, y, KINDS[each.decision], f"/units/{each.serial}", f"{each.serial}: {WORDS[each.decision]}")
        for each in units
        if (x := each.value("R20")) is not None and (y := each.value("L")) is not None
    ]
    if plan is None:
        return Markup("")
    limits = (_limits(plan.characteristic("R20")), _limits(plan.characteristic("L")))
    return svg.scatter(points, ("ohm", "H"), limits, title="L against R20, a point a unit")


def _charted(plan: Plan | None, asked: str) -> Characteristic | None:
    """Return the characteristic whose chart is shown: the one asked for, or the first one that has limits."""
    if plan is None or not plan.characteristics:
        return None
    return plan.characteristic(asked) or plan.characteristics[0]


def _map(units: list[LotUnit]) -> tuple[list[str], list[str], dict[tuple[str, str], list[LotUnit]]]:
    """Return rows, columns and the units at each place of the panel."""
    places: dict[tuple[str, str], list[LotUnit]] = {}
    for each in units:
        if each.row or each.column:
            places.setdefault((each.row, each.column), []).append(each)
    return sorted({row for row, _ in places}), sorted({column for _, column in places}), places


ROUTES = [Route("/lots", lots), Route("/lots/{lot}", lot)]
