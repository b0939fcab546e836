"""Limits that keep a datasheet's promise: what the plan must judge by, with the bench's uncertainty taken off."""

from collections.abc import Iterator
from dataclasses import dataclass

from station.reports.document import Block, Heading, Paragraph, Table
from station.reports.pictures import printed


@dataclass(frozen=True, slots=True)
class ProposedLimit:
    """Tolerance limits as promised (printed figures), the guard band of one bench's U, and who would not pass."""

    name: str
    unit_symbol: str
    lower: float | None
    upper: float | None
    expanded_uncertainty: float | None
    outside: int
    """Units that pass today and lie outside the acceptance limits."""
    units: int
    frequency: str
    """How often it is due, in words; empty: of every unit."""

    @property
    def acceptance_lower(self) -> float | None:
        """Lower acceptance limit (JCGM 106:2012, 8.3.2: guard band w = U)."""
        return None if self.lower is None else self.lower + (self.expanded_uncertainty or 0.0)

    @property
    def acceptance_upper(self) -> float | None:
        """Upper acceptance limit."""
        return None if self.upper is None else self.upper - (self.expanded_uncertainty or 0.0)


def limit_blocks(limits: tuple[ProposedLimit, ...]) -> Iterator[Block]:
    """Yield the section on limits; nothing without any."""
    if not limits:
        return
    yield Heading("For the maker: limits that keep this promise (proposed)")
    yield Table(
        ("", "lower limit", "upper limit", "U (95\u00a0%)", "acceptance from", "to", "outside today"),
        tuple(
            (
                each.name,
                printed(each.lower, each.unit_symbol),
                printed(each.upper, each.unit_symbol),
                printed(each.expanded_uncertainty, each.unit_symbol, digits=2),
                printed(each.acceptance_lower, each.unit_symbol),
                printed(each.acceptance_upper, each.unit_symbol),
                f"{each.outside} of {each.units}",
            )
            for each in limits
        ),
    )
    sampled = [f"{each.name} ({each.frequency})" for each in limits if each.frequency]
    words = (
        "Proposed for the control plan, not released: tolerance limits are minimum and maximum as printed above, the "
        "guard band is U of the bench that measured, so that a unit that passes keeps the promise. Outside: units that "
        "pass today and would not."
    )
    if sampled:
        words += f" Of some only samples are measured: {', '.join(sampled)}. A limit says nothing of the others."
    yield Paragraph(words)
