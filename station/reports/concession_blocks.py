"""What a paper says of a deviation permit or concession: by how much it departs, for what, until when, who signed."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from station.core.concession import Concession
from station.core.plan import Plan
from station.core.results import Result
from station.reports.document import Block, Facts, Heading, Paragraph, Table
from station.reports.pictures import printed, symbols


@dataclass(frozen=True, slots=True)
class ConcessionUse:
    """A concession, the units of a lot that were accepted by it, and how it stands."""

    granted: Concession
    units: int
    standing: str


def unit_blocks(found: Concession, plan: Plan | None, results: Sequence[Result]) -> Iterator[Block]:
    """The concession by which one unit was accepted, beside the limits that it does not keep."""
    name, unit = found.characteristic, found.unit_symbol
    limits = None if plan is None else plan.characteristic(name)
    result = next((each for each in results if each.characteristic == name), None)
    yield Heading(f"{found.kind.capitalize()} {found.number}")
    yield Paragraph(
        f"This unit does not conform to the control plan in {name}. It was accepted by {found.kind} {found.number} "
        "(ISO 9000) and is not counted as passed."
    )
    pairs = [
        ("Measured", printed(result.value if result else None, unit, digits=5)),
        ("Limits of the plan", _span(limits.lower if limits else None, limits.upper if limits else None, unit)),
        ("Widened limits", f"{_span(found.lower, found.upper, unit)}, less the plan's guard band"),
    ]
    yield Facts((*pairs, *_terms(found)))


def lot_blocks(used: Sequence[ConcessionUse]) -> Iterator[Block]:
    """The permits and concessions of a lot, those that no unit needed included."""
    if not used:
        return
    yield Heading("Deviation permits and concessions")
    headers = ("number", "kind", "widened limits", "for", "ends (UTC)", "customer", "signed by", "units", "")
    rows = tuple(
        (
            each.granted.number,
            each.granted.kind.value,
            symbols(each.granted.limits_words),
            each.granted.extent_words,
            f"{each.granted.expires_utc:%Y-%m-%d %H:%M}",
            each.granted.customer_reference,
            each.granted.who,
            str(each.units),
            each.standing,
        )
        for each in used
    )
    yield Table(headers, rows, words=(0, 1, 2, 3, 4, 5, 6, 8))
    yield Paragraph(
        "Units: of this lot, accepted now. They do not conform, count as fail in every figure of this report, and lie "
        "in a bin of their own."
    )


def _terms(found: Concession) -> tuple[tuple[str, str], ...]:
    return (
        ("For", found.extent_words),
        ("Ends", f"{found.expires_utc:%Y-%m-%d %H:%M} UTC"),
        ("Customer's reference", found.customer_reference),
        ("Reason", found.why),
        ("Signed", f"{found.who}, {found.granted_utc:%Y-%m-%d %H:%M} UTC"),
    )


def _span(lower: float | None, upper: float | None, unit: str) -> str:
    if lower is None and upper is None:
        return "none"
    if lower is None:
        return f"up to {printed(upper, unit)}"
    return f"from {printed(lower, unit)}" if upper is None else f"{printed(lower, unit)} to {printed(upper, unit)}"
