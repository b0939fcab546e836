"""The lot's statistics put together: which subgroups, which chart, which sources, by what is known of the units."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from station.app.lot_samples import LotSample
from station.quality.capability import Capability, capability
from station.quality.charts import Chart, individuals_charts, mean_deviation_charts, mean_range_charts
from station.quality.components import Components, nested_components
from station.quality.outliers import USUAL_CUTOFF, Outliers, robust_outliers
from station.quality.panel import PanelMap, panel_map
from station.quality.readings import StudyDataError
from station.quality.risk import Tolerance
from station.quality.run_rules import Signal
from station.quality.sample import Sample
from station.quality.sequential import (
    USUAL_DECISION,
    USUAL_REFERENCE,
    CumulativeSums,
    cumulative_sums,
    moving_average_chart,
)
from station.quality.trend import Trend, trend_of
from station.quality.within import (
    LARGEST_RANGE_GROUP,
    WithinDeviation,
    equal_subgroups,
    subgroups_of,
    within_by_deviations,
    within_by_moving_range,
)

T = TypeVar("T")

FEWEST_PANELS = 5
"""For a drift from panel to panel."""


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """Why a characteristic spreads: components, map, outliers, drift. None where the data don't show it; `missing`."""

    components: Components | None
    map: PanelMap | None
    outliers: Outliers | None
    trend: Trend | None
    missing: tuple[str, ...]
    """Words on what can't be told, and why."""


@dataclass(frozen=True, slots=True, eq=False)
class ChartSet:
    """What `lot chart` shows: one or two charts, or cumulative sums, with the serial that each point ends with."""

    kind: str
    charts: tuple[Chart, ...]
    sums: CumulativeSums | None
    last_serials: tuple[str, ...]
    """Of each point of the first chart: the serial, or the panel, or "first to last" of its units."""


def lot_capability(lot: LotSample, tolerance: Tolerance, *, level: float = 0.95) -> Capability:
    """Return the capability of a lot, with the spread within panels, or from unit to unit where panels aren't known."""
    return capability(lot.sample, tolerance, within=within_of(lot), level=level)


def without_odd(lot: LotSample) -> LotSample:
    """Return the sample less the units that the robust rule finds odd, with that in its population's words.

    For what the process makes when nothing is broken. It is no longer what is made: say so where it is shown.
    """
    try:
        odd = robust_outliers(lot.sample).indices
    except StudyDataError:
        return lot
    if not odd:
        return lot
    kept = np.setdiff1d(np.arange(lot.sample.size), odd)
    words = f"{lot.sample.population}, less {len(odd)} odd (beyond {USUAL_CUTOFF:g} robust standard deviations)"

    def of(labels: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(labels[i] for i in kept) if labels else ()

    return replace(
        lot,
        sample=Sample(lot.sample.values[kept], words, lot.sample.unit_symbol),
        serials=of(lot.serials),
        panels=of(lot.panels),
        rows=of(lot.rows),
        columns=of(lot.columns),
    )


def within_of(lot: LotSample) -> WithinDeviation | None:
    """Return the standard deviation within panels, or else of moving ranges; None if neither can be had."""
    try:
        if lot.panels and len(set(lot.panels)) > 1:
            return within_by_deviations(subgroups_of(lot.sample.values, np.array(lot.panels)))
        return within_by_moving_range(lot.sample.values)
    except StudyDataError:
        return None


def lot_charts(lot: LotSample, kind: str, *, size: int | None = None) -> ChartSet:
    """Return charts of `kind`: individuals, means, ewma or cusum.

    Means are of subgroups of `size` units in order, or of panels without a size; up to 15 units with ranges, above
    with standard deviations. Raises StudyDataError as the charts do, or for an unknown kind.
    """
    if kind == "individuals":
        return ChartSet(kind, individuals_charts(lot.sample), None, _names(lot))
    if kind == "means":
        sample, groups, names = _groups(lot, size)
        largest = int(np.unique(groups, return_counts=True)[1].max())
        charts = mean_range_charts if largest <= LARGEST_RANGE_GROUP else mean_deviation_charts
        return ChartSet(kind, charts(sample, groups), None, names)
    deviation = within_by_moving_range(lot.sample.values).deviation
    if kind == "ewma":
        return ChartSet(kind, (moving_average_chart(lot.sample, deviation),), None, _names(lot))
    if kind == "cusum":
        sums = cumulative_sums(
            lot.sample,
            target=float(lot.sample.values.mean()),
            reference=USUAL_REFERENCE * deviation,
            decision=USUAL_DECISION * deviation,
        )
        return ChartSet(kind, (), sums, _names(lot))
    raise StudyDataError(f"a chart is individuals, means, ewma or cusum; got {kind!r}")


def signals_of(charts: ChartSet) -> tuple[tuple[str, Signal], ...]:
    """Return each signal of the charts with the title of its chart."""
    return tuple((chart.title, signal) for chart in charts.charts for signal in chart.signals)


def lot_spread(lots: Sequence[LotSample], *, gauge_deviation: float | None = None) -> Spread:
    """Return why one characteristic spreads, over one lot or several; the map, outliers and drift over the first.

    `gauge_deviation`: repeatability and reproducibility of one result from a gauge study, in the values' unit. The
    uncertainty on record does not serve: most of it is common to all units of a bench and spreads nothing.
    """
    lot, missing = lots[0], list[str]()
    return Spread(
        _tried("variance components", lambda: _components(lots, gauge_deviation), missing),
        _tried("panel map", lambda: panel_map(lot.sample, lot.rows, lot.columns), missing),
        _tried("outliers", lambda: robust_outliers(lot.sample), missing),
        _tried("drift", lambda: _trend(lot), missing),
        tuple(missing),
    )


def _tried(what: str, make: Callable[[], T], missing: list[str]) -> T | None:
    try:
        return make()
    except StudyDataError as error:
        missing.append(f"{what}: {error}")
        return None


def _trend(lot: LotSample) -> Trend:
    """Drift over panels in order of their first unit, where there are five or more; else over units.

    Units of a panel are alike: taken one by one they would show a drift where panels merely differ.
    """
    if len(set(lot.panels)) < FEWEST_PANELS:
        return trend_of(lot.sample, np.arange(1.0, lot.sample.size + 1))
    means = subgroups_of(lot.sample.values, np.array(lot.panels)).means
    sample = Sample(means, f"panel means of {lot.sample.population}", lot.sample.unit_symbol)
    return trend_of(sample, np.arange(1.0, means.size + 1))


def _components(lots: Sequence[LotSample], gauge_deviation: float | None) -> Components:
    first = lots[0].sample
    levels: dict[str, np.ndarray] = {}
    if len(lots) > 1:
        levels["lot"] = np.repeat(np.arange(len(lots)), [lot.sample.size for lot in lots])
    if all(lot.panels and len(set(lot.panels)) > 1 for lot in lots):
        levels["panel"] = np.concatenate([np.array(lot.panels) for lot in lots])
    if not levels:
        raise StudyDataError("needs several lots, or units of several panels")
    values = np.concatenate([lot.sample.values for lot in lots])
    sample = Sample(values, "; ".join(lot.sample.population for lot in lots), first.unit_symbol)
    within = "within panel" if "panel" in levels else "within lot"
    gauge = None if gauge_deviation is None else gauge_deviation**2
    return nested_components(sample, levels, within=within, gauge_variance=gauge)


def _groups(lot: LotSample, size: int | None) -> tuple[Sample, np.ndarray, tuple[str, ...]]:
    """The sample, a subgroup label a value, names of the subgroups. A last subgroup that is not full is left out."""
    if size is None:
        if not lot.panels:
            raise StudyDataError("panels are not known: say how many units in order make a subgroup (--subgroup 5)")
        return lot.sample, np.array(lot.panels), tuple(f"panel {name}" for name in dict.fromkeys(lot.panels))
    whole, names = lot.sample.size // size * size, _names(lot)
    if whole == 0:
        raise StudyDataError(f"a subgroup of {size} needs as many values; got {lot.sample.size}")
    words = lot.sample.population
    if whole < lot.sample.size:
        words += f", less the last {lot.sample.size - whole}, which make no whole subgroup"
    sample = Sample(lot.sample.values[:whole], words, lot.sample.unit_symbol)
    named = tuple(f"{names[i]} to {names[i + size - 1]}" for i in range(0, whole, size))
    return sample, equal_subgroups(whole, size), named


def _names(lot: LotSample) -> tuple[str, ...]:
    return lot.serials or tuple(f"value {i}" for i in range(1, lot.sample.size + 1))
