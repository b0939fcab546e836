"""Facts as people read them on a page: numbers with their units, decisions as word and shape, times of day."""

from datetime import UTC, datetime

from markupsafe import Markup

from station.core.quantity import format_quantity
from station.core.results import Decision, Result, ResultStatus

WORDS = {Decision.PASS: "pass", Decision.FAIL: "fail", Decision.INVALID: "not measured"}
KINDS = {Decision.PASS: "pass", Decision.FAIL: "fail", Decision.INVALID: "invalid"}

# Colours after IEC 60073: green normal, red faulty, yellow abnormal, blue mandatory action; never colour alone.
_SHAPES = {
    "pass": '<circle cx="12" cy="12" r="10"/><path class="cut" d="M7 12.5l3.5 3.5l6.5-7.5"/>',
    "fail": '<path d="M8 2h8l6 6v8l-6 6H8l-6-6V8z"/><path class="cut" d="M8 8l8 8M16 8l-8 8"/>',
    "invalid": '<path d="M12 2l11 20H1z"/>'
    '<path class="cut" d="M9.5 11a2.6 2.6 0 1 1 3.6 2.4q-1.1.5-1.1 1.9M12 18.4v.4"/>',
    "action": '<path d="M3 7h10V2l9 10l-9 10v-5H3z"/>',
    "driven": '<rect x="2" y="2" width="20" height="20" rx="4"/><path class="cut" d="M13 4l-6 9h4l-1 7l7-10h-4.500z"/>',
    "held": '<path d="M3 3h18v18H3z"/><path class="cut" d="M9 7v10M15 7v10"/>',
}


def shape(kind: str) -> Markup:
    """Return the shape that stands beside a word, hidden from screen readers, which have the word."""
    return Markup(f'<svg class="shape {kind}" viewBox="0 0 24 24" aria-hidden="true">{_SHAPES[kind]}</svg>')


def decision(found: Decision | None) -> Markup:
    """Return a decision as shape and word."""
    if found is None:
        return Markup('<span class="said">under way</span>')
    return Markup(f'<span class="said {KINDS[found]}">{shape(KINDS[found])}{WORDS[found]}</span>')


def quantity(value: float | None, unit_symbol: str, digits: int = 4) -> str:
    """Return a value with its unit: `7.812 Ω`."""
    return format_quantity(value, unit_symbol, digits=digits).replace(" u", " µ").replace("ohm", "Ω")


def result(found: Result) -> str:
    """Return a result: value with expanded uncertainty, or why there is none."""
    if found.status is not ResultStatus.MEASURED or found.value is None:
        return found.status.value
    said = quantity(found.value, found.unit_symbol)
    if found.expanded_uncertainty is not None:
        said += f" ± {quantity(found.expanded_uncertainty, found.unit_symbol, 2)}"
    return said


def percent(fraction: float | None) -> str:
    """Return a fraction in per cent; a dash if there is none."""
    return "–" if fraction is None else f"{100 * fraction:.1f} %"


def moment(when: datetime) -> str:
    """Return a time with its date, in the bench's own time zone, with the offset."""
    return when.astimezone().strftime("%Y-%m-%d %H:%M UTC%z")


def clock_time(when: datetime) -> str:
    """Return a time of day; with the date if it is another day."""
    local = when.astimezone()
    today = datetime.now(UTC).astimezone().date()
    return local.strftime("%H:%M") if local.date() == today else local.strftime("%Y-%m-%d %H:%M")
