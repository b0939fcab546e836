"""Control plans: revisions, differences, and an editor that shows what a change would do before its release."""

import difflib

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from station.app.accounts import Role
from station.app.drawn_shelf import looks
from station.app.judging_again import judge_lots_again
from station.app.lot_units import replay_lots
from station.app.plan_draft import draft_from_lot as propose_from_lot
from station.app.plan_draft import draft_from_plan
from station.app.plans import require_measurable
from station.app.replay_risk import risk_rows
from station.core.plan import BinFor, Plan
from station.core.plan_draft import accept_marks, require_accepted
from station.core.plan_edit import PlanForm, changes_of, with_form
from station.core.plan_file import parse_plan
from station.core.replay import Replay, Side
from station.errors import PlanError, RecordError
from station.pages import svg
from station.pages.plan_form import read_form, shown_form
from station.pages.site import badge_of, fields_of, form_of, later, needs, page, site_of
from station.records.views import PlanRevision

NEWEST_LOTS = 4
"""So many lots of a part are ticked for the replay at first."""


@needs(None)
async def plans(request: Request) -> Response:
    """Every released revision: who, when, why; and ways to a new one."""
    revisions = tuple(reversed(await later(_revisions, request)))
    return page(request, "plans.html", revisions=revisions, lots=await later(_measured_lots, request))


@needs(None)
async def text(request: Request) -> Response:
    """One revision's text, byte for byte as released, as a TOML file."""
    found = _one(await later(_revisions, request), request.path_params["part"], request.path_params["revision"])
    name = f"{found.part}-{found.revision}.toml"
    return PlainTextResponse(
        found.source_text,
        media_type="application/toml; charset=utf-8",
        headers={"content-disposition": f'attachment; filename="{_file_name(name)}"'},
    )


@needs(None)
async def revision(request: Request) -> Response:
    """One revision, and what differs from the one before it or from the one asked for."""
    every = await later(_revisions, request)
    found = _one(every, request.path_params["part"], request.path_params["revision"])
    former = [each for each in every if each.part == found.part and each.revision < found.revision]
    asked = request.query_params.get("against", "")
    against = _one(every, found.part, asked) if asked else (former[-1] if former else None)
    rows = differences(against.source_text, found.source_text) if against else []
    return page(
        request,
        "plan.html",
        found=found,
        against=against,
        rows=rows,
        lots=await later(_measured_lots, request),
        others=[each for each in every if each.part == found.part and each != found],
    )


@needs(Role.ENGINEER)
async def edit(request: Request) -> Response:
    """The editor on the newest revision of a part."""
    every = [each for each in await later(_revisions, request) if each.part == request.path_params["part"]]
    if not every:
        raise RecordError(f"no plan of part {request.path_params['part'][:40]} is released.")
    return await _editor(request, every[-1].source_text, None)


@needs(Role.ENGINEER)
async def draft(request: Request) -> Response:
    """The editor on a text that was brought along."""
    return await _editor(request, _text_of(await form_of(request)), None)


@needs(Role.ENGINEER)
async def replayed(request: Request) -> Response:
    """Put the form's limits, frequencies and bins into the text and show what that would do to the chosen lots."""
    form = await form_of(request)
    chosen = await fields_of(request, "lot")
    source, sent = _text_of(form), read_form(form)
    shown = form.get("shown", "").replace("\r\n", "\n")
    try:
        changes = changes_of(shown, sent, text=source, file_name="plan") if shown else sent
        source = with_form(source, changes, file_name="plan")
        plan = parse_plan(source, "plan")
        require_measurable(plan)
    except PlanError as error:
        return await _editor(request, _text_of(form), None, mistakes=str(error), chosen=chosen, sent=sent)
    records = site_of(request).workplace.station.records
    outcome = await later(replay_lots, records, plan, chosen)
    return await _editor(request, source, outcome, chosen=chosen)


@needs(Role.ENGINEER)
async def draft_from_lot(request: Request) -> Response:
    """Open the editor on a draft: limits proposed by the first units of a lot, each number marked."""
    form = await form_of(request)
    records = site_of(request).workplace.station.records
    units = form.get("units", "")
    if not units.isdecimal() or len(units) > 6:
        raise RecordError(f"Units: a whole number is needed; got {units[:20]!r}.")
    made = await later(propose_from_lot, records, form.get("lot", ""), int(units))
    return await _editor(request, made.text, None, chosen=[form.get("lot", "")], left=made.left)


@needs(Role.ENGINEER)
async def draft_from_revision(request: Request) -> Response:
    """Open the editor on a copy of a revision for another part, each number marked."""
    form = await form_of(request)
    found = _one(await later(_revisions, request), request.path_params["part"], request.path_params["revision"])
    of = f"{found.part} revision {found.revision}"
    made = draft_from_plan(found.source_text, of, part=form.get("new_part", "").strip())
    return await _editor(request, made.text, None)


@needs(Role.ENGINEER)
async def accept_proposed(request: Request) -> Response:
    """Accept the proposed numbers that are ticked, under the badge that is signed in."""
    form, ticked = await form_of(request), await fields_of(request, "line")
    station = site_of(request).workplace.station
    lines = [int(each) for each in ticked if each.isdecimal()]
    day = f"{station.clock.utc_now():%Y-%m-%d}"
    source = accept_marks(_text_of(form), lines, who=badge_of(request), day=day)
    return await _editor(request, source, None, chosen=await fields_of(request, "lot"))


@needs(Role.ENGINEER)
async def release(request: Request) -> Response:
    """Release a text as the next revision; the next run follows it."""
    form = await form_of(request)
    workplace = site_of(request).workplace
    source = _text_of(form)
    try:
        plan = parse_plan(source, "plan")
        require_measurable(plan)
        require_accepted(source, "plan")
    except PlanError as error:
        return await _editor(request, source, None, mistakes=str(error))
    records, utc = workplace.station.records, workplace.station.clock.utc_now()
    await later(lambda: records.release_plan(plan, who=badge_of(request), why=form.get("why", ""), utc=utc))
    workplace.plans_changed()
    return RedirectResponse("/plans", 303)


@needs(Role.ENGINEER)
async def judge_again(request: Request) -> Response:
    """Judge the chosen lots again under a released revision."""
    found = _one(await later(_revisions, request), request.path_params["part"], request.path_params["revision"])
    form, lots = await form_of(request), await fields_of(request, "lot")
    workplace = site_of(request).workplace
    plan = parse_plan(found.source_text, "on record")
    records, utc = workplace.station.records, workplace.station.clock.utc_now()
    why = form.get("why", "")
    moved = await later(lambda: judge_lots_again(records, plan, lots, who=badge_of(request), why=why, utc=utc))
    return page(request, "judged_again.html", found=found, lots=lots, moved=moved)


async def _editor(
    request: Request,
    source: str,
    outcome: Replay | None,
    *,
    mistakes: str = "",
    chosen: list[str] | None = None,
    sent: PlanForm | None = None,
    left: tuple[str, ...] = (),
) -> Response:
    records = site_of(request).workplace.station.records
    plan: Plan | None = None
    try:
        plan = parse_plan(source, "plan")
    except PlanError as error:
        mistakes = mistakes or str(error)
    lots = await later(_measured_lots, request)
    picked = lots[-NEWEST_LOTS:] if chosen is None else [each for each in chosen if each in lots]
    newest = [each for each in await later(records.released_plans) if plan and each.part == plan.part]
    former = parse_plan(newest[-1].source_text, "on record") if newest else None
    shown = shown_form(plan, sent) if plan else None
    return page(
        request,
        "plan_edit.html",
        status=400 if mistakes else 200,
        plan=plan,
        source=source,
        mistakes=mistakes,
        form=shown,
        takes=list(BinFor),
        left=left,
        looks=await later(looks, plan) if plan else (),
        limits=[
            (each, shown.limits[each.name], await later(_spread, request, picked, plan, each.name))
            for each in plan.characteristics
        ]
        if plan and shown
        else [],
        lots=lots,
        picked=picked,
        outcome=outcome,
        risks=await later(risk_rows, records, picked, former, plan) if plan and outcome else (),
        Side=Side,
        next_revision=(newest[-1].revision + 1) if newest else 1,
        is_released=bool(plan and records.plan_revision(plan.text_hash)),
        rows=differences(newest[-1].source_text, source) if newest and plan else [],
    )


def _spread(request: Request, lots: list[str], plan: Plan, name: str) -> Markup:
    """Draw a characteristic of the chosen lots behind its limits."""
    records = site_of(request).workplace.station.records
    found = plan.characteristic(name)
    if found is None:
        return Markup("")
    values = [float(value) for lot in lots for value in records.lot_values(lot, name).values]
    title = f"{name} of {len(values)} units of the chosen lots, with its limits"
    return svg.histogram(values, found.unit_symbol, (found.lower, found.upper), title=title)


def differences(before: str, after: str) -> list[tuple[str, str, str, str, bool]]:
    """Return rows side by side: number and line before, number and line after, whether they differ.

    Of what is alike only three lines around each change are kept; a row of dots stands for the rest.
    """
    old, new = before.splitlines(), after.splitlines()
    rows: list[tuple[str, str, str, str, bool]] = []
    for group in difflib.SequenceMatcher(None, old, new, autojunk=False).get_grouped_opcodes(3):
        if rows:
            rows.append(("", "...", "", "...", False))
        for kind, a0, a1, b0, b1 in group:
            for step in range(max(a1 - a0, b1 - b0)):
                a, b = a0 + step, b0 + step
                left = (str(a + 1), old[a]) if a < a1 else ("", "")
                right = (str(b + 1), new[b]) if b < b1 else ("", "")
                rows.append((*left, *right, kind != "equal"))
    return rows


def _revisions(request: Request) -> tuple[PlanRevision, ...]:
    return site_of(request).workplace.station.records.released_plans(every_revision=True)


def _measured_lots(request: Request) -> list[str]:
    records = site_of(request).workplace.station.records
    return [each for each in records.lots() if records.lot_summary(each).units]


def _one(every: tuple[PlanRevision, ...], part: str, number: str) -> PlanRevision:
    for each in every:
        if (each.part, str(each.revision)) == (part, number):
            return each
    raise RecordError(f"plan {part[:40]} revision {number[:10]} is not on record.")


def _text_of(form: dict[str, str]) -> str:
    """A form sends line ends as CR LF; a plan's hash is over its own ones."""
    return form.get("text", "").replace("\r\n", "\n")


def _file_name(name: str) -> str:
    return "".join(each if each.isalnum() or each in "-_." else "_" for each in name)


ROUTES = [
    Route("/plans", plans),
    Route("/plans/draft", draft, methods=["POST"]),
    Route("/plans/draft-from-lot", draft_from_lot, methods=["POST"]),
    Route("/plans/accept", accept_proposed, methods=["POST"]),
    Route("/plans/replay", replayed, methods=["POST"]),
    Route("/plans/release", release, methods=["POST"]),
    Route("/plans/{part}/edit", edit),
    Route("/plans/{part}/{revision}", revision),
    Route("/plans/{part}/{revision}/text", text),
    Route("/plans/{part}/{revision}/draft", draft_from_revision, methods=["POST"]),
    Route("/plans/{part}/{revision}/judge", judge_again, methods=["POST"]),
]
