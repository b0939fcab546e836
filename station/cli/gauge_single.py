"""`coilgate gauge type1`, `linearity` and `stability`: studies on reference parts."""

from pathlib import Path

import click

from station.cli.gauge_files import (
    AS_JSON,
    LEVEL,
    NOT_NEGATIVE,
    NUMBER,
    PLOT,
    STUDY_FILE,
    TOLERANCE,
    TOLERANCE_LOWER,
    TOLERANCE_UPPER,
    FiniteFloat,
    check_plot,
    header_options,
    study_of,
    text_of,
    tolerance_width,
)
from station.cli.gauge_report import ReportAsked, report_options
from station.cli.output import emit, say


@click.command(short_help="One reference part: Cg, Cgk, bias.")
@STUDY_FILE
@click.option("--reference", type=NUMBER, required=True, help="The reference part's assigned value.")
@TOLERANCE
@TOLERANCE_LOWER
@TOLERANCE_UPPER
@click.option(
    "--deviations",
    type=click.Choice(["4", "6"]),
    default="4",
    show_default=True,
    help="Standard deviations that Cg sets against the share of the tolerance; both are in use.",
)
@click.option("--share", type=FiniteFloat(0.01, 1.0), default=0.2, show_default=True, help="Share of the tolerance.")
@click.option("--resolution", type=NOT_NEGATIVE, help="The last digit's step.")
@click.option(
    "--reference-uncertainty",
    type=NOT_NEGATIVE,
    help="Standard uncertainty of the assigned value: gives the measuring system's uncertainty too.",
)
@header_options("value")
@LEVEL
@AS_JSON
@report_options
def type1(
    file: Path,
    reference: float,
    tolerance: float | None,
    tolerance_lower: float | None,
    tolerance_upper: float | None,
    deviations: str,
    share: float,
    resolution: float | None,
    reference_uncertainty: float | None,
    value_header: str,
    level: float,
    as_json: bool,
    report: ReportAsked,
) -> None:
    """Type-1 study: one reference part measured many times; Cg, Cgk, t test of the bias (ISO 22514-7).

    Example: coilgate gauge type1 readings.csv --reference 7.853 --tolerance 2.4
    """
    from station.quality.gauge_type1 import system_uncertainty, type1_study
    from station.quality.study_file import single_values

    text = text_of(file)
    values = single_values(text, str(file), headers={"value": value_header})
    width = tolerance_width(tolerance, tolerance_lower, tolerance_upper)
    if width is None:
        raise click.UsageError("Cg needs a tolerance: give --tolerance, or --tolerance-lower and --tolerance-upper.")
    with study_of(file):
        result = type1_study(
            values.tolist(),
            reference,
            width,
            deviations=float(deviations),
            share=share,
            resolution=resolution,
            level=level,
        )
        system = None
        if reference_uncertainty is not None:
            system = system_uncertainty(
                result.bias, u_cal=reference_uncertainty, resolution=resolution or 0.0, tolerance=width
            )
    if report.target is not None:
        from station.reports.gauge_report import type1_document

        report.write(lambda source: type1_document(result, system, values, source), file, text)
    if as_json:
        from station.cli.gauge_facts import type1_fact

        emit({"file": str(file), **type1_fact(result, system)})
        return
    from station.cli.gauge_more_text import type1_text

    click.echo(type1_text(result, system, str(file)))


@click.command(short_help="Bias over the measuring range.")
@STUDY_FILE
@header_options("reference", "value")
@LEVEL
@AS_JSON
@PLOT
@report_options
def linearity(
    file: Path,
    reference_header: str,
    value_header: str,
    level: float,
    as_json: bool,
    plot: Path | None,
    report: ReportAsked,
) -> None:
    """Linearity and bias: does the bias change over the measuring range?

    A row is one reading: reference (the part's assigned value), value.

    Example: coilgate gauge linearity readings.csv
    """
    from station.quality.gauge_linearity import linearity_study
    from station.quality.study_file import linearity_readings

    check_plot(plot)
    headers = {"reference": reference_header, "value": value_header}
    text = text_of(file)
    references, values = linearity_readings(text, str(file), headers=headers)
    with study_of(file):
        result = linearity_study(references.tolist(), values.tolist(), level=level)
    if plot is not None:
        from station.reports.gauge_plots import linearity_page, save_page

        save_page(linearity_page(result, references, values, title=file.name), plot)
        say(f"{plot}: drawn.")
    if report.target is not None:
        from station.reports.gauge_report import linearity_document

        report.write(lambda source: linearity_document(result, references, values, source), file, text)
    if as_json:
        from station.cli.gauge_facts import linearity_fact

        emit({"file": str(file), **linearity_fact(result)})
        return
    from station.cli.gauge_more_text import linearity_text

    click.echo(linearity_text(result, str(file)))


@click.command(short_help="One part over time: limits, drift.")
@STUDY_FILE
@header_options("occasion", "value")
@AS_JSON
@report_options
def stability(file: Path, occasion_header: str, value_header: str, as_json: bool, report: ReportAsked) -> None:
    """Stability: one part measured on many occasions; chart limits and drift.

    A row is one reading: occasion, value; occasions in order of time, equally many readings each.

    Example: coilgate gauge stability readings.csv
    """
    from station.quality.gauge_stability import stability_study
    from station.quality.study_file import stability_readings

    headers = {"occasion": occasion_header, "value": value_header}
    text = text_of(file)
    occasions, values = stability_readings(text, str(file), headers=headers)
    with study_of(file):
        result = stability_study(values)
    if report.target is not None:
        from station.reports.gauge_report import stability_document

        report.write(lambda source: stability_document(result, occasions, source), file, text)
    if as_json:
        from station.cli.gauge_facts import stability_fact

        emit({"file": str(file), **stability_fact(result, occasions)})
        return
    from station.cli.gauge_more_text import stability_text

    click.echo(stability_text(result, occasions, str(file)))
