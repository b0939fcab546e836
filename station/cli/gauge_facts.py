"""Gauge studies as facts for JSON: plain names, AIAG's letters beside them. Numbers that don't exist are null."""

import math
from collections.abc import Mapping

from station.quality.agreement import Agreement
from station.quality.attribute import AttributeAgreement, Kappa, Share
from station.quality.gauge_anova import AnovaTable
from station.quality.gauge_crossed import CrossedStudy, Model
from station.quality.gauge_intervals import Intervals
from station.quality.gauge_linearity import Linearity
from station.quality.gauge_stability import Stability
from station.quality.gauge_type1 import Bias, SystemUncertainty, Type1
from station.quality.risk import Risk
from station.quality.variation import (
    Variation,
    by_source,
    categories,
    distinct_categories,
    percent_of_study_variation,
    percent_of_tolerance,
    percent_of_variance,
    standard_deviations,
)

Fact = dict[str, object]

CONVENTION = (
    "per cents of study variation and of tolerance are by standard deviation (AIAG); the tolerance is set against 6 "
    "standard deviations; distinct categories are 1.41 PV / GRR, truncated; negative variances count as 0"
)
LETTERS = {
    "EV": "repeatability",
    "AV": "appraiser",
    "INT": "interaction",
    "GRR": "repeatability_and_reproducibility",
    "PV": "part",
    "TV": "total",
    "ndc": "distinct_categories",
}


def finite(value: float | None) -> float | None:
    """Return the value, or None for one that is not finite: JSON has no infinity."""
    return value if value is not None and math.isfinite(value) else None


def crossed_fact(study: CrossedStudy) -> Fact:
    """Return the whole crossed study; `anova` shows the model that the pooling rule chose, `models` has both."""
    form = study.average_range
    readings = study.readings
    return {
        "parts": len(readings.parts),
        "appraisers": list(readings.appraisers),
        "trials": readings.trials,
        "readings": int(readings.values.size),
        "mean": float(readings.values.mean()),
        "tolerance_width": study.tolerance,
        "convention": CONVENTION,
        "letters": LETTERS,
        "anova": _anova_fact(study),
        "average_range": {
            "method": "average_range",
            "mean_range": form.mean_range,
            "appraiser_mean_difference": form.appraiser_difference,
            "part_mean_range": form.part_range,
            "k1": form.k1,
            "k2": form.k2,
            "k3": form.k3,
            **_variation_fact(form.variation, study.tolerance),
        },
    }


def _anova_fact(study: CrossedStudy) -> Fact:
    table = study.with_interaction.table
    interaction = table.line("interaction")
    return {
        "method": "anova",
        **_table_fact(table),
        "pooling": {
            "significance": study.pooling_significance,
            "interaction_p": interaction.p if interaction else None,
            "pooled": study.pooled,
        },
        "pooled_table": _table_fact(study.without_interaction.table),
        **_model_fact(study.model, study.tolerance),
        "models": {
            "with_interaction": _model_fact(study.with_interaction, study.tolerance),
            "pooled": _model_fact(study.without_interaction, study.tolerance),
        },
    }


def _table_fact(table: AnovaTable) -> Fact:
    lines = table.lines
    tested = [line for line in lines if line.f is not None]
    return {
        "sums_of_squares": {line.source: line.sum_of_squares for line in lines} | {"total": table.total_sum_of_squares},
        "degrees_of_freedom": {line.source: line.degrees_of_freedom for line in lines}
        | {"total": table.total_degrees_of_freedom},
        "mean_squares": {line.source: line.mean_square for line in lines},
        "f": {line.source: finite(line.f) for line in tested},
        "p": {line.source: line.p for line in tested},
        "f_against_repeatability": {line.source: finite(line.f_against_repeatability) for line in tested},
    }


def _model_fact(model: Model, tolerance: float | None) -> Fact:
    return {**_variation_fact(model.variation, tolerance), "intervals": _intervals_fact(model.intervals)}


def _variation_fact(variation: Variation, tolerance: float | None) -> Fact:
    unrounded = categories(variation)
    return {
        "variance_components": by_source(variation),
        "percent_of_variance": percent_of_variance(variation),
        "standard_deviations": standard_deviations(variation),
        "percent_of_study_variation": percent_of_study_variation(variation),
        "percent_of_tolerance": None if tolerance is None else percent_of_tolerance(variation, tolerance),
        "distinct_categories": distinct_categories(unrounded),
        "distinct_categories_unrounded": unrounded,
    }


def _intervals_fact(intervals: Intervals) -> Fact:
    return {
        "level": intervals.level,
        "standard_deviations": _pairs(intervals.standard_deviations),
        "percent_of_study_variation": _pairs(intervals.percent_of_study_variation),
        "percent_of_tolerance": None
        if intervals.percent_of_tolerance is None
        else _pairs(intervals.percent_of_tolerance),
        "distinct_categories_unrounded": list(intervals.categories),
    }


def _pairs(intervals: Mapping[str, tuple[float, float]]) -> dict[str, list[float]]:
    return {name: list(pair) for name, pair in intervals.items()}


def bias_fact(bias: Bias) -> Fact:
    """Return a bias with its t test."""
    return {
        "readings": bias.readings,
        "reference": bias.reference,
        "mean": bias.mean,
        "bias": bias.bias,
        "standard_deviation": bias.standard_deviation,
        "standard_error": bias.standard_error,
        "degrees_of_freedom": bias.degrees_of_freedom,
        "t": bias.t,
        "p": bias.p,
        "t_critical": bias.t_critical,
        "interval": list(bias.interval),
        "significant": bias.significant,
    }


def type1_fact(study: Type1, system: SystemUncertainty | None) -> Fact:
    """Return a type-1 study, with the measuring system's uncertainty if it was asked for."""
    return {
        "bias": bias_fact(study.bias),
        "tolerance_width": study.tolerance,
        "convention": {"standard_deviations": study.deviations, "share_of_tolerance": study.share},
        "cg": study.cg,
        "cgk": study.cgk,
        "cg_interval": list(study.cg_interval),
        "resolution_percent_of_tolerance": study.resolution_percent,
        "measuring_system": None
        if system is None
        else {
            "u_cal": system.u_cal,
            "u_evr": system.u_evr,
            "u_bi": system.u_bi,
            "u_re": system.u_re,
            "u_ms": system.u_ms,
            "expanded": system.expanded,
            "q_ms_percent": system.q_ms_percent,
            "least_tolerance": system.least_tolerance,
        },
    }


def linearity_fact(study: Linearity) -> Fact:
    """Return a linearity study."""
    return {
        "slope": study.slope,
        "intercept": study.intercept,
        "slope_standard_error": study.slope_error,
        "intercept_standard_error": study.intercept_error,
        "slope_t": study.slope_t,
        "intercept_t": study.intercept_t,
        "slope_p": study.slope_p,
        "intercept_p": study.intercept_p,
        "r_squared": study.r_squared,
        "deviation_about_line": study.deviation_about_line,
        "degrees_of_freedom": study.degrees_of_freedom,
        "t_critical": study.t_critical,
        "bias_by_reference": [{"reference": x, "bias": y} for x, y in study.bias_by_reference.items()],
        "band": [
            {"reference": float(x), "fitted": float(y), "low": float(low), "high": float(high)}
            for x, y, low, high in zip(study.references, study.fitted, study.band_low, study.band_high, strict=True)
        ],
        "zero_within_band": study.zero_within_band,
        "biases": [bias_fact(each) for each in study.biases],
    }


def stability_fact(study: Stability, occasions: tuple[str, ...]) -> Fact:
    """Return a stability study."""
    return {
        "occasions": len(occasions),
        "readings_per_occasion": study.readings_per_occasion,
        "centre": study.centre,
        "mean_range": study.mean_range,
        "deviation": study.deviation,
        "lower": study.lower,
        "upper": study.upper,
        "outside": [occasions[i] for i in study.outside],
        "drift_per_occasion": study.drift_per_occasion,
        "drift_p": study.drift_p,
        "means": [{"occasion": o, "mean": float(m)} for o, m in zip(occasions, study.means, strict=True)],
    }


def agreement_fact(study: Agreement) -> Fact:
    """Return the agreement of two sides' readings."""
    return {
        "first": study.first.name,
        "second": study.second.name,
        "units": study.units,
        "bias": study.bias,
        "bias_interval": list(study.bias_interval),
        "standard_deviation": study.standard_deviation,
        "limits_of_agreement": [study.lower, study.upper],
        "lower_limit_interval": list(study.lower_interval),
        "upper_limit_interval": list(study.upper_interval),
        "slope": study.slope,
        "slope_p": study.slope_p,
        "bias_standard_uncertainty": study.bias_u,
        "bias_expanded_uncertainty": study.bias_expanded,
        "terms": [{"name": term.name, "standard_uncertainty": term.standard_uncertainty} for term in study.terms],
        "bias_explained": study.explained,
    }


def attribute_fact(study: AttributeAgreement) -> Fact:
    """Return an attribute study."""
    return {
        "appraisers": [
            {
                "appraiser": each.appraiser,
                "within": _share_fact(each.within),
                "effectiveness": _share_fact(each.effectiveness),
                "kappa_against_reference": _kappa_fact(each.kappa),
                "miss": _share_fact(each.miss),
                "false_alarm": _share_fact(each.false_alarm),
            }
            for each in study.appraisers
        ],
        "between": [{"appraisers": list(pair), "kappa": _kappa_fact(kappa)} for pair, kappa in study.between.items()],
        "all_within": _share_fact(study.all_within),
        "all_effective": _share_fact(study.all_effective),
    }


def _share_fact(share: Share) -> Fact:
    return {
        "count": share.count,
        "of": share.of,
        "percent": share.percent,
        "interval_percent": list(share.interval_percent),
    }


def _kappa_fact(kappa: Kappa) -> Fact:
    return {"value": kappa.value, "standard_error": kappa.standard_error}


def risk_fact(risk: Risk, expanded: float) -> Fact:
    """Return one rule with its global risks; `expanded` is U = 2 u, which the guard factor r refers to."""
    return {
        "guard_factor": risk.guard_band / expanded,
        "guard_band": risk.guard_band,
        "consumers_risk": risk.consumer,
        "producers_risk": risk.producer,
        "accepted": risk.accepted,
        "nonconforming_among_accepted": risk.nonconforming_among_accepted,
    }
