"""Facts as people read them on a page: numbers with their units, decisions as word and shape, times of day."""

import math
from datetime import UTC, datetime

from markupsafe import Markup

from station.core.quantity import format_quantity
from station.core.results import Decision, Result, ResultStatus
from station.pages.svg import scaled

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
    # Hot surface, after the meaning of IEC 60417-5041; our own drawing.
    "hot": '<rect x="2" y="2" width="20" height="20" rx="4"/>'
    '<path class="cut" d="M5.5 18.5h13M8 15.5q-2-2.5 0-5t0-5M12 15.5q-2-2.5 0-5t0-5M16 15.5q-2-2.5 0-5t0-5"/>',
    "conceded": '<path d="M12 1l11 11l-11 11l-11-11z"/><path class="cut" d="M7 12.5q2.500-3 5 0t5 0"/>',
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


def standing(found: Decision | None, concession: str) -> Markup:
    """Return a decision as shape and word; of a unit that was accepted though it fails, how: never as a pass."""
    if not concession or found is not Decision.FAIL:
        return decision(found)
    link = Markup('<a href="/concessions/{}">{}</a>').format(concession, concession)
    return Markup('<span class="said conceded">{} accepted by concession {}</span>').format(shape("conceded"), link)


def quantity(value: float | None, unit_symbol: str, digits: int = 4) -> str:
    """Return a value with its unit: `7.812 Ω`."""
    return format_quantity(value, unit_symbol, digits=digits).replace(" u", " µ").replace("ohm", "Ω")


def result(found: Result) -> str:
    """Return a result: value and expanded uncertainty in one unit, `7.812 ± 0.010 Ω`; or why there is none.

    The uncertainty has two digits, the value ends where it ends (GUM 7.2.6).
    """
    value, u95 = found.value, found.expanded_uncertainty
    if found.status is not ResultStatus.MEASURED or value is None:
        return found.status.value
    if u95 is None or not u95 > 0.0:
        return quantity(value, found.unit_symbol)
    factor, unit = scaled(value, found.unit_symbol)
    places = max(0, 1 - math.floor(math.log10(u95 * factor)))
    said = f"{value * factor:.{places}f} ± {u95 * factor:.{places}f} {'' if unit == '1' else unit}"
    return said.replace("ohm", "Ω").strip()


def percent(fraction: float | None) -> str:
    """Return a fraction in per cent; a dash if there is none."""
    return "–" if fraction is None else f"{100 * fraction:.1f} %"


def share(fraction: float) -> str:
    """Return a small share as people read it: per cent, or parts per million below a hundredth of that."""
    if fraction >= 1e-4:
        return f"{100 * fraction:.3g} %"
    return "below 1 ppm" if fraction < 1e-6 else f"{1e6 * fraction:.3g} ppm"


def likelihood(probability: float) -> str:
    """Return a probability in whole per cent; never 0 or 100, which no list of causes can claim."""
    return f"{min(99, max(1, round(100 * probability)))} %"


def freedom(value: float) -> str:
    """Return degrees of freedom, or a factor that may be infinite."""
    return "∞" if value > 1e9 else f"{value:.0f}" if value >= 100 else f"{value:.3g}"


def moment(when: datetime) -> str:
    """Return a time with its date, in the bench's own time zone, with the offset unless that is none."""
    local = when.astimezone()
    offset = local.strftime("%z")
    return f"{local:%Y-%m-%d %H:%M} UTC" + ("" if offset == "+0000" else f"{offset[:3]}:{offset[3:]}")


def to_the_second(when: datetime) -> str:
    """Return a time of day to the second: for what somebody waits for."""
    return when.astimezone().strftime("%H:%M:%S")


def span_words(seconds: float) -> str:
    """Return a span of time as people say it, rounded up: `1 min 40 s`."""
    whole = math.ceil(seconds)
    return f"{whole} s" if whole < 60 else f"{whole // 60} min {whole % 60:02d} s"


def settling_words(rise_k: float, half_width_k: float) -> str:
    """Return a foretold rise with the half width of its interval: `29.0 ± 1.0 K`, `28.53 ± 0.03 K`."""
    places = 1 if half_width_k >= 0.1 else 2
    return f"{rise_k:.{places}f} ± {max(0.01, half_width_k):.{places}f} K"


def clock_time(when: datetime) -> str:
    """Return a time of day; with the date if it is another day."""
    local = when.astimezone()
    today = datetime.now(UTC).astimezone().date()
    return local.strftime("%H:%M") if local.date() == today else local.strftime("%Y-%m-%d %H:%M")
