"""A lot's copper: which units to look at, a form for what was measured on them, and what it implies."""

import re
from collections.abc import Mapping, Sequence
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from station.app.accounts import Role
from station.app.copper import LotCopper
from station.app.copper_entering import copper_on_record, enter_copper
from station.app.copper_rows import CopperKind, CouponRow, Row, SectionRow, WidthRow
from station.app.pull_list import pull_list, pulls_on_record, record_pull_list, width_places
from station.core.serial_pattern import SCAN_LENGTH_LIMIT
from station.errors import StationError
from station.pages.site import badge_of, form_of, later, needs, page, site_of

_UM = 1e6
COUPON_LINES = 3
_KEPT = ("u", "method", "why")
_PLACE = re.compile(r"(?:top|foot|pitch):([0-9]{1,2}):([0-9]{1,4}(?:\.[0-9]{1,3})?)")


@needs(None)
async def copper(request: Request) -> Response:
    """The pull list, the form for one unit, what was entered, and what it implies."""
    asked = request.query_params
    kept = {"kind": CopperKind.WIDTHS.value} | {name: asked[name] for name in _KEPT if name in asked}
    return await _shown(request, asked.get("unit", "").strip(), kept)


@needs(Role.ENGINEER)
async def enter(request: Request) -> Response:
    """Put what the form has on record; wrong fields come back as they were, with what would be right."""
    lot, form = request.path_params["lot"], await form_of(request)
    station = site_of(request).workplace.station
    serial = form.get("serial", "").strip()
    try:
        rows = _rows(form)
        number = int(form["instead_of"]) if form.get("instead_of", "").isdigit() else 0
        await later(
            lambda: enter_copper(
                station.records,
                lot,
                rows,
                who=badge_of(request),
                why=form.get("why", ""),
                utc=station.clock.utc_now(),
                method=form.get("method", "").strip(),
                instead_of=(number,) if number else (),
            )
        )
    except StationError as error:
        return await _shown(request, serial, form, trouble=str(error))
    # The next unit is measured with the same microscope: what would be typed again is kept.
    kept = {name: form[name] for name in _KEPT if form.get(name) and form.get("kind") == CopperKind.WIDTHS}
    return RedirectResponse(
        f"/lots/{lot}/copper?{urlencode(kept)}#form" if kept else f"/lots/{lot}/copper#implied", 303
    )


@needs(Role.ENGINEER)
async def record(request: Request) -> Response:
    """Put the pull list on record, as it is now."""
    lot, form = request.path_params["lot"], await form_of(request)
    station = site_of(request).workplace.station
    found = await later(pull_list, station.records, lot)
    utc, who = station.clock.utc_now(), badge_of(request)
    await later(lambda: record_pull_list(station.records, found, who=who, why=form.get("why", ""), utc=utc))
    return RedirectResponse(_link(lot, ""), 303)


async def _shown(request: Request, serial: str, form: Mapping[str, str], *, trouble: str = "") -> Response:
    lot = request.path_params["lot"]
    records = site_of(request).workplace.station.records
    found, coil = await later(copper_on_record, records, lot)
    asked = await later(pulls_on_record, records, lot)
    measured = lot in await later(records.lots)
    # Before the first unit is measured there is nothing to pull, but there are coupons.
    pulls = asked or ((await later(pull_list, records, lot)).pulls if measured else ())
    seen = {each.serial for each in found.units}
    chosen = serial[:SCAN_LENGTH_LIMIT] or next(
        (each.serial for each in pulls if each.widths and each.serial not in seen), ""
    )
    return page(
        request,
        "copper.html",
        status=400 if trouble else 200,
        lot=lot,
        simulated=measured and (await later(records.lot_summary, lot)).simulated,
        pulls=pulls,
        recorded=bool(asked),
        seen=seen,
        chosen=chosen,
        places=width_places(coil),
        coil=coil,
        found=found,
        words=[each.words.replace("+-", "±") for each in found.findings],
        replaceable=_replaceable(found),
        coupon_lines=range(1, COUPON_LINES + 1),
        form=form,
        trouble=trouble,
        link=_link,
    )


def _link(lot: str, serial: str) -> str:
    return f"/lots/{lot}/copper" + (f"?{urlencode({'unit': serial})}#form" if serial else "")


def _replaceable(found: LotCopper) -> list[tuple[str, list[tuple[int, str]]]]:
    """Entries that stand, by kind, the newest first."""
    groups: dict[str, list[tuple[int, str]]] = {}
    for each in reversed(found.entries):
        if each.stands:
            subjects = ", ".join(dict.fromkeys(row.subject for row in each.rows))
            groups.setdefault(each.kind.value, []).append((each.number, f"{each.number}: {subjects[:60]}"))
    return list(groups.items())


def _rows(form: Mapping[str, str]) -> list[Row]:
    kind = form.get("kind")
    rows: Sequence[Row] = ()
    if kind == CopperKind.WIDTHS:
        rows = _width_rows(form)
    elif kind == CopperKind.SECTIONS:
        rows = _section_rows(form)
    elif kind == CopperKind.COUPONS:
        rows = _coupon_rows(form)
    if not rows:
        raise StationError("Nothing was filled in. Enter at least one value.")
    return list(rows)


def _width_rows(form: Mapping[str, str]) -> list[WidthRow]:
    serial = form.get("serial", "").strip()
    found = {each.groups() for key in form if (each := _PLACE.fullmatch(key))}
    places = sorted(found, key=lambda each: (int(each[0]), float(each[1])))
    rows = []
    for layer, turn in places:
        where = f"layer {layer}, turn {turn}"
        top_m, foot_m, pitch_m = (
            _optional(form, f"{edge}:{layer}:{turn}", f"{where}, {edge}", _UM) for edge in ("top", "foot", "pitch")
        )
        if top_m is None and foot_m is None:
            if pitch_m is not None:
                raise StationError(f"{where}: a pitch needs the width at the same place.")
            continue
        u_m = _number(form, "u", "standard uncertainty, um", _UM)
        rows.append(WidthRow(serial, int(layer), float(turn), u_m, top_m, foot_m, None, pitch_m))
    return rows


def _section_rows(form: Mapping[str, str]) -> list[SectionRow]:
    serial = form.get("serial", "").strip()
    found = [_optional(form, f"thickness{place}", f"thickness, place {place}", _UM) for place in (1, 2, 3)]
    thicknesses = [each for each in found if each is not None]
    if not thicknesses:
        return []
    u_m = _number(form, "u", "standard uncertainty, um", _UM)
    return [SectionRow(each, u_m, serial=serial) for each in thicknesses]


def _coupon_rows(form: Mapping[str, str]) -> list[CouponRow]:
    rows = []
    for line in range(1, COUPON_LINES + 1):
        if not form.get(f"width{line}", "").strip():
            continue
        rows.append(
            CouponRow(
                form.get("panel", "").strip(),
                _number(form, f"width{line}", f"track {line}, width", _UM),
                _number(form, "length", "length", 1e3),
                _number(form, f"resistance{line}", f"track {line}, resistance", 1e3),
                _number(form, "temperature", "temperature", 1.0, signed=True),
                _number(form, "u", "standard uncertainty, mohm", 1e3),
                near=form.get("near", "").strip(),
            )
        )
    return rows


def _optional(form: Mapping[str, str], key: str, name: str, per_si: float) -> float | None:
    return _number(form, key, name, per_si) if form.get(key, "").strip() else None


def _number(form: Mapping[str, str], key: str, name: str, per_si: float, *, signed: bool = False) -> float:
    """A field's number in SI; a decimal comma is one too."""
    text = form.get(key, "").strip()
    try:
        value = float(text.replace(",", ".")) / per_si
    except ValueError:
        value = float("nan")
    if not (signed or value > 0) or not abs(value) < 1e9:
        raise StationError(f"{name}: must be a number{'' if signed else ' above 0'}; got {text[:20]!r}.")
    return value


ROUTES = [
    Route("/lots/{lot}/copper", copper),
    Route("/lots/{lot}/copper", enter, methods=["POST"]),
    Route("/lots/{lot}/copper/pull", record, methods=["POST"]),
]
