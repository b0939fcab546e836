"""`coilgate gauge agreement` and `attribute`: do two sides, or several appraisers, say the same?"""

from pathlib import Path

import click

from station.cli.gauge_files import (
    AS_JSON,
    LEVEL,
    NOT_NEGATIVE,
    PLOT,
    STUDY_FILE,
    check_plot,
    header_options,
    study_of,
    text_of,
)
from station.cli.output import emit, say


@click.command(short_help="Two sides on the same units: bias, limits.")
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


@click.command(short_help="Acceptable or not: kappa, misses.")
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
