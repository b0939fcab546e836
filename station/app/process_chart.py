"""The I-MR chart of a lot as a page shows it: single units of a small one, means of panels or neighbours else."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from station.app.lot_units import LotUnit
from station.quality.charts import Chart, individuals_charts
from station.quality.readings import StudyDataError
from station.quality.sample import Sample

LARGEST = 160
"""Points that a page draws; of more units, means are drawn."""

FEWEST_PANELS = 5
"""Below, panel means are too few to say anything of a process."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a point leads: to a unit, or to the units of a panel."""

    serial: str = ""
    panel: str = ""

    @property
    def words(self) -> str:
        """What the point is, in words."""
        return self.serial or f"panel {self.panel}"


@dataclass(frozen=True, slots=True, eq=False)
class ProcessChart:
    """Single values and moving ranges (ISO 7870-2), with what each point is and which run rules it completes."""

    characteristic: str
    values: Chart
    ranges: Chart
    places: tuple[Place, ...]
    """Of each point of `values`; the point i of `ranges` is between i and i + 1."""
    points_are: str
    """`units`, `panel means`, or `means of 17 units`, in order of measuring."""

    def rules_at(self, index: int) -> tuple[str, ...]:
        """Return the rules that the value at `index` completes, in words."""
        return tuple(each.rule.value for each in self.values.signals if each.index == index)

    @property
    def signals(self) -> tuple[tuple[Place, str], ...]:
        """Return each pattern, in order, with the point that completes it: of the values, then of the ranges."""
        found = [(self.places[each.index], each.rule.value) for each in self.values.signals]
        return (
            *found,
            *((self.places[each.index + 1], "moving range beyond its limit") for each in self.ranges.signals),
        )


def process_chart(units: Iterable[LotUnit], characteristic: str, unit_symbol: str, *, of: str) -> ProcessChart:
    """Return the chart of a characteristic over units in their order; `of` says which units they are.

    Up to 160 units are drawn each. More of them by the means of their panels if there are five or more, for units of a
    panel are alike and unit by unit panels that differ look like a drift; else by means of neighbours, as many as
    it takes.

    Raises:
        StudyDataError: fewer than 3 points, or nothing varies.
    """
    measured = [(each, value) for each in units if (value := each.value(characteristic)) is not None]
    points, places, words = _points(measured)
    if not points:
        raise StudyDataError(f"no unit has a value of {characteristic}")
    sample = Sample(np.array(points), f"{words} of {of} with a measured {characteristic}", unit_symbol)
    values, ranges = individuals_charts(sample)
    return ProcessChart(characteristic, values, ranges, tuple(places), words)


def _points(measured: Sequence[tuple[LotUnit, float]]) -> tuple[list[float], list[Place], str]:
    if len(measured) <= LARGEST:
        return [value for _, value in measured], [Place(serial=unit.serial) for unit, _ in measured], "units"
    panels: dict[str, list[float]] = {}
    for unit, value in measured:
        panels.setdefault(unit.panel, []).append(value)
    if FEWEST_PANELS <= len(panels) <= LARGEST:
        means = [float(np.mean(each)) for each in panels.values()]
        return means, [Place(panel=name) for name in panels], "panel means"
    size = -(-len(measured) // LARGEST)
    groups = [measured[i : i + size] for i in range(0, len(measured) - size + 1, size)]
    means = [float(np.mean([value for _, value in group])) for group in groups]
    return means, [Place(serial=group[-1][0].serial) for group in groups], f"means of {size} units"
