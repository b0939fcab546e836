"""Figures of a lot as facts for JSON. Values SI, unscaled; numbers that don't exist are null."""

import math
from collections.abc import Sequence

from station.app.lot_quality import ChartSet, Spread
from station.app.lot_samples import ReasonCount
from station.core.results import Decision
from station.quality.capability import Capability, Index
from station.quality.charts import Chart
from station.quality.compare import Comparison
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
    fact: Fact = {"components": None, "panel_map": None, "outliers": None, "drift": None}
    if found.components is not None:
        fact["components"] = [
            {
                "source": part.source,
                "groups": part.groups,
                "standard_deviation": part.deviation,
                "share": part.share,
                "negative_estimate": part.negative,
                "p": part.p,
            }
            for part in found.components.parts
        ]
        fact["population"] = found.components.population
    if found.map is not None:
        means = [[finite(float(each)) for each in row] for row in found.map.means]
        fact["panel_map"] = {
            "rows": list(found.map.rows),
            "columns": list(found.map.columns),
            "means": means,
            "units": found.map.counts.tolist(),
            "mean": found.map.mean,
            "per_row": found.map.per_row,
            "per_column": found.map.per_column,
            "per_row_error": found.map.per_row_error,
            "per_column_error": found.map.per_column_error,
            "across": found.map.across,
            "explained": found.map.explained,
            "p": found.map.p,
            "population": found.map.population,
        }
    if found.outliers is not None:
        fact["outliers"] = {
            "median": found.outliers.median,
            "robust_standard_deviation": found.outliers.deviation,
            "cutoff": found.outliers.cutoff,
            "units": [
                {"serial": serials[i] if serials else None, "index": i, "score": float(found.outliers.scores[i])}
                for i in found.outliers.indices
            ],
            "population": found.outliers.population,
        }
    if found.trend is not None:
        trend = found.trend
        fact["drift"] = {
            "per_step": trend.slope,
            "low": trend.slope_low,
            "high": trend.slope_high,
            "change": trend.change,
            "p": trend.p,
            "rank_correlation": trend.rank_correlation,
            "rank_p": trend.rank_p,
            "autocorrelation": trend.autocorrelation,
            "drifts": trend.drifts,
            "population": trend.population,
        }
    fact["missing"] = list(found.missing)
    return fact


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
