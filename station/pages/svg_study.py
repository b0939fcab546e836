"""Drawings of a gauge study as SVG text: readings by unit with limits, variance shares. Classes only, as in `svg`."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from station.pages.svg import Axis, span

WIDTH, HEIGHT = 720, 320
LEFT, RIGHT, TOP = 64, 12, 14
LETTER, LEAST_FOOT = 6.0, 28
"""A label's letter is so wide at most; room for labels at least."""
BAR_WIDTH, BAR_HEIGHT = 360, 22
NAME, PER_CENT = 120, 50

_SHAPES = (
    "m-3.5 0a3.5 3.5 0 1 0 7 0a3.5 3.5 0 1 0-7 0",
    "m-3.2-3.2h6.4v6.4h-6.4z",
    "m0-4.5l4.3 7.5h-8.6z",
    "m0-4.6l4.6 4.6l-4.6 4.6l-4.6-4.6z",
)


@dataclass(frozen=True, slots=True)
class Group:
    """Readings that stand beside each other: `series` has those of each appraiser, in order."""

    label: str
    mean: float
    series: Sequence[Sequence[float]]


def series_mark(number: int) -> Markup:
    """Return the shape of a series, for a legend that names it."""
    mark = _mark(number, 6.0, 6.0)
    return Markup(f'<svg class="series" viewBox="0 0 12 12" aria-hidden="true">{mark}</svg>')


def readings(
    groups: Sequence[Group],
    unit: str,
    limits: tuple[float | None, float | None],
    *,
    half_width: float | None = None,
    centre: float | None = None,
    title: str,
) -> Markup:
    """Draw readings by group, a shape a series; dashed limits, a bar of +-`half_width` about each group's mean.

    Args:
        half_width: U of one reading; None: no bars.
        centre: a value that is drawn across, such as an assigned one.
    """
    values = [value for group in groups for series in group.series for value in series]
    longest = max(len(each.label) for each in groups)
    upright = longest * LETTER * len(groups) <= WIDTH - LEFT - RIGHT
    foot = HEIGHT - max(LEAST_FOOT, 0 if upright else longest * LETTER + 12)
    reach = [each.mean + sign * half_width for each in groups for sign in (-1, 1)] if half_width is not None else []
    low, high = span([*values, *limits, *reach, centre])
    y = Axis(low, high, foot, TOP)
    wide = (WIDTH - LEFT - RIGHT) / len(groups)
    parts = [*_across(y, limits, centre), *_axes(y, foot, unit)]
    for place, group in enumerate(groups):
        middle = LEFT + (place + 0.5) * wide
        if half_width is not None:
            top, bottom = y.place(group.mean + half_width), y.place(group.mean - half_width)
            # Of a good gauge the bar is thinner than a hair: then it is the line of the mean.
            height = max(1.5, bottom - top)
            at = (top + bottom) / 2.0 - height / 2.0
            parts.append(
                f'<rect class="allowed" x="{middle - 0.42 * wide:.1f}" y="{at:.1f}" width="{0.84 * wide:.1f}" '
                f'height="{height:.1f}"/>'
            )
        parts.append(_label(group.label, middle, foot, upright))
        count = len(group.series)
        for number, series in enumerate(group.series):
            x = middle + (number - (count - 1) / 2.0) * 0.6 * wide / count
            parts += [_mark(number, x, y.place(value)) for value in series]
    return _paper(parts, WIDTH, HEIGHT, title, "chart")


def shares(rows: Sequence[tuple[str, float]], *, title: str) -> Markup:
    """Draw per cents as bars with their names and numbers."""
    x = Axis(0.0, 100.0, NAME, BAR_WIDTH - PER_CENT)
    parts = []
    for place, (name, per_cent) in enumerate(rows):
        top = 4 + place * BAR_HEIGHT
        end = x.place(per_cent)
        parts.append(f'<text class="end" x="{NAME - 6}" y="{top + 13}">{escape(name)}</text>')
        parts.append(f'<rect class="bar" x="{NAME}" y="{top + 2}" width="{end - NAME:.1f}" height="14"/>')
        parts.append(f'<text class="start" x="{end + 5:.1f}" y="{top + 13}">{per_cent:.1f} %</text>')
    parts.append(f'<path class="axis" d="M{NAME} 2v{BAR_HEIGHT * len(rows)}"/>')
    return _paper(parts, BAR_WIDTH, 8 + BAR_HEIGHT * len(rows), title, "chart shares")


def _mark(number: int, x: float, y: float) -> str:
    shape = _SHAPES[number % len(_SHAPES)]
    return f'<path class="series-{number % len(_SHAPES)}" d="M{x:.1f} {y:.1f}{shape}"/>'


def _across(y: Axis, limits: tuple[float | None, float | None], centre: float | None) -> list[str]:
    lines = [
        f'<path class="limit" d="M{LEFT} {y.place(each)}H{WIDTH - RIGHT}"/>' for each in limits if each is not None
    ]
    if centre is not None:
        lines.append(f'<path class="design" d="M{LEFT} {y.place(centre)}H{WIDTH - RIGHT}"/>')
    return lines


def _axes(y: Axis, foot: float, unit: str) -> list[str]:
    parts = [f'<path class="axis" d="M{LEFT} {TOP}V{foot}H{WIDTH - RIGHT}"/>']
    for tick in y.ticks():
        parts.append(f'<text x="{LEFT - 5}" y="{y.place(tick) + 4}" class="tick end">{y.tick_text(tick)}</text>')
    if unit not in ("", "1"):
        parts.append(f'<text x="{LEFT + 4}" y="{TOP - 3}" class="unit start">{escape(unit)}</text>')
    return parts


def _label(label: str, x: float, foot: float, upright: bool) -> str:
    if upright:
        return f'<text class="tick" x="{x:.1f}" y="{foot + 15:.1f}">{escape(label)}</text>'
    # A quarter turn, reading upwards.
    turned = f'transform="rotate(-90 {x + 4:.1f} {foot + 6:.1f})"'
    return f'<text class="tick end" x="{x + 4:.1f}" y="{foot + 6:.1f}" {turned}>{escape(label)}</text>'


def _paper(parts: Sequence[str], width: int, height: int, title: str, kind: str) -> Markup:
    inside = "".join(parts)
    return Markup(
        f'<svg class="{kind}" viewBox="0 0 {width} {height}" role="img" aria-label="{escape(title)}">{inside}</svg>'
    )
