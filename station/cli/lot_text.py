"""A lot as text: counts, yield, bins, histogram."""

from typing import TYPE_CHECKING

from station.cli.output import table
from station.core.quantity import format_quantity

if TYPE_CHECKING:
    import numpy as np

    from station.records.views import LotSummary, LotValues

BAR = 40
CLASSES = 12


def lot_text(summary: "LotSummary", values: "LotValues | None") -> str:
    """Return the lot's summary, its bins, and a histogram of `values` if there are any."""
    percent = "not yet known" if summary.yield_fraction is None else f"{summary.yield_fraction:.1%}"
    simulated = " (simulated)" if summary.simulated else ""
    lines = [
        f"Lot {summary.lot}{simulated}: {summary.units} units, {summary.passed} pass, {summary.failed} fail, "
        f"{summary.invalid} not measured, {summary.held} held.",
        f"Yield {percent}: pass of those that are pass or fail.",
        "",
        table(("bin", "name", "units"), [(str(b.number), b.name, str(b.units)) for b in summary.bins]),
    ]
    if values is not None and len(values.values):
        lines += ["", f"{values.characteristic}, {len(values.values)} units measured"]
        lines.append(histogram(values.values, values.unit_symbol))
    return "\n".join(lines)


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
