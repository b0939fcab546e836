"""`coilgate lot capability`, `chart`, `compare`, `spread`: what the process makes, on a lot or on a CSV of values."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.gauge_files import check_plot
from station.cli.lot_options import (
    AS_JSON,
    CHARACTERISTIC,
    LEVEL,
    LOWER,
    PLOT,
    POPULATION,
    UPPER,
    VALUE_HEADER,
    VALUES,
    WITHOUT_ODD,
    draw,
    limits_for,
    one_source,
    read_file,
    read_limited,
    read_lots,
    statistics_of,
)
from station.cli.output import emit
from station.errors import StationError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from station.app.lot_samples import LotSample
    from station.quality.capability import Capability


@click.command(short_help="Pp, Ppk, Cp, Cpk with bounds.")
@click.argument("name", metavar="[LOT]", required=False)
@VALUES
@VALUE_HEADER
@CHARACTERISTIC
@LOWER
@UPPER
@POPULATION
@WITHOUT_ODD
@LEVEL
@AS_JSON
@PLOT
@click.pass_context
def capability(
    ctx: click.Context,
    name: str | None,
    file: Path | None,
    value_header: str,
    characteristic: str | None,
    lower: str | None,
    upper: str | None,
    population: str,
    odd_left_out: bool,
    level: float,
    as_json: bool,
    plot: Path | None,
) -> None:
    """What the process holds of its limits: Pp, Ppk, Cp, Cpk, each with confidence bounds, and by which route.

    Of every characteristic with limits in the plan, or of one. Values that are not normal are judged by percentiles
    (ISO 22514-4), and the text says so.

    \b
    Example: coilgate lot capability L2641 --characteristic R20
             coilgate lot capability --values readings.csv --lower 6.8 --upper 9.2
    """
    from station.app.lot_quality import lot_capability, without_odd

    check_plot(plot)
    one_source(name, file)
    samples, plan, empty = (
        ([read_file(file, value_header)], None, [])
        if file is not None
        else read_limited(ctx, name or "", characteristic, population)
    )
    if len(samples) > 1 and (plot is not None or lower is not None or upper is not None):
        raise click.UsageError("--plot, --lower and --upper are of one characteristic: add --characteristic.")
    if odd_left_out:
        samples = [without_odd(each) for each in samples]
    found, refused = [], dict.fromkeys(empty, "no unit has a value")
    for each in samples:
        limits, origin = limits_for(each, plan, lower, upper)
        try:
            with statistics_of(f"{each.source}, {each.characteristic}"):
                found.append(_Stated(each, lot_capability(each, limits, level=level), origin))
        except StationError as error:
            # One characteristic of several does not keep the others back.
            if len(samples) == 1:
                raise
            refused[each.characteristic] = str(error)
    if plot is not None:
        draw(plot, found[0].page)
    if as_json:
        source = {"lot": name, "file": None if file is None else str(file)}
        facts = {each.lot.characteristic: each.fact() for each in found}
        emit(source | {"characteristics": facts, "not_stated": refused})
        return
    from station.cli.lot_quality_text import capability_table, capability_text

    if len(found) == 1 and not refused:
        click.echo(capability_text(found[0].lot, found[0].figures, found[0].origin))
    else:
        click.echo(capability_table([(each.lot, each.figures) for each in found], refused))


@dataclass(frozen=True, slots=True, eq=False)
class _Stated:
    """One characteristic's capability, and where its limits come from."""

    lot: "LotSample"
    figures: "Capability"
    origin: str

    def fact(self) -> dict[str, object]:
        from station.cli.lot_facts import capability_fact

        return capability_fact(self.figures) | {"limits_from": self.origin}

    def page(self) -> "Figure":
        from station.reports.lot_plots import capability_page

        quantity = self.lot.characteristic
        return capability_page(
            self.lot.sample, self.figures, title=f"{self.lot.source}, {quantity}", quantity=quantity
        )


@click.command(short_help="Control charts with run rules.")
@click.argument("name", metavar="[LOT]", required=False)
@VALUES
@VALUE_HEADER
@CHARACTERISTIC
@click.option(
    "--kind",
    type=click.Choice(["individuals", "means", "ewma", "cusum"]),
    default="individuals",
    show_default=True,
    help="Single values with moving ranges; means of subgroups with their spread; two charts for small shifts.",
)
@click.option("--subgroup", type=click.IntRange(2, 1000), help="Units in order that make a subgroup; else the panels.")
@POPULATION
@AS_JSON
@PLOT
@click.pass_context
def chart(
    ctx: click.Context,
    name: str | None,
    file: Path | None,
    value_header: str,
    characteristic: str | None,
    kind: str,
    subgroup: int | None,
    population: str,
    as_json: bool,
    plot: Path | None,
) -> None:
    """Control charts of a characteristic in order of measurement, and the patterns that chance seldom makes.

    \b
    Example: coilgate lot chart L2641 --characteristic R20 --plot R20.svg
             coilgate lot chart L2641 --characteristic L --kind means --subgroup 5
    """
    from station.app.lot_quality import lot_charts

    check_plot(plot)
    one_source(name, file)
    if file is not None:
        sample = read_file(file, value_header)
    else:
        sample = read_lots(ctx, (name or "",), characteristic or "R20", population)[0]
    title = f"{sample.source}, {sample.characteristic}"
    with statistics_of(title):
        charts = lot_charts(sample, kind, size=subgroup)
    if plot is not None:
        from station.reports.lot_plots import chart_page, sums_page

        sums = charts.sums
        draw(plot, lambda: chart_page(charts.charts, title=title) if sums is None else sums_page(sums, title=title))
    if as_json:
        from station.cli.lot_facts import chart_fact

        emit(
            {"lot": name, "file": None if file is None else str(file), "characteristic": sample.characteristic}
            | chart_fact(charts)
        )
        return
    from station.cli.lot_quality_text import chart_text

    click.echo(chart_text(sample, charts))


@click.command(short_help="Lots beside each other.")
@click.argument("names", metavar="LOT LOT...", nargs=-1, required=True)
@CHARACTERISTIC
@POPULATION
@LEVEL
@AS_JSON
@PLOT
@click.pass_context
def compare(
    ctx: click.Context,
    names: tuple[str, ...],
    characteristic: str | None,
    population: str,
    level: float,
    as_json: bool,
    plot: Path | None,
) -> None:
    """Lots beside each other: how far each one's mean and spread are from the first lot's, with intervals.

    Example: coilgate lot compare L2641 L2642 --characteristic R20 --plot lots.svg
    """
    from station.quality.compare import compare_samples

    check_plot(plot)
    if len(names) < 2 or len(set(names)) < len(names):
        raise click.UsageError("name two lots or more, each once.")
    quantity = characteristic or "R20"
    samples = read_lots(ctx, names, quantity, population)
    with statistics_of(quantity):
        found = [compare_samples(samples[0].sample, each.sample, level=level) for each in samples[1:]]
    if plot is not None:
        from station.reports.lot_plots import compare_page

        title = f"{', '.join(names)}: {quantity}"
        draw(plot, lambda: compare_page([each.sample for each in samples], names, title=title, quantity=quantity))
    if as_json:
        from station.cli.lot_facts import compare_fact

        lots = {
            name: {
                "units": each.sample.size,
                "mean": float(each.sample.values.mean()),
                "standard_deviation": float(each.sample.values.std(ddof=1)),
                "population": each.sample.population,
            }
            for name, each in zip(names, samples, strict=True)
        }
        against = {name: compare_fact(each) for name, each in zip(names[1:], found, strict=True)}
        unit = samples[0].sample.unit_symbol
        emit({"characteristic": quantity, "unit": unit, "first": names[0], "lots": lots, "against_first": against})
        return
    from station.cli.lot_quality_text import compare_text

    click.echo(compare_text(names, samples, found))


@click.command(short_help="Why a characteristic spreads.")
@click.argument("names", metavar="LOT...", nargs=-1, required=True)
@CHARACTERISTIC
@click.option("--gauge", "gauge_text", help="Standard deviation of the gauge from a gauge study, such as '4 mohm'.")
@POPULATION
@AS_JSON
@PLOT
@click.pass_context
def spread(
    ctx: click.Context,
    names: tuple[str, ...],
    characteristic: str | None,
    gauge_text: str | None,
    population: str,
    as_json: bool,
    plot: Path | None,
) -> None:
    """Why a characteristic spreads: from lot to lot, panel to panel, within the panel; gradient, drift, odd units.

    Map, drift and odd units are of the first lot. --plot draws the panel as a map.

    Example: coilgate lot spread L2641 L2642 --characteristic R20 --plot panel.svg
    """
    from station.app.lot_quality import lot_spread

    check_plot(plot)
    quantity = characteristic or "R20"
    samples = read_lots(ctx, names, quantity, population)
    gauge = _gauge(gauge_text, samples[0].sample.unit_symbol)
    with statistics_of(quantity):
        found = lot_spread(samples, gauge_deviation=gauge)
    if plot is not None:
        if found.map is None:
            raise click.UsageError("--plot draws the panel, and the units' places on it are not known.")
        from station.reports.lot_plots import panel_page

        places = found.map
        draw(plot, lambda: panel_page(places, title=f"lot {names[0]}, {quantity}"))
    if as_json:
        from station.cli.lot_facts import spread_fact

        unit = samples[0].sample.unit_symbol
        emit({"lots": list(names), "characteristic": quantity, "unit": unit} | spread_fact(found, samples[0].serials))
        return
    from station.cli.lot_quality_text import spread_text

    click.echo(spread_text(samples[0], found))


def _gauge(text: str | None, unit: str) -> float | None:
    from station.core.quantity import QuantityError, parse_quantity

    if text is None:
        return None
    try:
        return parse_quantity(text, unit)
    except QuantityError as error:
        raise click.UsageError(f"--gauge: {error}.") from error


COMMANDS = (capability, chart, compare, spread)
"""What `lot` takes over."""
