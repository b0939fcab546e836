"""Gauge studies that were made on benches: the list, and each with its readings by unit and variance shares."""

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from station.app.accounts import Role
from station.app.study_begin import StudyWanted
from station.app.study_view import ResultView, study_lines, study_view
from station.core.characteristics import METHODS
from station.pages import svg_study
from station.pages.site import badge_of, form_of, later, needs, page, refused, site_of
from station.quality.study_state import StudyKind

MOST_DIGITS = 3


@needs(Role.ENGINEER)
async def studies(request: Request) -> Response:
    """All studies on record, newest first."""
    workplace = site_of(request).workplace
    found = await later(study_lines, workplace.station.records)
    methods = {each.method for plan in workplace.shown.plans for each in plan.characteristics}
    return page(request, "gauge.html", studies=found, methods=[each for each in METHODS if each in methods])


@needs(Role.ENGINEER)
async def study(request: Request) -> Response:
    """One study; its readings only when the last is taken."""
    found = await later(study_view, site_of(request).workplace.station.records, request.path_params["name"])
    setup = found.line.setup
    return page(
        request,
        "gauge_study.html",
        view=found,
        setup=setup,
        crossed=setup.kind is StudyKind.CROSSED,
        legend=[(svg_study.series_mark(i), badge) for i, badge in enumerate(setup.appraisers)],
        drawings=[
            (each, _unit_words(each.unit), _readings(each), _deviations(each), _shares(each))
            for each in found.results
        ],
    )


def _unit_words(unit: str) -> str:
    return ("µ" + unit[1:] if unit.startswith("u") else unit).replace("ohm", "Ω")


def _readings(result: ResultView) -> Markup:
    groups = [svg_study.Group(each.label, each.mean, each.readings) for each in result.groups]
    return svg_study.readings(
        groups,
        _unit_words(result.unit),
        result.limits,
        half_width=result.half_width,
        centre=result.centre,
        title=f"readings of {result.name} in {result.unit}; the table below has them all",
    )


def _deviations(result: ResultView) -> Markup:
    """The readings less their unit's mean: beside the limits a good gauge's own spread can't be seen."""
    if result.half_width is None:
        return Markup("")
    groups = [
        svg_study.Group(each.label, 0.0, [[value - each.mean for value in series] for series in each.readings])
        for each in result.groups
    ]
    return svg_study.readings(
        groups,
        _unit_words(result.unit),
        (None, None),
        half_width=result.half_width,
        centre=0.0,
        title=f"readings of {result.name} less the mean of their unit, in {result.unit}",
    )


def _shares(result: ResultView) -> Markup:
    if not result.shares:
        return Markup("")
    said = ", ".join(f"{name} {per_cent:.1f} %" for name, per_cent in result.shares)
    return svg_study.shares(result.shares, title=f"variance shares: {said}")


@needs(Role.ENGINEER)
async def begin(request: Request) -> Response:
    """Begin a study on the open bench; the operator's page guides through it."""
    form = await form_of(request)
    trials = form.get("trials", "").strip()
    if trials and not (trials.isascii() and trials.isdigit() and len(trials) <= MOST_DIGITS):
        return refused(request, f"Trials: must be a whole number, such as 3; got '{trials[:20]}'.")
    wanted = StudyWanted(
        units=tuple(form.get("units", "").split()),
        appraisers=tuple(form.get("appraisers", "").split()),
        method=form.get("method", ""),
        trials=int(trials) if trials else None,
        who=badge_of(request),
        why=form.get("why", "").strip(),
    )
    await later(site_of(request).workplace.studies.begin, wanted)
    return RedirectResponse("/", 303)


@needs(Role.ENGINEER)
async def go_on(request: Request) -> Response:
    """Go on with a study at the open bench."""
    await later(site_of(request).workplace.studies.take_up, request.path_params["name"])
    return RedirectResponse("/", 303)


ROUTES = [
    Route("/gauge", studies),
    Route("/gauge", begin, methods=["POST"]),
    Route("/gauge/{name}", study),
    Route("/gauge/{name}/go-on", go_on, methods=["POST"]),
]
