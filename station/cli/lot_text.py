"""A lot as text: counts, yield, bins, histogram."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from station.cli.lot_facts import first_passed
from station.cli.output import WORDS, table
from station.core.quantity import format_quantity
from station.quality.factors import share_interval
from station.quality.yields import pareto

if TYPE_CHECKING:
    import numpy as np

    from station.app.lot_samples import ReasonCount
    from station.records.views import LotSummary, LotValues

BAR = 40
CLASSES = 12


def lot_text(
    summary: "LotSummary", values: "LotValues | None", *, reasons: "Sequence[ReasonCount]" = ()
) -> str:
    """Return the lot's summary, its bins, its reasons of failure, and a histogram of `values` if there are any."""
    simulated = " (simulated)" if summary.simulated else ""
    lines = [
        f"Lot {summary.lot}{simulated}: {summary.units} units, {summary.passed} pass, {summary.failed} fail, "
        f"{summary.invalid} not measured, {summary.held} held.",
        *([f"Of those that fail, {summary.conceded} accepted by concession."] if summary.conceded else []),
        f"Yield {_share(summary.passed, summary.passed + summary.failed)}: pass of those that are pass or fail.",
        f"First-pass yield {_share(first_passed(summary), summary.units)}: pass in the first run, of all units.",
        "",
        table(("bin", "name", "units"), [(str(b.number), b.name, str(b.units)) for b in summary.bins]),
    ]
    lines += _reasons(reasons)
    if values is not None and len(values.values):
        lines += ["", f"{values.characteristic}, {len(values.values)} units measured"]
        lines.append(histogram(values.values, values.unit_symbol))
    return "\n".join(lines)


def _share(count: int, of: int) -> str:
    if of == 0:
        return "not yet known"
    low, high = share_interval(count, of)
    return f"{count / of:.1%} (95%: {low:.1%} to {high:.1%})"


def _reasons(reasons: "Sequence[ReasonCount]") -> list[str]:
    """The Pareto of FAIL, and then of INVALID."""
    lines = []
    for decision, words in WORDS.items():
        bars = pareto({each.code: each.units for each in reasons if each.decision is decision})
        if bars:
            rows = [(bar.reason, str(bar.units), f"{bar.share:.0%}", f"{bar.cumulative:.0%}") for bar in bars]
            lines += ["", table((f"reason ({words})", "units", "share", "so far"), rows)]
    return lines


def histogram(values: "np.ndarray", unit_symbol: str, *, classes: int = CLASSES, bar: int = BAR) -> str:
    """Return a histogram as text, a class a line: its lower end, a bar, its count."""
    import numpy as np

    counts, edges = np.histogram(values, bins=classes)
    scale = bar / max(1, int(counts.max()))
    lines = [
        f"{format_quantity(float(edge), unit_symbol):>12}  {'#' * round(count * scale):<{bar}}  {count}"
        for edge, count in zip(edges[:-1], counts, strict=True)
    ]
    return "\n".join([*lines, f"{format_quantity(float(edges[-1]), unit_symbol):>12}"])
