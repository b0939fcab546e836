"""The smaller gauge studies as text: what it comes to first, then how."""

from decimal import ROUND_HALF_UP, Decimal

from station.cli.gauge_text import plain_table
from station.cli.output import table
from station.quality.agreement import Agreement
from station.quality.attribute import AttributeAgreement, Share
from station.quality.gauge_linearity import Linearity
from station.quality.gauge_stability import Stability
from station.quality.gauge_type1 import SystemUncertainty, Type1
from station.reports.gauge_single_words import (
    linearity_rows,
    linearity_verdict,
    linearity_words,
    stability_verdict,
    stability_words,
    system_words,
    type1_convention,
    type1_notes,
    type1_rows,
)
from station.reports.gauge_words import number, pair


def type1_text(study: Type1, system: SystemUncertainty | None, file: str) -> str:
    """Return a type-1 study."""
    lines = [
        f"Type-1 study of {file}: {study.bias.readings} readings of one reference part of "
        f"{number(study.bias.reference)}.",
        "",
        plain_table(type1_rows(study)),
        type1_convention(study),
        "",
        *type1_notes(study),
    ]
    return "\n".join(lines + ([] if system is None else ["", *system_words(system)]))


def linearity_text(study: Linearity, file: str) -> str:
    """Return a linearity study."""
    return "\n".join(
        [
            f"Linearity study of {file}: {study.degrees_of_freedom + 2} readings of {len(study.references)} "
            "reference parts.",
            linearity_verdict(study),
            "",
            plain_table(linearity_rows(study)),
            "",
            *linearity_words(study),
        ]
    )


def stability_text(study: Stability, occasions: tuple[str, ...], file: str) -> str:
    """Return a stability study."""
    return "\n".join(
        [
            f"Stability study of {file}: {len(occasions)} occasions, {study.readings_per_occasion} readings each.",
            stability_verdict(study, occasions),
            *stability_words(study),
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
