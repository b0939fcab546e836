"""Figures of a lot in words and plain tables."""

from collections.abc import Mapping, Sequence

from station.app.lot_quality import ChartSet, Spread, signals_of
from station.app.lot_samples import LotSample
from station.cli.output import table
from station.core.quantity import format_quantity
from station.quality.capability import Capability, Index
from station.quality.compare import Comparison

SHOWN_SIGNALS = 12
SHOWN_OUTLIERS = 10
_UNSEEN = "not to be told from what is within"


def capability_text(lot: LotSample, found: Capability, origin: str) -> str:
    """Return one characteristic's capability: limits, route, indices with bounds, population."""
    unit = found.unit_symbol
    lines = [
        f"{_head(lot)}: {found.units} units.",
        f"Mean {_q(found.mean, unit)}, standard deviation {_q(found.overall_deviation, unit)} overall"
        + (f", {_q(found.within.deviation, unit)} within ({found.within.convention})." if found.within else "."),
        f"Limits {_q(found.tolerance.lower, unit)} to {_q(found.tolerance.upper, unit)} ({origin}): "
        f"{found.below} below, {found.above} above.",
        f"Route: {found.route.value}; {found.why}.",
        "",
    ]
    named = (("Pp", found.pp), ("Ppk", found.ppk), ("Cp", found.cp), ("Cpk", found.cpk))
    rows = [(name, f"{index.value:.3f}", _bounds(index)) for name, index in named if index is not None]
    lines.append(table(("index", "value", f"{found.level:.0%} bounds"), rows) if rows else "No index can be stated.")
    if found.expected_beyond is not None:
        lines += ["", f"Expected outside the limits, by the distribution: {_share(found.expected_beyond)}."]
    lines += ["", f"Population: {found.population}."]
    return "\n".join(lines)


def capability_table(rows: Sequence[tuple[LotSample, Capability]], refused: Mapping[str, str]) -> str:
    """Return several characteristics, a line each, and why others have none."""
    if not rows:
        return "\n".join(f"Not stated: {name}: {why}" for name, why in refused.items())
    cells = [
        (
            lot.characteristic,
            str(found.units),
            _q(found.mean, found.unit_symbol),
            _q(found.overall_deviation, found.unit_symbol),
            *(f"{each.value:.2f}" if each else "-" for each in (found.pp, found.ppk, found.cp, found.cpk)),
            "-" if found.ppk is None else _bounds(found.ppk),
            found.route.value,
        )
        for lot, found in rows
    ]
    level = f"{rows[0][1].level:.0%} bounds of Ppk"
    head = ("characteristic", "units", "mean", "deviation", "Pp", "Ppk", "Cp", "Cpk", level, "route")
    lot = rows[0][0]
    notes = [f"Not stated: {name}: {why}" for name, why in refused.items()]
    without = [lot.characteristic for lot, found in rows if found.ppk is None]
    if without:
        notes.append(
            f"No index of {', '.join(without)}: not normal, no fitted distribution holds, too few for percentiles. "
            "--characteristic tells more; --without-odd leaves odd units out."
        )
    return "\n".join([f"{_source(lot)}:", table(head, cells), *notes, "", f"Population: {_populations(rows)}."])


def _populations(rows: Sequence[tuple[LotSample, Capability]]) -> str:
    """One population in words for all; what is left out is told by characteristic."""
    shared, left_out = "", dict[str, list[str]]()
    for lot, found in rows:
        words = found.population.replace(f"a measured {lot.characteristic}", "a measured value")
        words = words.replace(f"an imported {lot.characteristic}", "an imported value")
        shared, comma, less = words.partition(", less ")
        if comma:
            left_out.setdefault(less, []).append(lot.characteristic)
    return "; ".join([shared, *(f"of {', '.join(names)} less {less}" for less, names in left_out.items())])


def chart_text(lot: LotSample, charts: ChartSet) -> str:
    """Return centre, limits and signals of charts."""
    lines = [f"{_head(lot)}: {lot.sample.size} units in order of measurement."]
    rows = []
    for chart in charts.charts:
        unit = chart.unit_symbol
        # Limits of unequal subgroups differ: those of the last are shown.
        ends = (_q(float(line[-1]), unit) for line in (chart.lower, chart.centre, chart.upper))
        rows.append((chart.title, str(chart.points.size), *ends, str(len(chart.signals))))
    if rows:
        lines.append(table(("chart", "points", "lower", "centre", "upper", "signals"), rows))
    signals = signals_of(charts)
    for title, signal in signals[:SHOWN_SIGNALS]:
        offset = 1 if title == "moving ranges" else 0
        lines.append(f"  {charts.last_serials[signal.index + offset]}: {title}, {signal.rule.value}")
    if len(signals) > SHOWN_SIGNALS:
        lines.append(f"  and {len(signals) - SHOWN_SIGNALS} more; --json has all")
    if charts.sums is not None:
        lines += _sums_lines(charts, lot.sample.unit_symbol)
    elif not signals:
        lines.append("No pattern: the process holds still, as far as this chart can see.")
    shown = charts.charts[0] if charts.charts else charts.sums
    lines += ["", f"Population: {shown.population if shown else lot.sample.population}."]
    return "\n".join(lines)


def _sums_lines(charts: ChartSet, unit: str) -> list[str]:
    sums = charts.sums
    if sums is None:
        return []
    named = (("target", sums.target), ("reference", sums.reference), ("decision", sums.decision))
    lines = [f"Of the sums: {', '.join(f'{name} {_q(value, unit)}' for name, value in named)}."]
    if not sums.signals:
        return [*lines, "No sum passes the decision value."]
    first = sums.signals[0]
    side = "above" if sums.upper[first] > sums.decision else "below"
    return [
        *lines,
        f"{len(sums.signals)} points pass the decision value, first {charts.last_serials[first]} ({side} target).",
    ]


def compare_text(names: Sequence[str], lots: Sequence[LotSample], found: Sequence[Comparison]) -> str:
    """Return lots beside each other."""
    unit = lots[0].sample.unit_symbol
    rows = []
    for name, lot, against in zip(names, lots, [None, *found], strict=True):
        values = lot.sample.values
        cells = [name, str(values.size), _q(float(values.mean()), unit), _q(float(values.std(ddof=1)), unit)]
        if against is None:
            cells += ["", "", ""]
        else:
            cells += [
                f"{_q(against.difference, unit, digits=3)} ({against.relative:+.2%})",
                f"{_q(against.low, unit, digits=3)} to {_q(against.high, unit, digits=3)}",
                f"{against.spread_ratio:.2f} ({against.spread_low:.2f} to {against.spread_high:.2f})",
            ]
        rows.append(tuple(cells))
    level = f"{found[0].level:.0%}"
    head = ("lot", "units", "mean", "deviation", f"less {names[0]}", f"{level} interval", f"deviation / {names[0]}'s")
    populations = "; ".join(each.sample.population for each in lots)
    title = f"{lots[0].characteristic}{' (simulated)' if lots[0].simulated else ''}:"
    return "\n".join([title, table(head, rows), "", f"Populations: {populations}."])


def spread_text(lot: LotSample, found: Spread) -> str:
    """Return components, gradient, drift and odd units, and what can't be told."""
    unit, lines = lot.sample.unit_symbol, [f"{_head(lot)}:"]
    if found.components is not None:
        rows = [
            (part.source, _q(part.deviation, unit, digits=3), f"{part.share:.1%}", _UNSEEN if part.negative else "")
            for part in found.components.parts
        ]
        lines += [table(("source", "deviation", "of the variance", ""), rows), ""]
    if found.map is not None:
        places = found.map
        lines.append(
            f"Gradient: {_q(places.per_row, unit, digits=3)} a row, {_q(places.per_column, unit, digits=3)} a column; "
            f"{_q(places.across, unit, digits=3)} across the panel, {places.explained:.1%} of the variance "
            f"(p = {places.p:.2g})."
        )
    if found.trend is not None:
        over = "panel" if found.trend.population.startswith("panel means") else "unit"
        verdict = "there is a drift" if found.trend.drifts else "no drift is shown"
        lines.append(
            f"Drift: {_q(found.trend.change, unit, digits=3)} from first to last {over} (p = {found.trend.p:.2g}, "
            f"by ranks {found.trend.rank_p:.2g}): {verdict}."
        )
    if found.outliers is not None:
        odd = found.outliers.indices
        lines.append(f"Odd units, more than {found.outliers.cutoff:g} robust deviations off: {len(odd)}.")
        names = lot.serials or tuple(f"value {i + 1}" for i in range(lot.sample.size))
        lines += [
            f"  {names[i]}  {_q(float(lot.sample.values[i]), unit)}  {found.outliers.scores[i]:+.1f}"
            for i in odd[:SHOWN_OUTLIERS]
        ]
    lines += [f"Not told: {words}." for words in found.missing]
    population = found.components.population if found.components is not None else lot.sample.population
    return "\n".join([*lines, "", f"Population: {population}."])


def _head(lot: LotSample) -> str:
    return f"{_source(lot)}, {lot.characteristic}"


def _source(lot: LotSample) -> str:
    named = lot.source[:1].upper() + lot.source[1:] if lot.source.startswith("lot ") else lot.source
    return f"{named}{' (simulated)' if lot.simulated else ''}"


def _q(value: float | None, unit: str, *, digits: int = 4) -> str:
    return "none" if value is None else format_quantity(value, unit, digits=digits)


def _bounds(index: Index) -> str:
    return "not to be had" if index.low is None or index.high is None else f"{index.low:.3f} to {index.high:.3f}"


def _share(share: float) -> str:
    if share >= 0.001:
        return f"{share:.2%}"
    return "less than 0.001 in a million" if share < 1e-9 else f"{share * 1e6:.3g} in a million"
