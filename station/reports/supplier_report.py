"""The report to the board maker: what of a lot's spread and losses is the boards', and what may be our bench's."""

from collections.abc import Iterator, Mapping

import numpy as np

from station.causes.explain import LotExplanation
from station.reports.copper_blocks import CopperShown, copper_blocks
from station.reports.document import Block, Document, Facts, Heading, Paragraph, Table
from station.reports.lot_report import (
    LotFindings,
    cause_blocks,
    extent_words,
    missing_blocks,
    origin_blocks,
    spread_blocks,
    value_blocks,
)
from station.reports.pictures import percent, printed

_EXPANDED = 1.96
_COVERAGE = 2.0
"""U / u, near enough for a share that is an upper bound anyway."""


def supplier_document(
    found: LotFindings, expanded_uncertainty: Mapping[str, float], copper: CopperShown | None
) -> Document:
    """Return the report.

    expanded_uncertainty: median U (95 %) of each characteristic, in its SI unit. copper: what widths, coupons and
    sections found; None if nobody looked.
    """
    summary = found.summary
    return Document(
        title=f"Report to the board maker: lot {summary.lot}",
        subtitle=f"Part {found.part}. {extent_words(found)}.",
        date_utc=found.last_utc,
        blocks=(
            *_counts(found),
            *cause_blocks(found.causes),
            *shift_blocks(found.causes),
            *copper_blocks(copper),
            *_bench(found, expanded_uncertainty),
            *value_blocks(found),
            *spread_blocks(found),
            *missing_blocks(found.missing),
            *origin_blocks(found),
        ),
        simulated=summary.simulated,
        footer=f"Report to the board maker: lot {summary.lot}, part {found.part}",
    )


def shift_blocks(causes: LotExplanation | None) -> Iterator[Block]:
    """What the lot's R20 is off the drawing by: ours and theirs."""
    shift = None if causes is None else causes.shift
    if shift is None:
        return
    yield Heading("What the shift of R20 is made of")
    rows = [("all of it: the lot's median against the drawing", _relative(shift.total), "")]
    rows += [
        (each.words, _relative(each.value), f"± {100 * _EXPANDED * each.standard_uncertainty:.1f}\u00a0%")
        for each in ((shift.bench,) if shift.bench else ()) + shift.boards
    ]
    yield Table(("part", "of R20", "95\u00a0%"), tuple(rows))
    if shift.bench is None:
        yield Paragraph("No reference unit was run near these measurements, so our bench's part is not known.")


def _relative(logarithm: float) -> str:
    return f"{100 * np.expm1(logarithm):+.1f}\u00a0%"


def _counts(found: LotFindings) -> Iterator[Block]:
    summary = found.summary
    yield Facts(
        (
            ("Judged", str(summary.passed + summary.failed)),
            ("Pass", str(summary.passed)),
            ("Fail", str(summary.failed)),
            ("Not measured", f"{summary.invalid}: not counted against the boards"),
        )
    )


def _bench(found: LotFindings, expanded_uncertainty: Mapping[str, float]) -> Iterator[Block]:
    if found.imported:
        return  # no bench of ours had a part in these readings
    rows = []
    for each in found.limited:
        uncertainty = expanded_uncertainty.get(each.name)
        if uncertainty is None or each.sample.size < 2 or np.ptp(each.sample.values) == 0.0:
            continue
        spread, unit = float(each.sample.values.std(ddof=1)), each.sample.unit_symbol
        share = (uncertainty / _COVERAGE / spread) ** 2
        at_most = percent(share, decimals=1) if share < 1.0 else "all of it"
        rows.append((each.name, printed(spread, unit, digits=3), printed(uncertainty, unit, digits=2), at_most))
    if not rows:
        return
    yield Heading("How much can be our bench")
    headers = ("", "spread of the values (std. dev.)", "U (95\u00a0%)", "of the variance at most the bench's")
    yield Table(headers, tuple(rows))
    yield Paragraph(
        "Population: units of the lot with a measured value, fails included. The share is an upper bound: most of U is "
        "common to all units, so it shifts the whole lot and spreads nothing. A shift of the bench would show on its "
        "reference unit; what that showed meanwhile stands above, where the lot is compared with its drawing."
    )
