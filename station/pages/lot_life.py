"""A lot's life: where it stands, whether its numbers add up; the engineer's forms to receive, count, hold, close."""

from collections.abc import Callable, Mapping
from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from station.app.accounts import Role
from station.app.lot_life import (
    close_lot,
    close_part,
    counted_of,
    hold_lot,
    lot_now,
    receive_lot,
    release_lot,
    reopen_lot,
    scrap_units,
)
from station.app.station import Station
from station.core.lot_tally import missing_of, missing_words, never_words, place_words
from station.errors import LotError, RecordError
from station.pages.site import badge_of, form_of, later, needs, page, site_of

_COUNT = "count-"
Form = Mapping[str, str]
Change = Callable[[Station, str, str, Form], object]


@needs(None)
async def life(request: Request) -> Response:
    """Where one lot stands."""
    return await _page(request, {}, "")


@needs(Role.ENGINEER)
async def new(request: Request) -> Response:
    """Receive a lot that nothing is on record of, or a further delivery of one."""
    form = await form_of(request)
    name = form.get("lot", "").strip()
    await later(_receive, site_of(request).workplace.station, name, badge_of(request), form)
    return RedirectResponse(f"/lots/{quote(name, safe='')}/life", 303)


@needs(Role.ENGINEER)
async def change(request: Request) -> Response:
    """Carry out one form. What can't be done is said above the form, which keeps what was typed."""
    name, form = request.path_params["lot"], await form_of(request)
    act = CHANGES.get(request.path_params["act"])
    if act is None:
        raise RecordError("There is nothing of that name to do with a lot.")
    try:
        await later(act, site_of(request).workplace.station, name, badge_of(request), form)
    except LotError as error:
        return await _page(request, form, str(error))
    return RedirectResponse(f"/lots/{quote(name, safe='')}/life", 303)


async def _page(request: Request, typed: Form, trouble: str) -> Response:
    name = request.path_params["lot"]
    now = await later(lot_now, site_of(request).workplace.station.records, name)
    found = now.tally
    kinds = (
        ("passed", found.passed),
        ("failed", found.failed),
        ("held", found.held),
        ("accepted by concession", found.conceded),
        ("scrapped", found.scrapped),
        (f"not measured{f' ({never_words(found)})' if found.never_measured else ''}", found.not_measured),
    )
    return page(
        request,
        "lot_life.html",
        status=400 if trouble else 200,
        lot=name,
        now=now,
        kinds=kinds,
        place_words=place_words,
        missing_words=missing_words(found),
        missing={each.number: missing_of(now.life, each) for each in now.life.closings},
        typed=typed,
        trouble=trouble,
    )


def _receive(station: Station, lot: str, who: str, form: Form) -> None:
    quantity = _whole(form.get("quantity", ""), lot)
    part, why, utc = form.get("part", "").strip(), form.get("why", ""), station.clock.utc_now()
    receive_lot(station.records, lot, quantity, part=part, who=who, why=why, utc=utc)


def _hold(station: Station, lot: str, who: str, form: Form) -> None:
    hold_lot(station.records, lot, who=who, why=form.get("why", ""), utc=station.clock.utc_now())


def _release(station: Station, lot: str, who: str, form: Form) -> None:
    release_lot(station.records, lot, who=who, why=form.get("why", ""), utc=station.clock.utc_now())


def _scrap(station: Station, lot: str, who: str, form: Form) -> None:
    serials = form.get("serials", "").split()
    bare = _whole(form.get("unnumbered", "").strip() or "0", lot)
    why, utc = form.get("why", ""), station.clock.utc_now()
    scrap_units(station.records, lot, serials, unnumbered=bare, who=who, why=why, utc=utc)


def _close(station: Station, lot: str, who: str, form: Form) -> None:
    close_lot(station.records, lot, _counts(form, lot), who=who, why=form.get("why", ""), utc=station.clock.utc_now())


def _close_part(station: Station, lot: str, who: str, form: Form) -> None:
    counted = {place: number for place, number in _counts(form, lot).items() if place.isdecimal()}
    close_part(station.records, lot, counted, who=who, why=form.get("why", ""), utc=station.clock.utc_now())


def _reopen(station: Station, lot: str, who: str, form: Form) -> None:
    closing = _whole(form.get("closing", "0"), lot)
    reopen_lot(station.records, lot, closing=closing, who=who, why=form.get("why", ""), utc=station.clock.utc_now())


CHANGES: dict[str, Change] = {
    "receive": _receive,
    "hold": _hold,
    "release": _release,
    "scrap": _scrap,
    "close": _close,
    "close-part": _close_part,
    "reopen": _reopen,
}


def _counts(form: Form, lot: str) -> dict[str, int]:
    """Return what was typed; a field left empty was not counted."""
    typed = {key.removeprefix(_COUNT): text.strip() for key, text in form.items() if key.startswith(_COUNT)}
    return counted_of([f"{place}={text}" for place, text in typed.items() if text], lot)


def _whole(text: str, lot: str) -> int:
    try:
        return int(text)
    except ValueError as error:
        raise LotError(f"lot {lot}: a whole number of units is needed; got {text[:20]!r}.") from error


ROUTES = [
    Route("/lots/new", new, methods=["POST"]),
    Route("/lots/{lot}/life", life),
    Route("/lots/{lot}/life/{act}", change, methods=["POST"]),
]
