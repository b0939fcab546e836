"""The smaller gauge studies as text: what it comes to first, then how."""

from decimal import ROUND_HALF_UP, Decimal

from station.cli.gauge_text import number, pair
from station.cli.output import table
from station.quality.agreement import Agreement
from station.quality.attribute import AttributeAgreement, Share
from station.quality.gauge_linearity import Linearity
from station.quality.gauge_stability import Stability
from station.quality.gauge_type1 import LEAST_INDEX, USUAL_READINGS, Bias, SystemUncertainty, Type1


def type1_text(study: Type1, system: SystemUncertainty | None, file: str) -> str:
    """Return a type-1 study."""
    share, k = f"{study.share:.0%}", f"{study.deviations:g}"
    rows = [
        ("Cg", f"{study.cg:.3f}", f"{pair(study.cg_interval)}", _asked(study.cg)),
        ("Cgk", f"{study.cgk:.3f}", "", _asked(study.cgk)),
    ]
    lines = [
        f"Type-1 study of {file}: {study.bias.readings} readings of one reference part of "
        f"{number(study.bias.reference)}.",
        "",
        table(("", "value", "interval", f"{LEAST_INDEX} is asked for (common practice)"), rows),
        f"Cg sets {share} of the tolerance ({number(study.tolerance)}) against {k} standard deviations.",
        "",
        *_bias_lines(study.bias),
    ]
    if study.bias.readings < USUAL_READINGS:
        lines.append(
            f"{study.bias.readings} readings are few: {USUAL_READINGS} are usual; the interval says what that costs."
        )
    if study.resolution_percent is not None:
        fit = "fine enough" if study.resolution_percent <= 5.0 else "too coarse"
        lines.append(
            f"Resolution: {study.resolution_percent:.1f} % of the tolerance, {fit} (ISO 22514-7 asks for 5 %)."
        )
    return "\n".join(lines + ([] if system is None else _system_lines(system)))


def _asked(index: float) -> str:
    return "reached" if index >= LEAST_INDEX else "not reached"


def _bias_lines(bias: Bias) -> list[str]:
    word = "significant" if bias.significant else "not significant"
    return [
        f"Bias {number(bias.bias)} ({pair(bias.interval)}), {word}: t = {bias.t:.2f}, p = {bias.p:.3g}, "
        f"{bias.degrees_of_freedom} degrees of freedom.",
        f"Mean {bias.mean:.6g}, standard deviation {number(bias.standard_deviation)}.",
    ]


def _system_lines(system: SystemUncertainty) -> list[str]:
    q = "" if system.q_ms_percent is None else f", Q_MS = {system.q_ms_percent:.2f} % (15 % is asked for)"
    return [
        "",
        f"Measuring system: u_CAL {number(system.u_cal)}, u_EVR {number(system.u_evr)}, u_BI {number(system.u_bi)}, "
        f"u_RE {number(system.u_re)}.",
        f"u_MS = {number(system.u_ms)}, U_MS = {number(system.expanded)}{q}.",
        f"Capable of tolerances from {number(system.least_tolerance)}.",
    ]


def linearity_text(study: Linearity, file: str) -> str:
    """Return a linearity study."""
    verdict = (
        "No bias is seen: zero lies in the band over the whole range."
        if study.zero_within_band
        else "Bias or linearity needs work: zero leaves the band."
    )
    fitted = zip(study.references, study.fitted, study.band_low, study.band_high, strict=True)
    rows = [
        (f"{x:g}", number(study.bias_by_reference[float(x)]), number(y), pair((low, high)), _zero(low, high))
        for x, y, low, high in fitted
    ]
    return "\n".join(
        [
            f"Linearity study of {file}: {study.degrees_of_freedom + 2} readings of {len(study.references)} "
            "reference parts.",
            verdict,
            "",
            table(("reference", "mean bias", "line", "band", "zero"), rows),
            "",
            f"Slope {study.slope:.6g} (t = {study.slope_t:.3f}, p = {study.slope_p:.3g}), "
            f"intercept {study.intercept:.6g} (t = {study.intercept_t:.3f}, p = {study.intercept_p:.3g}).",
            f"R squared {study.r_squared:.3f}, standard deviation about the line {number(study.deviation_about_line)}.",
        ]
    )


def _zero(low: float, high: float) -> str:
    return "inside" if low <= 0.0 <= high else "outside"


def stability_text(study: Stability, occasions: tuple[str, ...], file: str) -> str:
    """Return a stability study."""
    outside = ", ".join(occasions[i] for i in study.outside)
    verdict = f"Outside the limits: {outside}." if outside else "All occasions are within the limits."
    kind = "ranges within occasions" if study.readings_per_occasion > 1 else "moving ranges"
    return "\n".join(
        [
            f"Stability study of {file}: {len(occasions)} occasions, {study.readings_per_occasion} readings each.",
            verdict,
            f"Centre {study.centre:.6g}, limits {study.lower:.6g} to {study.upper:.6g}: 3 standard deviations, "
            f"from {kind}.",
            f"Drift {number(study.drift_per_occasion)} an occasion (p = {study.drift_p:.3g}).",
        ]
    )


def agreement_text(study: Agreement, file: str) -> str:
    """Return the agreement of two sides."""
    explained = "is within" if study.explained else "is beyond"
    rows = [
        ("bias", number(study.bias), pair(study.bias_interval)),
        ("lower limit of agreement", number(study.lower), pair(study.lower_interval)),
        ("upper limit of agreement", number(study.upper), pair(study.upper_interval)),
    ]
    lines = [
        f"Agreement of {study.first.name} and {study.second.name} in {file}: {study.units} units; "
        f"difference = {study.second.name} - {study.first.name}.",
        f"The bias {explained} what the stated uncertainties explain: {number(study.bias)} against "
        f"U = {number(study.bias_expanded)}.",
        "",
        table(("", "value", "interval"), rows),
        "",
        *[f"{term.name}: u = {number(term.standard_uncertainty)}" for term in study.terms],
    ]
    if study.slope_p < 0.05:
        lines.append(
            f"The difference changes with the value: slope {number(study.slope)} (p = {study.slope_p:.3g}); "
            "one bias for all is too simple."
        )
    return "\n".join(lines)


def attribute_text(study: AttributeAgreement, file: str) -> str:
    """Return an attribute study."""
    rows = [
        (
            each.appraiser,
            _share(each.effectiveness),
            _share(each.within),
            f"{each.kappa.value:.2f}",
            _one_digit(each.miss.percent),
            _one_digit(each.false_alarm.percent),
        )
        for each in study.appraisers
    ]
    between = [(f"{one}, {other}", f"{kappa.value:.2f}") for (one, other), kappa in study.between.items()]
    headers = ("appraiser", "with the reference", "with itself", "kappa", "miss", "false alarm")
    return "\n".join(
        [
            f"Attribute study of {file}: {study.all_within.of} parts.",
            f"All appraisers and trials with the reference: {_share(study.all_effective)}.",
            "",
            table(headers, rows),
            "",
            *([table(("between", "kappa"), between), ""] if between else []),
            "Miss: called acceptable and is not; false alarm: the reverse. AIAG's guide: 2 % and 5 % are good.",
        ]
    )


def _one_digit(percent: float) -> str:
    # Half up, as printed tables have it: 6.25 is 6.3, which Python's own rounding would make 6.2.
    return f"{Decimal(repr(percent)).quantize(Decimal('0.1'), ROUND_HALF_UP)} %"


def _share(share: Share) -> str:
    low, high = share.interval_percent
    return f"{share.count} of {share.of}, {share.percent:.0f} % ({low:.0f} to {high:.0f})"
