"""Small drawings as SVG text: histograms, rulers, profiles, scatters, curves.

Classes only, no inline style: the pages' content security policy allows none, and colours follow dark and light.
Every drawing has a title for those who hear it instead.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from markupsafe import Markup, escape

Limits = tuple[float | None, float | None]
WIDTH, HEIGHT = 360, 150
LEFT, RIGHT, TOP, BOTTOM = 46, 10, 10, 30


@dataclass(frozen=True, slots=True)
class Axis:
    """Maps values to places on paper."""

    lower: float
    upper: float
    start: float
    end: float

    def place(self, value: float) -> float:
        """Return the coordinate of `value`."""
        share = 0.5 if self.upper == self.lower else (value - self.lower) / (self.upper - self.lower)
        return round(self.start + share * (self.end - self.start), 1)

    @property
    def step(self) -> float:
        """Return the distance of the ticks: 1, 2 or 5 times a power of ten."""
        return _round_step((self.upper - self.lower) / 5)

    def ticks(self) -> list[float]:
        """Return round values within the axis, at most seven."""
        first = math.ceil(self.lower / self.step) * self.step
        return [first + i * self.step for i in range(7) if first + i * self.step <= self.upper + 1e-9 * self.step]

    def tick_text(self, tick: float) -> str:
        """Return a tick with as many digits as tell it from its neighbours."""
        return f"{tick:.{max(0, -math.floor(math.log10(self.step) + 1e-9))}f}"


def _round_step(raw: float) -> float:
    if raw <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(raw))
    return next(m * power for m in (1, 2, 5, 10) if m * power >= raw * 0.999)


def span(values: Iterable[float | None], *, margin: float = 0.06) -> tuple[float, float]:
    """Return the lowest and highest of `values` with a margin; (0, 1) for none."""
    known = [each for each in values if each is not None and math.isfinite(each)]
    if not known:
        return 0.0, 1.0
    low, high = min(known), max(known)
    room = (high - low) * margin or abs(high) * 0.01 or 1.0
    return low - room, high + room


def scaled(value: float, unit_symbol: str) -> tuple[float, str]:
    """Return the factor and the prefixed unit in which values of this size are read: (1e6, "uH")."""
    if unit_symbol in ("1", "%", "degC", "") or value == 0 or not math.isfinite(value):
        return 1.0, unit_symbol
    power = max(-12, min(9, math.floor(math.log10(abs(value))) // 3 * 3))
    prefix = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}[power]
    return 10.0**-power, f"{prefix}{unit_symbol}"


def histogram(
    values: Sequence[float], unit_symbol: str, limits: Limits, *, mark: float | None = None, title: str
) -> Markup:
    """Draw how values spread, with their limits as dashed lines and one value marked."""
    low, high = span((*values, *limits, mark))
    factor, unit = scaled(max(abs(low), abs(high)), unit_symbol)
    x = Axis(low * factor, high * factor, LEFT, WIDTH - RIGHT)
    classes = max(8, min(40, round(2 * len(values) ** (1 / 3)) + 4))
    counts = [0] * classes
    for each in values:
        counts[min(classes - 1, max(0, int((each - low) / (high - low) * classes)))] += 1
    y = Axis(0, max(5, *counts), HEIGHT - BOTTOM, TOP)  # at least 5: ticks of a count are whole
    wide = (WIDTH - RIGHT - LEFT) / classes
    parts = [
        f'<rect class="bar" x="{LEFT + i * wide + 0.5:.1f}" y="{y.place(n)}" width="{wide - 1:.1f}" '
        f'height="{HEIGHT - BOTTOM - y.place(n):.1f}"/>'
        for i, n in enumerate(counts)
        if n
    ]
    parts += _limit_lines(x, [None if each is None else each * factor for each in limits])
    if mark is not None:
        parts.append(_pointer(x.place(mark * factor)))
    return _frame(parts + _axis_x(x, unit) + _axis_y(y), title)


def ruler(value: float | None, u95: float | None, limits: Limits, *, title: str) -> Markup:
    """Draw one result between its limits: a bar from lower to upper, a lozenge with its uncertainty."""
    lower, upper = limits
    low, high = span((lower, upper, value), margin=0.18)
    if lower is not None and upper is not None:
        room = 0.35 * (upper - lower)
        low, high = lower - room, upper + room
    x = Axis(low, high, 4, 196)
    at_lower = 4.0 if lower is None else x.place(lower)
    at_upper = 196.0 if upper is None else x.place(upper)
    parts = [f'<rect class="allowed" x="{at_lower}" y="9" width="{max(0.0, at_upper - at_lower):.1f}" height="8"/>']
    parts += [f'<path class="limit" d="M{at} 5V21"/>' for at in (at_lower, at_upper)]
    if value is not None:
        at = min(196.0, max(4.0, x.place(value)))
        if u95:
            ends = [min(198.0, max(2.0, x.place(value + sign * u95))) for sign in (-1, 1)]
            parts.append(f'<path class="doubt" d="M{ends[0]} 13H{ends[1]}"/>')
        parts.append(f'<path class="mark" d="M{at} 6l5 7l-5 7l-5 -7z"/>')
    return _paper(parts, 200, 26, title, "ruler")


def profile(
    measured: Sequence[tuple[float, float]],
    limits: Sequence[tuple[float, float | None, float | None]],
    *,
    readings: Sequence[tuple[float, float]] = (),
    title: str,
) -> Markup:
    """Draw field over height as multiples of the drawing's: points, limits as bars. Heights in m.

    Against the drawing and not as such: a field falls tenfold over a few mm, and its limits would be a hair.
    A line that slopes tells of a wrong height, one that lies off 1 of a wrong coil. `readings` are single ones that
    came before the results: dots.
    """
    if not limits:
        return Markup("")
    x = Axis(0.0, max(each[0] for each in limits) * 1e3 * 1.1, LEFT, WIDTH - RIGHT)
    values = [b for _, b in (*measured, *readings)]
    low, high = span([1.0, *values, *(v for _, *pair in limits for v in pair)], margin=0.12)
    y = Axis(low, high, HEIGHT - BOTTOM, TOP)
    parts = [f'<path class="design" d="M{LEFT} {y.place(1.0)}H{WIDTH - RIGHT}"/>']
    for height, lower, upper in limits:
        at = x.place(height * 1e3)
        bottom, top = (y.start if lower is None else y.place(lower)), (y.end if upper is None else y.place(upper))
        parts.append(f'<rect class="allowed" x="{at - 5:.1f}" y="{top}" width="10" height="{bottom - top:.1f}"/>')
        parts.append(f'<path class="limit" d="M{at - 8:.1f} {top}h16M{at - 8:.1f} {bottom}h16"/>')
    parts += [
        f'<circle class="dot" cx="{x.place(height * 1e3)}" cy="{y.place(field)}" r="3"/>' for height, field in readings
    ]
    for height, field in measured:
        parts.append(f'<path class="mark" d="M{x.place(height * 1e3)} {y.place(field) - 6:.1f}l5 6l-5 6l-5 -6z"/>')
    return _frame(parts + _axis_x(x, "mm") + _axis_y(y, unit="× drawing"), title)


@dataclass(frozen=True, slots=True)
class Point:
    """A point of a scatter. `kind` is a class of the style sheet: `pass`, `fail` or `invalid`."""

    x: float
    y: float
    kind: str
    link: str
    label: str


def scatter(points: Sequence[Point], units: tuple[str, str], limits: tuple[Limits, Limits], *, title: str) -> Markup:
    """Draw one characteristic against another; each point leads to its unit, its shape tells its decision."""
    if not points:
        return Markup("")
    low_x, high_x = span([*(each.x for each in points), *limits[0]])
    low_y, high_y = span([*(each.y for each in points), *limits[1]])
    fx, unit_x = scaled(max(abs(low_x), abs(high_x)), units[0])
    fy, unit_y = scaled(max(abs(low_y), abs(high_y)), units[1])
    height = 260
    x = Axis(low_x * fx, high_x * fx, LEFT, WIDTH - RIGHT)
    y = Axis(low_y * fy, high_y * fy, height - BOTTOM, TOP)
    parts = _limit_lines(x, [None if each is None else each * fx for each in limits[0]], height=height)
    for limit in limits[1]:
        if limit is not None:
            parts.append(f'<path class="limit" d="M{LEFT} {y.place(limit * fy)}H{WIDTH - RIGHT}"/>')
    shapes = {"pass": "m-2 0a2 2 0 1 0 4 0a2 2 0 1 0-4 0", "fail": "m-3-3l6 6m-6 0l6-6", "invalid": "m0-3l3 5h-6z"}
    for each in points:
        parts.append(
            f'<a href="{escape(each.link)}" aria-label="{escape(each.label)}"><path class="{each.kind}" '
            f'd="M{x.place(each.x * fx)} {y.place(each.y * fy)}{shapes[each.kind]}"/></a>'
        )
    drawn = parts + _axis_x(x, unit_x, height=height) + _axis_y(y, unit=unit_y)
    return _paper(drawn, WIDTH, height, title, "chart", role="group")


def curve(points: Sequence[tuple[float, float]], x_unit: str, y_unit: str, *, title: str) -> Markup:
    """Draw a curve through points; only the points if they go back and forth in x. Nothing for a single x."""
    if len({x for x, _ in points}) < 2:
        return Markup("")
    (x0, x1), (y0, y1) = span(each[0] for each in points), span(each[1] for each in points)
    fx, unit_x = scaled(max(abs(x0), abs(x1)), x_unit)
    fy, unit_y = scaled(max(abs(y0), abs(y1)), y_unit)
    x, y = Axis(x0 * fx, x1 * fx, LEFT, WIDTH - RIGHT), Axis(y0 * fy, y1 * fy, HEIGHT - BOTTOM, TOP)
    places = [(x.place(a * fx), y.place(b * fy)) for a, b in points]
    if all(a < b for (a, _), (b, _) in pairwise(points)):
        drawn = [f'<polyline class="curve" points="{" ".join(f"{a},{b}" for a, b in places)}"/>']
    else:
        drawn = [f'<circle class="dot" cx="{a}" cy="{b}" r="2.5"/>' for a, b in places]
    return _frame([*drawn, *_axis_x(x, unit_x), *_axis_y(y, unit=unit_y)], title)


def heating(
    points: Sequence[tuple[float, float]],
    foretold: tuple[float, float] | None,
    levels: Sequence[tuple[float, str]],
    limit_k: float | None,
    *,
    title: str,
) -> Markup:
    """Draw a rise in K over time in s while it climbs, and where it is foretold to settle.

    Args:
        points: (time, rise), in order of time.
        foretold: steady rise and the half width of its interval; None: not known, or over.
        levels: where each drive level begins, and what it is called.
        limit_k: of the level that is on.
    """
    if len(points) < 2:
        return Markup("")
    end_s = points[-1][0]
    room = 1.25 if foretold else 1.02
    x = Axis(0.0, max(end_s * room, 5.0), LEFT, WIDTH - RIGHT)
    ends = [] if foretold is None else [foretold[0] - foretold[1], foretold[0] + foretold[1]]
    top = max([*(each for _, each in points), *([limit_k] if limit_k else [])])
    y = Axis(0.0, max(5.0, 1.1 * max([top, *(each for each in ends if each < 2.5 * top)])), HEIGHT - BOTTOM, TOP)
    parts = []
    for start_s, name in levels:
        at = x.place(start_s)
        parts.append(f'<path class="level" d="M{at} {TOP}V{HEIGHT - BOTTOM}"/>')
        parts.append(f'<text x="{at + 3}" y="{HEIGHT - BOTTOM - 4}" class="tick start">{escape(name)}</text>')
    if limit_k is not None:
        parts.append(f'<path class="limit" d="M{LEFT} {y.place(limit_k)}H{WIDTH - RIGHT}"/>')
    if foretold is not None:
        upper, lower = (max(TOP, min(y.start, y.place(foretold[0] + sign * foretold[1]))) for sign in (1, -1))
        start, at = x.place(end_s), max(TOP, y.place(foretold[0]))
        wide, high = round(WIDTH - RIGHT - start, 1), max(1.0, lower - upper)
        parts.append(f'<rect class="foretold" x="{start}" y="{upper}" width="{wide}" height="{high:.1f}"/>')
        parts.append(f'<path class="foretold-line" d="M{start} {at}H{WIDTH - RIGHT}"/>')
    places = " ".join(f"{x.place(a)},{y.place(max(0.0, b))}" for a, b in points)
    parts.append(f'<polyline class="curve hot" points="{places}"/>')
    return _frame([*parts, *_axis_x(x, "s"), *_axis_y(y, unit="K")], title)


CELL_W, CELL_H = 26, 15
_GLYPHS = {
    "pass": '<circle class="pass" cx="{x}" cy="{y}" r="4.5"/>',
    "fail": '<path class="fail" d="M{x} {y}m-4-4l8 8m-8 0l8-8"/>',
    "not_measured": '<path class="invalid" d="M{x} {y}m0-5l5.5 9h-11z"/>',
    "held": '<path class="held" d="M{x} {y}m-5-5h10v10h-10z"/>',
    "skipped": '<path class="skipped" d="M{x} {y}m-5-4l5 4l-5 4m5-8l5 4l-5 4"/>',
    "missing": '<path class="absent" d="M{x} {y}m-5-5h10v10h-10zm0 10l10-10"/>',
}


def places(
    rows: Sequence[str],
    columns: Sequence[str],
    states: Mapping[tuple[str, str], str],
    next_at: tuple[str, str] | None,
    *,
    title: str,
) -> Markup:
    """Draw places in rows and columns, a shape for each state, with the next one in a frame.

    `states` by (row, column): `to_do` (empty), `pass`, `fail`, `not_measured`, `held`, `skipped`, `missing`.
    """
    parts = []
    for i, column in enumerate(columns):
        parts.append(f'<text x="{24 + (i + 0.5) * CELL_W}" y="10" class="tick">{escape(column)}</text>')
    for j, row in enumerate(rows):
        y = 14 + j * CELL_H
        parts.append(f'<text x="18" y="{y + 11}" class="tick end">{escape(row)}</text>')
        for i, column in enumerate(columns):
            x = 24 + i * CELL_W
            parts.append(f'<rect class="place" x="{x + 1}" y="{y + 1}" width="{CELL_W - 2}" height="{CELL_H - 2}"/>')
            glyph = _GLYPHS.get(states.get((row, column), ""), "")
            parts.append(glyph.format(x=x + CELL_W / 2, y=y + CELL_H / 2))
    if next_at is not None:
        x, y = 24 + columns.index(next_at[1]) * CELL_W, 14 + rows.index(next_at[0]) * CELL_H
        parts.append(f'<rect class="next-place" x="{x}" y="{y}" width="{CELL_W}" height="{CELL_H}"/>')
        if states.get(next_at, "to_do") == "to_do":
            parts.append(f'<path class="next-arrow" d="M{x + 8} {y + 3.5}l9 4l-9 4z"/>')
    return _paper(parts, 26 + CELL_W * len(columns), 18 + CELL_H * len(rows), title, "chart places")


def _limit_lines(x: Axis, limits: Iterable[float | None], *, height: int = HEIGHT) -> list[str]:
    return [
        f'<path class="limit" d="M{x.place(each)} {TOP}V{height - BOTTOM}"/>' for each in limits if each is not None
    ]


def _pointer(at: float) -> str:
    foot = HEIGHT - BOTTOM
    line = f'<path class="pointer" d="M{at} {TOP}V{foot - 10}"/>'
    return f'<path class="mark" d="M{at} {foot}l-6 -11h12z"/>{line}'


def _axis_x(x: Axis, unit: str, *, height: int = HEIGHT) -> list[str]:
    foot = height - BOTTOM
    parts = [f'<path class="axis" d="M{LEFT} {foot}H{WIDTH - RIGHT}"/>']
    for tick in x.ticks():
        at = x.place(tick)
        parts.append(f'<path class="axis" d="M{at} {foot}v3"/>')
        parts.append(f'<text x="{at}" y="{foot + 14}" class="tick">{x.tick_text(tick)}</text>')
    if unit not in ("", "1"):
        parts.append(f'<text x="{WIDTH - RIGHT}" y="{foot + 26}" class="unit">{_printed(unit)}</text>')
    return parts


def _axis_y(y: Axis, *, unit: str = "") -> list[str]:
    parts = [f'<path class="axis" d="M{LEFT} {y.end}V{y.start}"/>']
    for tick in y.ticks()[:7]:
        parts.append(f'<text x="{LEFT - 4}" y="{y.place(tick) + 4}" class="tick end">{y.tick_text(tick)}</text>')
    if unit not in ("", "1"):
        parts.append(f'<text x="{LEFT + 4}" y="{TOP + 8}" class="unit start">{_printed(unit)}</text>')
    return parts


def _printed(unit: str) -> Markup:
    return escape(unit.replace("ohm", "Ω"))


def _frame(parts: Iterable[str], title: str) -> Markup:
    return _paper(parts, WIDTH, HEIGHT, title, "chart")


def _paper(parts: Iterable[str], width: int, height: int, title: str, kind: str, *, role: str = "img") -> Markup:
    inside = "".join(parts)
    return Markup(
        f'<svg class="{kind}" viewBox="0 0 {width} {height}" role="{role}" aria-label="{escape(title)}">{inside}</svg>'
    )
