"""A page of trends: one drawing a figure over the accepted and the recent nights, what is worst first.

One file, no script, nothing fetched: it can be mailed, or put on any server.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from html import escape

from station.nightly.compared import SMALLEST
from station.nightly.figures import FIGURES, Better, Figure
from station.nightly.kept import Night
from station.nightly.scenario import Scenario

NIGHTS_DRAWN = 30
NAMED = 3
"""Lines of a drawing that are named; the others are grey."""

_WIDTH, _HEIGHT, _LEFT, _RIGHT, _TOP, _BOTTOM = 720, 150, 60, 190, 12, 22
_STYLE = """
body{font:15px/1.45 system-ui,sans-serif;max-width:60rem;margin:2rem auto;padding:0 1rem;color:#1a1a1a;background:#fff}
h2{font-size:1.05rem;margin:2.2rem 0 .2rem}p{margin:.2rem 0}.quiet{color:#595959}.worse{font-weight:600}
table{border-collapse:collapse;margin:.4rem 0}td,th{text-align:right;padding:.1rem .8rem .1rem 0}
td:first-child,th:first-child{text-align:left}th{font-weight:600;border-bottom:1px solid #999}
svg{max-width:100%;height:auto}svg text{font:12px system-ui,sans-serif;fill:#1a1a1a}
.grid{stroke:#ddd}.other{fill:none;stroke:#b5b5b5}.named{fill:none;stroke:#1f4e79;stroke-width:2}
.bad{fill:none;stroke:#b00020;stroke-width:3}.dot{fill:#1f4e79}.baddot{fill:#b00020}
.accepted{stroke:#1a1a1a;stroke-dasharray:4 3}
"""

Place = Callable[[int, float], tuple[float, float]]
"""Where in a drawing (night, value) lies."""


@dataclass(frozen=True, slots=True)
class Line:
    """One scenario's figure: on the accepted night, on each recent one (None: not measured), and how bad that is."""

    scenario: str
    accepted: float | None
    values: tuple[float | None, ...]
    concern: float
    """0: as good as accepted. Up to 1: worse within the tolerance. Above 1: worse than it may be; above 2: beyond a
    bound of its scenario."""


def lines_of(
    figure: Figure, accepted: Night | None, nights: Sequence[Night], scenarios: Mapping[str, Scenario]
) -> list[Line]:
    """Return a figure's lines, the most concerning first; only scenarios that have it."""
    before = {} if accepted is None else accepted.scenarios
    names = dict.fromkeys([*before, *(name for night in nights for name in night.scenarios)])
    found = []
    for name in names:
        values = tuple(
            night.scenarios[name].figures.get(figure.name) if name in night.scenarios else None for night in nights
        )
        was = before[name].figures.get(figure.name) if name in before else None
        if was is None and not any(each is not None for each in values):
            continue
        now = values[-1] if values else None
        found.append(Line(name, was, values, _concern(figure, was, now, scenarios.get(name))))
    return sorted(found, key=lambda each: (-each.concern, _badness(figure, each), each.scenario))


def trends_page(accepted: Night | None, nights: Sequence[Night], scenarios: Mapping[str, Scenario]) -> str:
    """Return the page. `nights` from the oldest on; the last `NIGHTS_DRAWN` are drawn. `scenarios` by name."""
    nights = nights[-NIGHTS_DRAWN:]
    drawn = [(each, lines_of(each, accepted, nights, scenarios)) for each in FIGURES]
    drawn = [(figure, lines) for figure, lines in drawn if lines]
    drawn.sort(key=lambda pair: -pair[1][0].concern)
    moving = [(figure, lines) for figure, lines in drawn if not _flat(lines)]
    flat = [figure for figure, lines in drawn if _flat(lines)]
    parts = [_heading(accepted, nights, drawn), *(_section(figure, lines, nights) for figure, lines in moving)]
    if flat:
        words = ", ".join(f"<b>{escape(each.name)}</b> ({escape(each.words)})" for each in flat)
        parts.append(f'<h2>Nothing to draw</h2><p class="quiet">0 in every scenario on every night: {words}.</p>')
    body = "\n".join(parts)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8"/>'
        '<meta name="viewport" content="width=device-width"/>'
        f"<title>Nights: trends</title><style>{_STYLE}</style></head>\n<body>\n{body}\n</body></html>\n"
    )


def _concern(figure: Figure, was: float | None, now: float | None, scenario: Scenario | None) -> float:
    if now is None or figure.better is Better.NONE:
        return 0.0
    excess = _beyond(figure.name, now, scenario)
    if excess > SMALLEST:
        return 2.0 + excess
    if was is None:
        return 0.0
    worse = now - was if figure.better is Better.LOW else was - now
    tolerance = 0.0 if scenario is None else scenario.tolerance.get(figure.name, 0.0)
    if worse <= SMALLEST:
        return 0.0
    if worse > tolerance + SMALLEST:
        return 1.0 + min(0.99, worse / max(abs(was), abs(now)))
    return worse / tolerance


def _beyond(name: str, now: float, scenario: Scenario | None) -> float:
    if scenario is None:
        return 0.0
    return max(now - scenario.at_most.get(name, now), scenario.at_least.get(name, now) - now, 0.0)


def _badness(figure: Figure, line: Line) -> float:
    last = next((each for each in (*reversed(line.values), line.accepted) if each is not None), 0.0)
    return last if figure.better is Better.HIGH else -last


def _flat(lines: Sequence[Line]) -> bool:
    return not any(each for line in lines for each in (line.accepted, *line.values))


def _heading(
    accepted: Night | None, nights: Sequence[Night], drawn: Sequence[tuple[Figure, Sequence[Line]]]
) -> str:
    bad = sum(line.concern > 1.0 for _, lines in drawn for line in lines)
    when = f"{nights[-1].utc:%Y-%m-%d %H:%M} UTC" if nights else "no night yet"
    compared = "no night is accepted yet"
    if accepted is not None:
        compared = (
            f"accepted: {accepted.utc:%Y-%m-%d %H:%M} UTC by {escape(accepted.who)} ({escape(accepted.why)})"
        )
    verdict = f"{bad} figures worse than they may be" if bad else "nothing is worse than it may be"
    return (
        f'<h1>Nights</h1><p class="worse">Last night, {when}: {verdict}.</p>'
        f'<p class="quiet">{len(nights)} nights drawn; {compared}. All of it simulated. Worst figure first; dashed: '
        "the accepted night. A night of other seeds or units than the accepted one is drawn all the same.</p>"
    )


def _section(figure: Figure, lines: Sequence[Line], nights: Sequence[Night]) -> str:
    better = {Better.LOW: "lower is better", Better.HIGH: "higher is better", Better.NONE: "depends on the machine"}
    shown = [each for each in lines if each.concern > 0.0] or list(lines[:1])
    rows = "".join(
        f'<tr class="{"worse" if each.concern > 1.0 else "quiet"}"><td>{escape(each.scenario)}</td>'
        f"<td>{_number(each.accepted)}</td><td>{_number(each.values[-1] if each.values else None)}</td>"
        f"<td>{_verdict(each)}</td></tr>"
        for each in shown
    )
    others = len(lines) - len(shown)
    rest = f'<p class="quiet">{others} other scenarios did not get worse.</p>' if others else ""
    return (
        f"<h2>{escape(figure.name)}</h2><p>{escape(figure.words)} ({better[figure.better]})</p>\n"
        f"{_drawing(figure, lines, nights)}\n"
        f"<table><tr><th>scenario</th><th>accepted</th><th>last night</th><th></th></tr>{rows}</table>{rest}"
    )


def _verdict(line: Line) -> str:
    if line.concern > 2.0:
        return "beyond its bound"
    if line.concern > 1.0:
        return "worse than accepted"
    return "within tolerance" if line.concern > 0.0 else ""


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.4g}"


def _drawing(figure: Figure, lines: Sequence[Line], nights: Sequence[Night]) -> str:
    """Return the drawing: accepted values at the left, then night after night; the worst lines on top and named."""
    values = [each for line in lines for each in (line.accepted, *line.values) if each is not None]
    low, high = min(0.0, *values), max(values)
    span = (high - low) or 1.0

    def at(index: int, value: float) -> tuple[float, float]:
        step = (_WIDTH - _LEFT - _RIGHT) / max(1, len(nights))
        return _LEFT + index * step, _TOP + (high - value) / span * (_HEIGHT - _TOP - _BOTTOM)

    named = [each for index, each in enumerate(lines) if index < NAMED]
    others = "".join(_path(each, at, "other") for each in lines[NAMED:])
    tops = "".join(_path(each, at, "bad" if each.concern > 1.0 else "named") for each in reversed(named))
    grid = "".join(
        f'<line class="grid" x1="{_LEFT}" x2="{_WIDTH - _RIGHT}" y1="{at(0, y)[1]:.1f}" y2="{at(0, y)[1]:.1f}"/>'
        f'<text x="{_LEFT - 6}" y="{at(0, y)[1] + 4:.1f}" text-anchor="end">{_number(y)}</text>'
        for y in dict.fromkeys((low, high))
    )
    dates = ""
    if nights:
        last_x = at(len(nights), low)[0]
        dates = (
            f'<text x="{_LEFT}" y="{_HEIGHT - 5}">accepted</text>'
            f'<text x="{last_x:.1f}" y="{_HEIGHT - 5}" text-anchor="end">{nights[-1].utc:%Y-%m-%d}</text>'
        )
    names = _names(named, at)
    words = f"{figure.name} over {len(nights)} nights"
    return (
        f'<svg viewBox="0 0 {_WIDTH} {_HEIGHT}" width="{_WIDTH}" role="img" aria-label="{escape(words)}">'
        f"{grid}{dates}{others}{tops}{names}</svg>"
    )


def _names(named: Sequence[Line], at: Place) -> str:
    """Write the names at the lines' ends, far enough apart to be read."""
    ends = [(at(*end)[1], each) for each in named if (end := _end(each)) is not None]
    ends.sort(key=lambda pair: pair[0])
    found, free = "", 0.0
    for y, each in ends:
        free = max(y + 4.0, free)
        found += f'<text x="{_WIDTH - _RIGHT + 8}" y="{free:.1f}">{escape(each.scenario)}</text>'
        free += 14.0
    return found


def _end(line: Line) -> tuple[int, float] | None:
    points = _points(line)
    return points[-1] if points else None


def _points(line: Line) -> list[tuple[int, float]]:
    """Return (place, value); place 0 is the accepted night."""
    return [(index, value) for index, value in enumerate((line.accepted, *line.values)) if value is not None]


def _path(line: Line, at: Place, kind: str) -> str:
    placed = [at(*each) for each in _points(line)]
    track = " ".join(f"{x:.1f},{y:.1f}" for x, y in placed)
    end = _end(line)
    title = f"<title>{escape(line.scenario)}: {_number(None if end is None else end[1])}</title>"
    drawn = f'<polyline class="{kind}" points="{track}">{title}</polyline>'
    if kind == "other" or not placed:
        return drawn
    x, y = placed[-1]
    dot = f'<circle class="{"baddot" if kind == "bad" else "dot"}" cx="{x:.1f}" cy="{y:.1f}" r="4">{title}</circle>'
    if line.accepted is None:
        return drawn + dot
    level = at(0, line.accepted)[1]
    across = f'<line class="accepted" x1="{_LEFT}" x2="{_WIDTH - _RIGHT}" y1="{level:.1f}" y2="{level:.1f}"/>'
    return (across if kind == "bad" else "") + drawn + dot
