"""What a bench does over time, drawn: reference units against what they should read, and the contacts of its probes."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from station.app.drift import Series, words_of
from station.methods.contact import PADS
from station.pages import svg
from station.pages.svg_charts import Plotted, control_chart
from station.pages.words import moment
from station.records import ContactPoint

NEWEST = 400
"""Runs whose contacts are drawn; more would make the page heavy and show no more."""


@dataclass(frozen=True, slots=True)
class SeriesDrawing:
    """One characteristic of one reference unit, or of the bench itself. `warning` is empty if there is none."""

    name: str
    warning: str
    singles: Markup
    averages: Markup
    """Empty while there are too few values."""


def series_drawings(series: Iterable[Series]) -> list[SeriesDrawing]:
    """Return what has two values or more, with the warned ones first."""
    found = [_drawing(each) for each in series if len(each.values) > 1]
    return sorted(found, key=lambda each: (not each.warning, each.name))


def contact_drawings(points: Sequence[ContactPoint]) -> list[tuple[str, Markup]]:
    """Return each pad with its contact resistance over the fixture's count of contacts; points lead to their units."""
    drawn = points[-NEWEST:]
    pads = min((len(each.resistances_ohm) for each in drawn), default=0)
    return [
        (
            PADS[pad],
            svg.scatter(
                [
                    svg.Point(
                        each.contact_cycles, each.resistances_ohm[pad], "pass", f"/units/{each.serial}", each.serial
                    )
                    for each in drawn
                ],
                ("1", "ohm"),
                ((None, None), (0.0, None)),
                title=f"{PADS[pad]}: contact resistance of {len(drawn)} runs over contacts made",
            ),
        )
        for pad in range(pads)
    ]


def _drawing(series: Series) -> SeriesDrawing:
    drift = series.drift
    agreed = [i for i, each in enumerate(drift.agreed) if each]
    out = {agreed[each.index] for each in drift.singles.signals} if drift.singles is not None else set()
    singles = [
        Plotted(float(share), "#over-time", f"{moment(done)}: {share:+.2f}", not drift.agreed[i] or i in out)
        for i, (share, done) in enumerate(zip(drift.shares, series.times, strict=True))
    ]
    return SeriesDrawing(
        series.name,
        words_of(series) if drift.warnings else "",
        control_chart(singles, (-1.0, 0.0, 1.0), "1", title=f"{series.name}: deviation over what is allowed"),
        _averages(series, agreed),
    )


def _averages(series: Series, agreed: Sequence[int]) -> Markup:
    chart = series.drift.averages
    if chart is None:
        return Markup("")
    out = {each.index for each in chart.signals}
    points = [
        Plotted(float(value), "#over-time", f"{moment(series.times[agreed[i]])}: {value:+.3f}", i in out)
        for i, value in enumerate(chart.points)
    ]
    lines = (float(chart.lower[-1]), float(chart.centre[-1]), float(chart.upper[-1]))
    return control_chart(points, lines, "1", title=f"{series.name}: moving average (EWMA) of it, with its usual range")
