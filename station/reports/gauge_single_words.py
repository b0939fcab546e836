"""Words and tables of the studies on reference parts, the same at a terminal, on paper and on screen."""

from station.quality.gauge_linearity import Linearity
from station.quality.gauge_stability import Stability
from station.quality.gauge_type1 import LEAST_INDEX, USUAL_READINGS, Bias, SystemUncertainty, Type1
from station.reports.gauge_words import Rows, number, pair

LEAST_RESOLUTION_PERCENT = 5.0
"""Of the tolerance (ISO 22514-7)."""

CAPABLE_PERCENT = 15.0
"""Q_MS up to which a measuring system is capable (ISO 22514-7; VDA volume 5)."""


def type1_rows(study: Type1) -> Rows:
    """Return Cg and Cgk."""
    headers = ("", "value", "interval", f"{LEAST_INDEX} is asked for (common practice)")
    rows = (
        ("Cg", f"{study.cg:.3f}", f"{pair(study.cg_interval)}", _asked(study.cg)),
        ("Cgk", f"{study.cgk:.3f}", "", _asked(study.cgk)),
    )
    return Rows(headers, rows)


def _asked(index: float) -> str:
    return "reached" if index >= LEAST_INDEX else "not reached"


def type1_convention(study: Type1) -> str:
    """Return what Cg is made of."""
    return (
        f"Cg sets {study.share:.0%} of the tolerance ({number(study.tolerance)}) against {study.deviations:g} "
        "standard deviations."
    )


def type1_notes(study: Type1) -> list[str]:
    """Return the bias with its test, and what is odd about number and resolution of the readings."""
    lines = bias_words(study.bias)
    if study.bias.readings < USUAL_READINGS:
        lines.append(
            f"{study.bias.readings} readings are few: {USUAL_READINGS} are usual; the interval says what that costs."
        )
    if study.resolution_percent is not None:
        fit = "fine enough" if study.resolution_percent <= LEAST_RESOLUTION_PERCENT else "too coarse"
        lines.append(
            f"Resolution: {study.resolution_percent:.1f} % of the tolerance, {fit} (ISO 22514-7 asks for 5 %)."
        )
    return lines


def bias_words(bias: Bias) -> list[str]:
    """Return a bias with its t test."""
    word = "significant" if bias.significant else "not significant"
    return [
        f"Bias {number(bias.bias)} ({pair(bias.interval)}), {word}: t = {bias.t:.2f}, p = {bias.p:.3g}, "
        f"{bias.degrees_of_freedom} degrees of freedom.",
        f"Mean {bias.mean:.6g}, standard deviation {number(bias.standard_deviation)}.",
    ]


def system_words(system: SystemUncertainty) -> list[str]:
    """Return the measuring system's uncertainty."""
    q = "" if system.q_ms_percent is None else f", Q_MS = {system.q_ms_percent:.2f} % (15 % is asked for)"
    return [
        f"Measuring system: u_CAL {number(system.u_cal)}, u_EVR {number(system.u_evr)}, u_BI {number(system.u_bi)}, "
        f"u_RE {number(system.u_re)}.",
        f"u_MS = {number(system.u_ms)}, U_MS = {number(system.expanded)}{q}.",
        f"Capable of tolerances from {number(system.least_tolerance)}.",
    ]


def linearity_verdict(study: Linearity) -> str:
    """Return whether a bias shows anywhere."""
    if study.zero_within_band:
        return "No bias is seen: zero lies in the band over the whole range."
    return "Bias or linearity needs work: zero leaves the band."


def linearity_rows(study: Linearity) -> Rows:
    """Return bias, line and band by reference."""
    fitted = zip(study.references, study.fitted, study.band_low, study.band_high, strict=True)
    rows = tuple(
        (f"{x:g}", number(study.bias_by_reference[float(x)]), number(y), pair((low, high)), _zero(low, high))
        for x, y, low, high in fitted
    )
    return Rows(("reference", "mean bias", "line", "band", "zero"), rows)


def _zero(low: float, high: float) -> str:
    return "inside" if low <= 0.0 <= high else "outside"


def linearity_words(study: Linearity) -> list[str]:
    """Return slope and intercept with their tests, and the fit."""
    return [
        f"Slope {study.slope:.6g} (t = {study.slope_t:.3f}, p = {study.slope_p:.3g}), "
        f"intercept {study.intercept:.6g} (t = {study.intercept_t:.3f}, p = {study.intercept_p:.3g}).",
        f"R squared {study.r_squared:.3f}, standard deviation about the line {number(study.deviation_about_line)}.",
    ]


def stability_verdict(study: Stability, occasions: tuple[str, ...]) -> str:
    """Return which occasions are outside the limits."""
    outside = ", ".join(occasions[i] for i in study.outside)
    return f"Outside the limits: {outside}." if outside else "All occasions are within the limits."


def stability_words(study: Stability) -> list[str]:
    """Return centre, limits and drift."""
    kind = "ranges within occasions" if study.readings_per_occasion > 1 else "moving ranges"
    return [
        f"Centre {study.centre:.6g}, limits {study.lower:.6g} to {study.upper:.6g}: 3 standard deviations, "
        f"from {kind}.",
        f"Drift {number(study.drift_per_occasion)} an occasion (p = {study.drift_p:.3g}).",
    ]
