"""Figures of a lot as facts for JSON. Values SI, unscaled; numbers that don't exist are null."""

import math
from collections.abc import Sequence

from station.app.lot_quality import ChartSet, Spread
from station.app.lot_samples import ReasonCount
from station.core.results import Decision
from station.quality.capability import Capability, Index
from station.quality.charts import Chart
from station.quality.compare import Comparison
from station.quality.components import Components
from station.quality.outliers import Outliers
from station.quality.panel import PanelMap
from station.quality.trend import Trend
from station.quality.yields import pareto, yield_of
from station.records.views import LotSummary

Fact = dict[str, object]


def capability_fact(found: Capability) -> Fact:
    """Return capability and performance with bounds, the route and why."""
    return {
        "population": found.population,
        "units": found.units,
        "unit": found.unit_symbol,
        "lower": found.tolerance.lower,
        "upper": found.tolerance.upper,
        "mean": found.mean,
        "standard_deviation": found.overall_deviation,
        "standard_deviation_within": None if found.within is None else found.within.deviation,
        "within_convention": None if found.within is None else found.within.convention,
        "route": found.route.value,
        "why": found.why,
        "normality": {
            "test": "Anderson-Darling",
            "statistic": found.normality.statistic,
            "p": found.normality.p,
            "accepted": found.normality.accepted,
        },
        "distribution": None
        if found.fit is None
        else {"family": found.fit.family, "shape": found.fit.shape, "p": found.fit.p},
        "reference_interval": None
        if found.reference is None
        else {"X0.135": found.reference.low, "X50": found.reference.middle, "X99.865": found.reference.high},
        **{name: _index(getattr(found, name.lower())) for name in ("Pp", "Ppk", "Cp", "Cpk")},
        "level": found.level,
        "below_lower": found.below,
        "above_upper": found.above,
        "expected_outside": found.expected_beyond,
    }


def yield_fact(summary: LotSummary) -> Fact:
    """Return 95 % intervals of yield and first-pass yield; null where nothing is decided."""
    found = {
        "yield_interval": (summary.passed, summary.passed + summary.failed),
        "first_pass_yield_interval": (first_passed(summary), summary.units),
    }
    fact: Fact = {}
    for name, (passed, of) in found.items():
        share = yield_of(passed, of, population=f"units of lot {summary.lot}") if of else None
        fact[name] = None if share is None else {"exact": list(share.exact), "wilson": list(share.wilson)}
    return fact | {"level": 0.95}


def reasons_fact(reasons: Sequence[ReasonCount]) -> Fact:
    """Return the Pareto of the reasons of FAIL and of INVALID, apart: one is about the units, one about us."""
    return {
        f"{word.value.lower()}_reasons": [
            {"reason": bar.reason, "units": bar.units, "share": bar.share, "cumulative": bar.cumulative}
            for bar in pareto({each.code: each.units for each in reasons if each.decision is word})
        ]
        for word in (Decision.FAIL, Decision.INVALID)
    }


def first_passed(summary: LotSummary) -> int:
    """Return how many units passed in their first production run."""
    return round((summary.first_pass_fraction or 0.0) * summary.units)


def chart_fact(charts: ChartSet) -> Fact:
    """Return charts with points, limits and signals."""
    fact: Fact = {"kind": charts.kind, "charts": [_chart(chart, charts.last_serials) for chart in charts.charts]}
    if charts.sums is not None:
        sums = charts.sums
        fact["sums"] = {
            "target": sums.target,
            "reference": sums.reference,
            "decision": sums.decision,
            "upper": sums.upper.tolist(),
            "lower": sums.lower.tolist(),
            "signals": [{"index": i, "at": charts.last_serials[i]} for i in sums.signals],
            "population": sums.population,
        }
    return fact


def compare_fact(found: Comparison) -> Fact:
    """Return a comparison with its intervals."""
    names = [name for name in found.__dataclass_fields__ if name not in ("first", "second")]
    return {name: finite(getattr(found, name)) for name in names}


def spread_fact(found: Spread, serials: tuple[str, ...]) -> Fact:
    """Return variance components, panel map, outliers and drift; null where the data don't show them."""
    return {
        "components": None if found.components is None else _components(found.components),
        "population": None if found.components is None else found.components.population,
        "panel_map": None if found.map is None else _map(found.map),
        "outliers": None if found.outliers is None else _outliers(found.outliers, serials),
        "drift": None if found.trend is None else _trend(found.trend),
        "missing": list(found.missing),
    }


def _components(found: Components) -> list[Fact]:
    return [
        {
            "source": part.source,
            "groups": part.groups,
            "standard_deviation": part.deviation,
            "share": part.share,
            "negative_estimate": part.negative,
            "p": part.p,
        }
        for part in found.parts
    ]


def _map(found: PanelMap) -> Fact:
    return {
        "rows": list(found.rows),
        "columns": list(found.columns),
        "means": [[finite(float(each)) for each in row] for row in found.means],
        "units": found.counts.tolist(),
        "mean": found.mean,
        "per_row": found.per_row,
        "per_column": found.per_column,
        "per_row_error": found.per_row_error,
        "per_column_error": found.per_column_error,
        "across": found.across,
        "explained": found.explained,
        "p": found.p,
        "population": found.population,
    }


def _outliers(found: Outliers, serials: tuple[str, ...]) -> Fact:
    return {
        "median": found.median,
        "robust_standard_deviation": found.deviation,
        "cutoff": found.cutoff,
        "units": [
            {"serial": serials[i] if serials else None, "index": i, "score": float(found.scores[i])}
            for i in found.indices
        ],
        "population": found.population,
    }


def _trend(found: Trend) -> Fact:
    return {
        "per_step": found.slope,
        "low": found.slope_low,
        "high": found.slope_high,
        "change": found.change,
        "p": found.p,
        "rank_correlation": found.rank_correlation,
        "rank_p": found.rank_p,
        "autocorrelation": found.autocorrelation,
        "drifts": found.drifts,
        "population": found.population,
    }


def finite(value: float | None) -> float | None:
    """Return the value, or None for one that is not finite: JSON has no infinity."""
    return value if value is not None and math.isfinite(value) else None


def _index(index: Index | None) -> Fact | None:
    return None if index is None else {"value": index.value, "low": index.low, "high": index.high}


def _chart(chart: Chart, names: tuple[str, ...]) -> Fact:
    # A chart of moving ranges has a point less: it begins with the second unit.
    offset = len(names) - chart.points.size
    return {
        "title": chart.title,
        "unit": chart.unit_symbol,
        "points": chart.points.tolist(),
        "centre": chart.centre.tolist(),
        "lower": chart.lower.tolist(),
        "upper": chart.upper.tolist(),
        "within": None
        if chart.within is None
        else {"standard_deviation": chart.within.deviation, "convention": chart.within.convention},
        "signals": [
            {"index": each.index, "at": names[each.index + offset], "rule": each.rule.value} for each in chart.signals
        ],
        "population": chart.population,
    }
