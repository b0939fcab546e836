"""What is drawn on the operator's board: the lot's spread, the field's profile, the heating curve."""

from markupsafe import Markup

from station.app.drawing import axial_field
from station.app.shown import SPREAD_OF, Shown
from station.core.board import Board
from station.core.characteristics import field_name, rise_name
from station.core.events import FieldReading, HeatingSample
from station.core.limits import judge
from station.core.panel import PanelWay, PlaceState
from station.core.plan import FieldStep, Plan
from station.core.results import Result
from station.pages import svg
from station.pages.words import WORDS, quantity, result, settling_words, span_words

COVERAGE = 1.96
"""95 % of a normal distribution: the fit's uncertainties are widened so that this covers."""

_QUANTITIES = {"V": "voltage_v", "A": "current_a"}


def field_profile(
    plan: Plan | None, results: tuple[Result, ...], *, taken: tuple[FieldReading, ...] = ()
) -> Markup:
    """Draw the field over height against drawing and limits, as it comes; nothing for a plan without field.

    `taken`: single readings, shown while there is no result.
    """
    step = next((each for each in plan.steps if isinstance(each, FieldStep)), None) if plan else None
    if plan is None or step is None or not step.heights_m:
        return Markup("")
    drawn = _drawn(plan, step)
    fields = [each for each in plan.characteristics if each.name in drawn]
    measured = [
        (drawn[each.characteristic][0], each.value / drawn[each.characteristic][1])
        for each in results
        if each.characteristic in drawn and each.value is not None
    ]
    limits = [
        (
            drawn[each.name][0],
            None if each.lower is None else each.lower / drawn[each.name][1],
            None if each.upper is None else each.upper / drawn[each.name][1],
        )
        for each in fields
    ]
    readings = () if measured else _readings(step, drawn, taken)
    title = "field over height, as multiples of the drawing's, with limits"
    return svg.profile(measured, limits, readings=readings, title=title)


def _readings(
    step: FieldStep, drawn: dict[str, tuple[float, float]], taken: tuple[FieldReading, ...]
) -> list[tuple[float, float]]:
    """Return what each height has shown so far: the mean of both signs of the current, once both were measured."""
    found = []
    for height_m in step.heights_m:
        signs = [[e.field_t_per_a for e in taken if (e.height_m, e.sign) == (height_m, s)] for s in (1, -1)]
        means = [sum(each) / len(each) for each in signs if each]
        if means:
            found.append((height_m, sum(means) / len(means) / drawn[field_name(height_m)][1]))
    return found


_DRAWN: dict[str, dict[str, tuple[float, float]]] = {}


def _drawn(plan: Plan, step: FieldStep) -> dict[str, tuple[float, float]]:
    """Return height in m and the drawing's field in T/A by characteristic; kept a plan, it takes a moment."""
    if plan.text_hash not in _DRAWN:
        field = axial_field(plan.coil)
        _DRAWN[plan.text_hash] = {field_name(each): (each, field(each, 0.0)) for each in step.heights_m}
    return _DRAWN[plan.text_hash]


def spread(shown: Shown) -> Markup:
    """Draw where this unit's R lies in the lot so far."""
    plan = shown.plan
    found = plan.characteristic(SPREAD_OF) if plan else None
    if found is None:
        return Markup("")
    board = shown.board
    results = [each.value for each in board.results if each.characteristic == SPREAD_OF]
    readings = [each.value for each in board.readings if each.characteristic == SPREAD_OF]
    own = next(iter([*results, *readings]), None)
    title = f"{SPREAD_OF} of {len(shown.spread)} units of the lot so far"
    if own is not None:
        title += f", this unit {quantity(own, 'ohm')}"
    return svg.histogram(shown.spread, "ohm", (found.lower, found.upper), mark=own, title=title)


def heating_curve(shown: Shown) -> Markup:
    """Draw the rise over time with what it is foretold to be; nothing for a unit that is not heated."""
    curve = shown.board.curve
    if not curve or shown.plan is None:
        return Markup("")
    starts = {each.level: (each.time_s, f"{each.drive:g} {each.drive_unit}") for each in reversed(curve)}
    limit = _limit_k(shown.plan, curve[-1])
    foretold = _settled(shown.board, rise_name(curve[-1].drive, _QUANTITIES[curve[-1].drive_unit]))
    return svg.heating(
        [(each.time_s, each.rise_k) for each in curve],
        foretold,
        [starts[level] for level in sorted(starts)],
        limit,
        title="rise of the winding over time" + (", and where it settles" if foretold else ""),
    )


def heating_words(shown: Shown) -> str:
    """Say the same as the curve: rise, foretold rise with its interval, time left; the judged rises at the end."""
    board = shown.board
    if not board.curve or shown.plan is None:
        return ""
    if board.decided is not None:
        return "; ".join(_judged(shown.plan, board)) or "the curve as far as it came"
    last = board.curve[-1]
    said = f"level {last.level} of {last.levels}, {last.drive:g} {last.drive_unit}: rise {last.rise_k:.1f} K"
    foretold = _foretold(last)
    if foretold is not None:
        said += f", will settle at {settling_words(*foretold)} (wanted within {last.wanted_k:.2g} K)"
    if not board.driven:
        return f"{said}; cooling"
    return f"{said}; {_left(board.usual_heating_s, last)}"


def _left(usual_s: float, last: HeatingSample) -> str:
    """Say how long it will take yet: known for a full soak; else by the last unit, and at most."""
    if last.soaked_out:
        return f"{span_words(last.left_s)} left, soaked out to check what is foretold"
    most = f"at most {span_words(last.left_s)} left, less as soon as the foretold rise is sure"
    left_s = usual_s - last.time_s
    return f"about {span_words(left_s)} left as for the last unit, {most}" if left_s > 0.5 else most


def _foretold(last: HeatingSample) -> tuple[float, float] | None:
    """Return the foretold steady rise and the half width of its 95 % interval; None while nothing is known."""
    if last.foretold_rise_k is None or last.foretold_uncertainty_k is None:
        return None
    return last.foretold_rise_k, COVERAGE * last.foretold_uncertainty_k


def _settled(board: Board, name: str) -> tuple[float, float] | None:
    """Return where the curve ends: the result if there is one, else what is foretold."""
    for each in board.results:
        if each.characteristic == name and each.value is not None and each.expanded_uncertainty is not None:
            return each.value, each.expanded_uncertainty
    return None if board.decided else _foretold(board.curve[-1])


def _limit_k(plan: Plan, last: HeatingSample) -> float | None:
    found = plan.characteristic(rise_name(last.drive, _QUANTITIES[last.drive_unit]))
    return None if found is None else found.upper


def _judged(plan: Plan, board: Board) -> list[str]:
    """Return each limited rise with its decision."""
    found = []
    for each in board.results:
        limited = plan.characteristic(each.characteristic)
        if limited is None or not each.characteristic.startswith("rise"):
            continue
        decision = judge(limited, each).decision
        found.append(f"{each.characteristic} {result(each)}" + (f": {WORDS[decision]}" if decision else ""))
    return found


def panel_map(way: PanelWay | None) -> Markup:
    """Draw a panel's places: done ones by word and shape, the next one framed."""
    if way is None:
        return Markup("")
    rows = list(dict.fromkeys(each.row for each in way.places))
    columns = list(dict.fromkeys(each.column for each in way.places))
    due = way.next
    cells = {(each.row, each.column): each.state.name.lower() for each in way.places}
    next_at = None if due is None else (due.row, due.column)
    comes = "nothing is left to do" if due is None else f"{due.name} comes next"
    return svg.places(rows, columns, cells, next_at, title=f"panel {way.panel}: {comes}; {way.words}")


def panel_words(way: PanelWay | None) -> str:
    """Say which place comes next and how to go on; empty without a panel."""
    if way is None:
        return ""
    due = way.next
    if due is None:
        return f"Panel {way.panel} is done: {way.words}. Scan the next panel."
    how = "scan its unit" if way.unit_labels else "take its unit, press Enter"
    again = {PlaceState.NOT_MEASURED: " once more", PlaceState.SKIPPED: ", skipped before"}.get(due.state, "")
    return f"Place {due.name}{again}: {how}."
