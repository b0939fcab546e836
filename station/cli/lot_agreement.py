"""`coilgate lot agreement`: somebody else's readings of a lot against ours, unit by unit."""

from pathlib import Path

import click

from station.cli.gauge_files import check_plot
from station.cli.lot_options import AS_JSON, CHARACTERISTIC, LEVEL, PLOT, draw, statistics_of
from station.cli.opening import open_station
from station.cli.output import emit


@click.command("agreement", short_help="Imported readings against ours, unit by unit.")
@click.argument("name", metavar="LOT")
@CHARACTERISTIC
@LEVEL
@AS_JSON
@PLOT
@click.pass_context
def lot_agreement(
    ctx: click.Context, name: str, characteristic: str | None, level: float, as_json: bool, plot: Path | None
) -> None:
    """Do the board maker's readings and ours agree? Bias and limits of agreement over the units that both measured.

    Difference = imported - measured here. Whether the uncertainties of both sides on record explain the bias is said.

    Example: coilgate lot agreement L2641 --characteristic R20 --plot agreement.svg
    """
    from station.app.lot_agreement import lot_agreement as agree

    check_plot(plot)
    quantity = characteristic or "R20"
    with open_station(ctx) as station, statistics_of(f"lot {name}, {quantity}"):
        both = agree(station.records, name, quantity, level=level)
    if plot is not None:
        from station.reports.gauge_plots import agreement_page

        title = f"lot {name}: {quantity} ({both.unit_symbol})"
        draw(plot, lambda: agreement_page(both.found, both.ours, both.theirs, title=title))
    if as_json:
        from station.cli.gauge_facts import agreement_fact

        of = {"lot": name, "characteristic": quantity, "unit": both.unit_symbol}
        emit({**of, **agreement_fact(both.found), "population": both.population})
        return
    from station.cli.gauge_more_text import agreement_text

    click.echo(agreement_text(both.found, f"lot {name}, {quantity} in {both.unit_symbol}"))
    click.echo(f"\nPopulation: {both.population}.")
