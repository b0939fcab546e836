"""`coilgate gauge`: is the gauge fit for the tolerance? Works on plain CSV files, without home, plan or bench."""

import csv
import sys
from pathlib import Path

import click

from station.cli.gauge_files import (
    AS_JSON,
    LEVEL,
    NOT_NEGATIVE,
    NUMBER,
    PLOT,
    STUDY_FILE,
    FiniteFloat,
    check_plot,
    header_options,
    study_of,
    text_of,
    tolerance_width,
)
from station.cli.output import emit, say

TOLERANCE = click.option("--tolerance", type=NUMBER, help="Width between the limits, in the readings' unit.")
TOLERANCE_LOWER = click.option("--tolerance-lower", type=NUMBER, help="Lower tolerance limit.")
TOLERANCE_UPPER = click.option("--tolerance-upper", type=NUMBER, help="Upper tolerance limit.")


@click.group()
def gauge() -> None:
    """Gauge studies on CSV files: repeatability, bias, linearity, stability, agreement, risks.

    FILE.csv may be `-` for standard input. Readings are plain numbers, all in one unit of measurement.
    """


@gauge.command()
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
) -> None:
    """Crossed study: repeatability and reproducibility, by analysis of variance and by average and range.

    A row is one reading: part, appraiser, trial, value. Every appraiser measures every part equally often.

    Example: coilgate gauge study readings.csv --tolerance-lower 6.8 --tolerance-upper 9.2
    """
    from station.quality.gauge_crossed import crossed_study
    from station.quality.study_file import crossed_readings

    check_plot(plot)
    headers = {"part": part_header, "appraiser": appraiser_header, "trial": trial_header, "value": value_header}
    readings = crossed_readings(text_of(file), str(file), headers=headers)
    mean = float(readings.values.mean())
    width = tolerance_width(tolerance, tolerance_lower, tolerance_upper, mean=mean)
    result = crossed_study(readings, tolerance=width, pooling_significance=pooling_significance, level=level)
    if plot is not None:
        from station.reports.gauge_plots import crossed_page, save_page

        save_page(crossed_page(result, title=file.name, lower=tolerance_lower, upper=tolerance_upper), plot)
        say(f"{plot}: drawn.")
    if as_json:
        from station.cli.gauge_facts import crossed_fact

        emit({"file": str(file), **crossed_fact(result)})
        return
    from station.cli.gauge_text import crossed_text

    click.echo(crossed_text(result, str(file)))


@gauge.command()
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


@gauge.command()
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
) -> None:
    """Type-1 study: one reference part measured many times; Cg, Cgk, t test of the bias (ISO 22514-7).

    Example: coilgate gauge type1 readings.csv --reference 7.853 --tolerance 2.4
    """
    from station.quality.gauge_type1 import system_uncertainty, type1_study
    from station.quality.study_file import single_values

    values = single_values(text_of(file), str(file), headers={"value": value_header})
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
    if as_json:
        from station.cli.gauge_facts import type1_fact

        emit({"file": str(file), **type1_fact(result, system)})
        return
    from station.cli.gauge_more_text import type1_text

    click.echo(type1_text(result, system, str(file)))


@gauge.command()
@STUDY_FILE
@header_options("reference", "value")
@LEVEL
@AS_JSON
@PLOT
def linearity(
    file: Path, reference_header: str, value_header: str, level: float, as_json: bool, plot: Path | None
) -> None:
    """Linearity and bias: does the bias change over the measuring range?

    A row is one reading: reference (the part's assigned value), value.

    Example: coilgate gauge linearity readings.csv
    """
    from station.quality.gauge_linearity import linearity_study
    from station.quality.study_file import linearity_readings

    check_plot(plot)
    headers = {"reference": reference_header, "value": value_header}
    references, values = linearity_readings(text_of(file), str(file), headers=headers)
    with study_of(file):
        result = linearity_study(references.tolist(), values.tolist(), level=level)
    if plot is not None:
        from station.reports.gauge_plots import linearity_page, save_page

        save_page(linearity_page(result, references, values, title=file.name), plot)
        say(f"{plot}: drawn.")
    if as_json:
        from station.cli.gauge_facts import linearity_fact

        emit({"file": str(file), **linearity_fact(result)})
        return
    from station.cli.gauge_more_text import linearity_text

    click.echo(linearity_text(result, str(file)))


@gauge.command()
@STUDY_FILE
@header_options("occasion", "value")
@AS_JSON
def stability(file: Path, occasion_header: str, value_header: str, as_json: bool) -> None:
    """Stability: one part measured on many occasions; chart limits and drift.

    A row is one reading: occasion, value; occasions in order of time, equally many readings each.

    Example: coilgate gauge stability readings.csv
    """
    from station.quality.gauge_stability import stability_study
    from station.quality.study_file import stability_readings

    headers = {"occasion": occasion_header, "value": value_header}
    occasions, values = stability_readings(text_of(file), str(file), headers=headers)
    with study_of(file):
        result = stability_study(values)
    if as_json:
        from station.cli.gauge_facts import stability_fact

        emit({"file": str(file), **stability_fact(result, occasions)})
        return
    from station.cli.gauge_more_text import stability_text

    click.echo(stability_text(result, occasions, str(file)))


@gauge.command()
@STUDY_FILE
@header_options("part", "first", "second")
@click.option("--first-temperature-within", type=NOT_NEGATIVE, default=0.0, help="Known within +- kelvin.")
@click.option("--second-temperature-within", type=NOT_NEGATIVE, default=0.0, help="Known within +- kelvin.")
@click.option("--first-uncertainty", type=NOT_NEGATIVE, default=0.0, help="Standard, common to all.")
@click.option("--second-uncertainty", type=NOT_NEGATIVE, default=0.0, help="Standard, common to all.")
@LEVEL
@AS_JSON
@PLOT
def agreement(
    file: Path,
    part_header: str,
    first_header: str,
    second_header: str,
    first_temperature_within: float,
    second_temperature_within: float,
    first_uncertainty: float,
    second_uncertainty: float,
    level: float,
    as_json: bool,
    plot: Path | None,
) -> None:
    """Two benches, or the board maker's readings and ours, on the same units: bias and limits of agreement.

    A row is one unit: part, first, second. A copper resistance at a temperature known within +- 3 K is known within
    1.2 %: say so with --second-temperature-within 3.

    Example: coilgate gauge agreement both.csv --first-header bench-1 --second-header maker
    """
    from station.quality.agreement import Side
    from station.quality.agreement import agreement as agree
    from station.quality.study_file import agreement_readings

    check_plot(plot)
    headers = {"part": part_header, "first": first_header, "second": second_header}
    _, first, second = agreement_readings(text_of(file), str(file), headers=headers)
    sides = (
        Side(first_header, first_temperature_within, first_uncertainty),
        Side(second_header, second_temperature_within, second_uncertainty),
    )
    with study_of(file):
        result = agree(first.tolist(), second.tolist(), sides=sides, level=level)
    if plot is not None:
        from station.reports.gauge_plots import agreement_page, save_page

        save_page(agreement_page(result, first, second, title=file.name), plot)
        say(f"{plot}: drawn.")
    if as_json:
        from station.cli.gauge_facts import agreement_fact

        emit({"file": str(file), **agreement_fact(result)})
        return
    from station.cli.gauge_more_text import agreement_text

    click.echo(agreement_text(result, str(file)))


@gauge.command()
@STUDY_FILE
@header_options("part", "appraiser", "trial", "decision", "reference")
@AS_JSON
def attribute(
    file: Path,
    part_header: str,
    appraiser_header: str,
    trial_header: str,
    decision_header: str,
    reference_header: str,
    as_json: bool,
) -> None:
    """Attribute agreement: appraisers who say acceptable or not, against a reference; kappa, misses, false alarms.

    A row is one decision: part, appraiser, trial, decision, reference; decisions as 1 or 0, pass or fail.

    Example: coilgate gauge attribute decisions.csv
    """
    from station.quality.attribute import attribute_agreement
    from station.quality.study_file import attribute_decisions

    headers = {
        "part": part_header,
        "appraiser": appraiser_header,
        "trial": trial_header,
        "decision": decision_header,
        "reference": reference_header,
    }
    appraisers, decisions, references = attribute_decisions(text_of(file), str(file), headers=headers)
    with study_of(file):
        result = attribute_agreement(appraisers, decisions, references)
    if as_json:
        from station.cli.gauge_facts import attribute_fact

        emit({"file": str(file), **attribute_fact(result)})
        return
    from station.cli.gauge_more_text import attribute_text

    click.echo(attribute_text(result, str(file)))


@gauge.command()
@click.option("--tolerance-lower", type=NUMBER, help="Lower tolerance limit.")
@click.option("--tolerance-upper", type=NUMBER, help="Upper tolerance limit.")
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

    Example: coilgate gauge risk --tolerance-lower 6.8 --tolerance-upper 9.2 --uncertainty 0.05
    --process-mean 7.9 --process-deviation 0.5 --largest-consumers-risk 0.001
    """
    from station.cli.gauge_risk import assessment, process_of

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
