"""`coilgate gauge risk`: consumer's and producer's risk of decision rules."""

from pathlib import Path

import click

from station.cli.gauge_files import (
    AS_JSON,
    NUMBER,
    PLOT,
    TOLERANCE_LOWER,
    TOLERANCE_UPPER,
    FiniteFloat,
    check_plot,
    header_options,
)
from station.cli.output import emit, say


@click.command(short_help="Consumer's and producer's risk.")
@TOLERANCE_LOWER
@TOLERANCE_UPPER
@click.option("--uncertainty", type=NUMBER, required=True, help="Standard uncertainty u of one reading.")
@click.option("--process-mean", type=NUMBER, help="Mean of the units' true values.")
@click.option("--process-deviation", type=NUMBER, help="Standard deviation of the units' true values.")
@click.option(
    "--values",
    "values_file",
    type=click.Path(path_type=Path, allow_dash=True),
    help="Measured values of a lot (CSV) instead: their spread less u.",
)
@header_options("value")
@click.option(
    "--largest-consumers-risk",
    type=FiniteFloat(0.0, 1.0, min_open=True, max_open=True),
    help="Find the guard bands that hold it.",
)
@AS_JSON
@PLOT
def risk(
    tolerance_lower: float | None,
    tolerance_upper: float | None,
    uncertainty: float,
    process_mean: float | None,
    process_deviation: float | None,
    values_file: Path | None,
    value_header: str,
    largest_consumers_risk: float | None,
    as_json: bool,
    plot: Path | None,
) -> None:
    """Consumer's and producer's risk against the guard band w = r U (JCGM 106), for a process's real spread.

    Consumer's risk: units out of tolerance that are accepted. Producer's risk: good ones that are rejected.

    \b
    Example: coilgate gauge risk --tolerance-lower 6.8 --tolerance-upper 9.2 --uncertainty 0.05 \\
                 --process-mean 7.9 --process-deviation 0.5 --largest-consumers-risk 0.001
    """
    from station.cli.gauge_assessment import assessment, process_of

    check_plot(plot)
    process = process_of(process_mean, process_deviation, values_file, value_header, uncertainty)
    found = assessment(tolerance_lower, tolerance_upper, process, uncertainty, largest_consumers_risk)
    if plot is not None:
        from station.reports.gauge_plots import risk_page, save_page

        save_page(risk_page(found.curve, found.expanded), plot)
        say(f"{plot}: drawn.")
    if as_json:
        emit(found.fact())
        return
    click.echo(found.text())
