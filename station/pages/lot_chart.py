"""The I-MR chart on a lot's page."""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import quote

from markupsafe import Markup

from station.app.lot_units import LotUnit
from station.app.process_chart import Place, ProcessChart, process_chart
from station.core.plan import Characteristic
from station.pages.svg_charts import Plotted, control_chart
from station.pages.words import quantity
from station.quality.readings import StudyDataError


@dataclass(frozen=True, slots=True)
class ShownChart:
    """What the page shows: two drawings with words, or why there are none."""

    characteristic: str
    values: Markup
    ranges: Markup
    points_are: str
    signals: tuple[tuple[str, str, str], ...]
    """Link, what the point is, the rule that it completes."""
    why_not: str = ""


def shown_chart(lot: str, units: Sequence[LotUnit], found: Characteristic) -> ShownChart:
    """Return the chart of a characteristic over the units shown, in order of measuring."""
    try:
        chart = process_chart(units, found.name, found.unit_symbol, of=f"lot {lot}")
    except StudyDataError as error:
        return ShownChart(found.name, Markup(""), Markup(""), "", (), str(error))
    return ShownChart(
        found.name,
        _values(lot, chart),
        _ranges(lot, chart),
        chart.points_are,
        tuple((_link(lot, place), place.words, words) for place, words in chart.signals),
    )


def _values(lot: str, chart: ProcessChart) -> Markup:
    found = chart.values
    points = []
    for i, value in enumerate(found.points.tolist()):
        rules = chart.rules_at(i)
        words = f"{chart.places[i].words}: {quantity(value, found.unit_symbol)}"
        points.append(Plotted(value, _link(lot, chart.places[i]), "; ".join((words, *rules)), bool(rules)))
    lines = (float(found.lower[0]), float(found.centre[0]), float(found.upper[0]))
    title = f"{chart.characteristic}: {chart.points_are} in order of measuring, with control limits"
    return control_chart(points, lines, found.unit_symbol, title=title)


def _ranges(lot: str, chart: ProcessChart) -> Markup:
    found = chart.ranges
    beyond = {each.index for each in found.signals}
    points = [
        Plotted(
            value,
            _link(lot, chart.places[i + 1]),
            f"{chart.places[i].words} to {chart.places[i + 1].words}: {quantity(value, found.unit_symbol)}",
            i in beyond,
        )
        for i, value in enumerate(found.points.tolist())
    ]
    lines = (float(found.lower[0]), float(found.centre[0]), float(found.upper[0]))
    title = f"{chart.characteristic}: moving ranges of two, with control limits"
    return control_chart(points, lines, found.unit_symbol, title=title)


def _link(lot: str, place: Place) -> str:
    return f"/units/{quote(place.serial)}" if place.serial else f"/lots/{quote(lot)}?panel={quote(place.panel)}"
