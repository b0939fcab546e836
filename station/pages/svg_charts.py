"""Control charts as SVG text: points in order with centre line and limits; each point leads somewhere."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from station.pages.svg import Axis, scaled, span

WIDTH, HEIGHT = 720, 150
LEFT, RIGHT, TOP, BOTTOM = 52, 62, 10, 10
_DOT, _CROSS = "m-2.200 0a2.200 2.200 0 1 0 4.400 0a2.200 2.200 0 1 0-4.400 0", "m-4-4l8 8m-8 0l8-8"


@dataclass(frozen=True, slots=True)
class Plotted:
    """One point. `label` is what a screen reader says; a point that completes a pattern is `marked`."""

    value: float
    link: str
    label: str
    marked: bool


def control_chart(
    points: Sequence[Plotted], lines: tuple[float, float, float], unit_symbol: str, *, title: str
) -> Markup:
    """Draw points in order with (lower limit, centre, upper limit); marked ones as crosses, never by colour alone."""
    if not points:
        return Markup("")
    low, high = span([*(each.value for each in points), *lines])
    factor, unit = scaled(max(abs(low), abs(high)), unit_symbol)
    y = Axis(low * factor, high * factor, HEIGHT - BOTTOM, TOP)
    x = Axis(1, max(2, len(points)), LEFT + 6, WIDTH - RIGHT - 6)
    parts = [f'<path class="axis" d="M{LEFT} {TOP}V{HEIGHT - BOTTOM}"/>']
    for tick in y.ticks():
        parts.append(f'<text x="{LEFT - 4}" y="{y.place(tick) + 4}" class="tick end">{y.tick_text(tick)}</text>')
    if unit != "1":
        parts.append(f'<text x="{LEFT + 4}" y="{TOP + 8}" class="unit start">{escape(unit.replace("ohm", "Ω"))}</text>')
    for value, kind, words in zip(lines, ("limit", "axis", "limit"), ("lower", "centre", "upper"), strict=True):
        at = y.place(value * factor)
        parts.append(f'<path class="{kind}" d="M{LEFT} {at}H{WIDTH - RIGHT}"/>')
        parts.append(f'<text x="{WIDTH - RIGHT + 4}" y="{at + 3}" class="start">{words}</text>')
    places = [(x.place(i), y.place(each.value * factor)) for i, each in enumerate(points, start=1)]
    parts.append(f'<polyline class="run" points="{" ".join(f"{a},{b}" for a, b in places)}"/>')
    for each, (a, b) in zip(points, places, strict=True):
        kind, shape = ("fail", _CROSS) if each.marked else ("dot", _DOT)
        path = f'<path class="{kind}" d="M{a} {b}{shape}"/>'
        parts.append(f'<a href="{escape(each.link)}" aria-label="{escape(each.label)}">{path}</a>')
    head = f'<svg class="chart" viewBox="0 0 {WIDTH} {HEIGHT}" role="group" aria-label="{escape(title)}">'
    return Markup(f"{head}{''.join(parts)}</svg>")
