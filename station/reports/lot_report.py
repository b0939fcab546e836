"""The lot report: counts, what the process makes, why units are out, and the head of the digest chain."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from station.causes.explain import LotExplanation, NamedCause
from station.core.lot_tally import LotNow
from station.core.reasons import CAUSES
from station.core.results import Decision
from station.quality.capability import LEAST_FOR_PERCENTILES, Capability, Index
from station.quality.components import Components
from station.quality.panel import PanelMap
from station.quality.yields import pareto, yield_of
from station.records.standing import ReasonCount
from station.records.views import Head, LotSummary
from station.reports.concession_blocks import ConcessionUse, lot_blocks
from station.reports.document import Block, Bullets, Document, Facts, Heading, Paragraph, Picture, Table
from station.reports.lot_life_blocks import life_blocks
from station.reports.lot_pictures import ACROSS, Limited, histograms, panel_places, pareto_bars
from station.reports.pictures import percent, printed

UNIT_POPULATION = "units with a production run, each by the latest decision on its latest run"
_SHOWN = "R20"


@dataclass(frozen=True, slots=True, eq=False)
class LotFindings:
    """Everything that a lot report says. `missing`: words on what can't be stated, and why."""

    summary: LotSummary
    first_passed: int
    part: str
    plan_words: str
    first_utc: datetime
    last_utc: datetime
    benches: tuple[str, ...]
    heads: tuple[Head, ...]
    reasons: tuple[ReasonCount, ...]
    limited: tuple[Limited, ...]
    capability: dict[str, Capability]
    components: Components | None
    panel: PanelMap | None
    causes: LotExplanation | None
    missing: tuple[str, ...]
    concessions: tuple[ConcessionUse, ...] = ()
    now: LotNow | None = None
    imported: int = 0
    """Units with readings of somebody else's, where no unit was measured here: then the values are theirs."""


def lot_document(found: LotFindings) -> Document:
    """Return the lot report."""
    summary = found.summary
    return Document(
        title=f"Lot report {summary.lot}",
        subtitle=f"Part {found.part}. {extent_words(found)}.",
        date_utc=_newest(found),
        blocks=(
            *_counts(found),
            *(() if found.now is None else life_blocks(found.now)),
            *lot_blocks(found.concessions),
            *_reasons(found.reasons),
            *value_blocks(found),
            *spread_blocks(found),
            *cause_blocks(found.causes),
            *missing_blocks(found.missing),
            *origin_blocks(found),
        ),
        simulated=summary.simulated,
        footer=f"Lot report {summary.lot}, part {found.part}",
    )


def extent_words(found: LotFindings) -> str:
    """Return how many units were measured when; or that there are only imported readings."""
    if found.imported:
        units = count_words(found.imported, "unit")
        return f"No unit was measured here; imported readings of {units}, brought in {span_words(found)}"
    return f"{count_words(found.summary.units, 'unit')}, measured {span_words(found)}"


def _newest(found: LotFindings) -> datetime:
    """The time of what is newest in the report: same records, same bytes."""
    events = () if found.now is None else found.now.life.events
    return max((found.last_utc, *(each.utc for each in events)))


def _counts(found: LotFindings) -> Iterator[Block]:
    summary = found.summary
    yield Facts(
        (
            ("Pass", str(summary.passed)),
            ("Fail", f"{summary.failed}{_conceded(summary)}"),
            ("Not measured", f"{summary.invalid} (about the bench or the seat, not the unit)"),
            ("Held", f"{summary.held} (besides: set aside until an engineer decides)"),
            ("Yield", f"{_share(summary.passed, summary.passed + summary.failed)}, of those that pass or fail"),
            ("First-pass yield", f"{_share(found.first_passed, summary.units)}, pass in the first run, of all units"),
        )
    )
    yield Paragraph(f"Population of the counts: {UNIT_POPULATION}. Intervals: exact (Clopper and Pearson), 95 %.")
    if summary.bins:
        rows = tuple((str(each.number), each.name, str(each.units)) for each in summary.bins)
        yield Table(("bin", "name", "units"), rows, words=(0, 1))


def _conceded(summary: LotSummary) -> str:
    return f", of these {summary.conceded} accepted by concession" if summary.conceded else ""


def _reasons(reasons: Sequence[ReasonCount]) -> Iterator[Block]:
    for decision, title in ((Decision.FAIL, "Reasons of fail"), (Decision.INVALID, "Reasons of not measured")):
        bars = pareto({_reason(each.code): each.units for each in reasons if each.decision is decision})
        if bars:
            words = "; ".join(f"{bar.reason}: {count_words(bar.units, 'unit')}" for bar in bars)
            yield Heading(title)
            yield Picture(
                pareto_bars(bars),
                f"Bars of units by reason. {words}.",
                "Units by reason; in brackets what adds up so far.",
            )


def value_blocks(found: LotFindings) -> Iterator[Block]:
    """Characteristics against their limits: the figures, then the histograms."""
    if not found.limited:
        return
    yield Heading("Imported readings against the limits" if found.imported else "Characteristics against their limits")
    headers = ("", "units", "mean", "std. dev.", "lower limit", "upper limit", "outside", "Ppk (95 %)")
    rows = tuple(_value_row(each, found.capability.get(each.name)) for each in found.limited)
    yield Table(headers, rows)
    yield Paragraph(
        f"Population: units of the lot with {_whose(found)}. Outside: values beyond a tolerance limit, "
        "counted. Ppk: on the overall spread, normal or by percentiles as the values are (ISO 22514-4)."
        + _without_index(found)
    )
    for start in range(0, len(found.limited), ACROSS):
        row = found.limited[start : start + ACROSS]
        drawn = " and ".join(each.name for each in row)
        words = f"Units by value: {drawn}; dashed: tolerance limits of the plan, without the guard band."
        yield Picture(histograms(row), f"Histograms of {drawn}; their figures are in the table above.", words)


def _whose(found: LotFindings) -> str:
    if found.imported:
        return "an imported value (readings from a file, not measured here; no decision rests on them)"
    return "a measured value, fails included"


def _value_row(each: Limited, capability: Capability | None) -> tuple[str, ...]:
    values, unit = each.sample.values, each.sample.unit_symbol
    low, high = each.tolerance.lower, each.tolerance.upper
    outside = (0 if low is None else int((values < low).sum())) + (0 if high is None else int((values > high).sum()))
    spread = float(values.std(ddof=1)) if values.size > 1 else None
    return (
        each.name,
        str(values.size),
        printed(float(values.mean()), unit),
        printed(spread, unit, digits=3),
        printed(low, unit),
        printed(high, unit),
        str(outside),
        "–" if capability is None else _index(capability.ppk),
    )


def _without_index(found: LotFindings) -> str:
    names = [name for name, capability in found.capability.items() if capability.ppk is None]
    if not names:
        return ""
    return (
        f" None for {', '.join(names)}: not normal, and fewer than {LEAST_FOR_PERCENTILES} values have no percentiles "
        "to stand on. The histogram tells more: two lots in one, a sorted lot, single odd units?"
    )


def _index(index: Index | None) -> str:
    if index is None:
        return "–"
    if index.low is None or index.high is None:
        return f"{index.value:.2f}"
    return f"{index.value:.2f} ({index.low:.2f} to {index.high:.2f})"


def spread_blocks(found: LotFindings) -> Iterator[Block]:
    """Where R20 spreads: variance components and the panel."""
    if found.components is None and found.panel is None:
        return
    yield Heading(f"Where {_SHOWN} spreads")
    if found.components is not None:
        unit = found.components.unit_symbol
        rows = tuple(
            (part.source, printed(part.deviation, unit, digits=3), percent(part.share, decimals=0))
            for part in found.components.parts
        )
        yield Table(("source", "standard deviation", "of the variance"), rows)
        yield Paragraph(f"Population: {found.components.population}. Nested analysis of variance.")
    if found.panel is not None:
        yield Picture(
            panel_places(found.panel),
            f"Map of the panel: mean {_SHOWN} by row and column. {_gradient(found.panel)}",
            f"Mean {_SHOWN} by place, over the panels; white: no unit measured there. {_gradient(found.panel)}",
        )


def _gradient(found: PanelMap) -> str:
    unit = found.unit_symbol
    shown = "A gradient is shown" if found.p < 0.05 else "No gradient is shown"
    return (
        f"{shown}: {printed(found.per_row, unit, digits=3)} a row, "
        f"{printed(found.per_column, unit, digits=3)} a column, "
        f"{percent(found.explained)} of the variance (p = {found.p:.2g})."
    )


def cause_blocks(causes: LotExplanation | None) -> Iterator[Block]:
    """Likeliest causes by count, where the lot stands, what to ask."""
    if causes is None:
        return
    yield Heading("Likeliest causes")
    rows = tuple(
        (each.words, str(each.not_passed), str(each.passed), percent(each.share), ", ".join(each.examples[:3]))
        for each in causes.table
    )
    yield Table(("likeliest cause", "not pass", "pass", "share", "examples"), rows, words=(0, 4))
    yield Paragraph(
        f"Population: {causes.population}. A cause is an inference, not a finding."
    )
    yield Paragraph("Where the lot stands as a whole:")
    level = (f"{_percent(each)}: {each.words}" for each in causes.level)
    yield Bullets((*level, *map(_print, causes.level_evidence)))
    if causes.asks:
        yield Paragraph("What to ask and do:")
        yield Bullets(causes.asks)


def missing_blocks(missing: Sequence[str]) -> Iterator[Block]:
    """What can't be stated, and why."""
    if missing:
        yield Heading("Not stated")
        yield Bullets(tuple(missing))


def origin_blocks(found: LotFindings) -> Iterator[Block]:
    """Plan, benches, runs, and the heads of the digest chains."""
    yield Heading("Where this comes from")
    yield Facts(
        (
            ("Control plan", found.plan_words),
            ("Bench", ", ".join(found.benches)),
            ("Runs", _runs_words(found)),
            *((f"Digest chain, {head.bench or 'station'}", f"entry {head.seq}: {head.digest}") for head in found.heads),
        )
    )
    yield Paragraph(
        "The digest is that of the newest entry of the bench's records. Kept on paper it shows whether the records "
        "were changed or cut off since."
    )


def _runs_words(found: LotFindings) -> str:
    if found.imported:
        units = count_words(found.imported, "unit")
        return f"no production run; readings of {units} imported {span_words(found)} (UTC)"
    return f"{found.summary.runs} production runs, {span_words(found)} (UTC)"


def _reason(code: str) -> str:
    known = CAUSES.get(code)
    return known.words if known else code.replace("_", " ")


def _share(count: int, of: int) -> str:
    if of == 0:
        return "not yet known"
    found = yield_of(count, of, population=UNIT_POPULATION)
    low, high = (percent(each) for each in found.exact)
    return f"{percent(found.fraction)} (95\u00a0%: {low} to {high})"


def count_words(number: int, word: str) -> str:
    """Return `1 unit`, `2 units`."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def span_words(found: LotFindings) -> str:
    """Return the days of the first and the last run."""
    first, last = found.first_utc.date().isoformat(), found.last_utc.date().isoformat()
    return first if first == last else f"{first} to {last}"


def _print(words: str) -> str:
    return words.replace("+-", "±")


def _percent(cause: NamedCause) -> str:
    # Never 100 %: no list of causes is complete.
    return "over 99\u00a0%" if cause.probability > 0.99 else percent(cause.probability, decimals=0)
