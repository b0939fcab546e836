"""`coilgate gauge study` and `order`: the crossed study, and the order in which to load for one."""

import csv
import sys
from pathlib import Path

import click

from station.cli.gauge_files import (
    AS_JSON,
    LEVEL,
    PLOT,
    STUDY_FILE,
    TOLERANCE,
    TOLERANCE_LOWER,
    TOLERANCE_UPPER,
    FiniteFloat,
    check_plot,
    header_options,
    text_of,
    tolerance_width,
)
from station.cli.gauge_report import ReportAsked, report_options
from station.cli.output import emit, say


@click.command(short_help="Crossed: repeatability and reproducibility.")
@STUDY_FILE
@TOLERANCE
@TOLERANCE_LOWER
@TOLERANCE_UPPER
@header_options("part", "appraiser", "trial", "value")
@click.option(
    "--pooling-significance",
    type=FiniteFloat(0.0, 1.0),
    default=0.25,
    show_default=True,
    help="Pool the interaction with repeatability if its p is above this.",
)
@LEVEL
@AS_JSON
@PLOT
@report_options
def study(
    file: Path,
    tolerance: float | None,
    tolerance_lower: float | None,
    tolerance_upper: float | None,
    part_header: str,
    appraiser_header: str,
    trial_header: str,
    value_header: str,
    pooling_significance: float,
    level: float,
    as_json: bool,
    plot: Path | None,
    report: ReportAsked,
) -> None:
    """Crossed study: repeatability and reproducibility, by analysis of variance and by average and range.

    A row is one reading: part, appraiser, trial, value. Every appraiser measures every part equally often.

    \b
    Example: coilgate gauge study readings.csv --tolerance-lower 6.8 --tolerance-upper 9.2
             coilgate gauge study readings.csv --tolerance 2.4 --report study.pdf
    """
    from station.quality.gauge_crossed import crossed_study
    from station.quality.study_file import crossed_readings

    check_plot(plot)
    headers = {"part": part_header, "appraiser": appraiser_header, "trial": trial_header, "value": value_header}
    text = text_of(file)
    readings = crossed_readings(text, str(file), headers=headers)
    mean = float(readings.values.mean())
    width = tolerance_width(tolerance, tolerance_lower, tolerance_upper, mean=mean)
    result = crossed_study(readings, tolerance=width, pooling_significance=pooling_significance, level=level)
    if plot is not None:
        from station.reports.gauge_plots import crossed_page, save_page

        save_page(crossed_page(result, title=file.name, lower=tolerance_lower, upper=tolerance_upper), plot)
        say(f"{plot}: drawn.")
    if report.target is not None:
        from station.reports.gauge_report import crossed_document

        limits = {"lower": tolerance_lower, "upper": tolerance_upper}
        report.write(lambda source: crossed_document(result, source), file, text, **limits)
    if as_json:
        from station.cli.gauge_facts import crossed_fact

        emit({"file": str(file), **crossed_fact(result)})
        return
    from station.cli.gauge_text import crossed_text

    click.echo(crossed_text(result, str(file)))


@click.command(short_help="Order in which to load the parts.")
@click.argument("parts", nargs=-1, required=True, metavar="PART...")
@click.option("--appraiser", "appraisers", multiple=True, required=True, help="Badge code; give one for each.")
@click.option("--trials", type=click.IntRange(2, 20), default=3, show_default=True, help="Passes through all parts.")
@click.option("--seed", type=int, default=1, show_default=True, help="The same seed gives the same order.")
def order(parts: tuple[str, ...], appraisers: tuple[str, ...], trials: int, seed: int) -> None:
    """Print the order in which to load the parts, as a study file whose values are still empty.

    Random, with an order of its own for each appraiser; no part twice running. Unload and load again for each row, and
    keep the earlier readings out of sight.

    Example: coilgate gauge order U1 U2 U3 --appraiser OP-07 --appraiser OP-09 > readings.csv
    """
    from station.quality.study_order import study_order

    try:
        steps = study_order(parts, appraisers, trials, seed=seed)
    except ValueError as error:
        raise click.UsageError(f"{error}.") from error
    writer = csv.writer(sys.stdout, lineterminator="\n")
    writer.writerow(("part", "appraiser", "trial", "value"))
    writer.writerows((step.part, step.appraiser, step.trial, "") for step in steps)
