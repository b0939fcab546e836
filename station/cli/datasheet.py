"""`coilgate datasheet`: what can be promised of a part."""

from pathlib import Path

import click

from station.cli.gauge_files import FiniteFloat
from station.cli.output import emit, table


@click.group()
def datasheet() -> None:
    """Datasheets: what can be promised of a part, from what was measured."""


@datasheet.command()
@click.argument("name", metavar="PART|LOT")
@click.option("--to", "target", type=click.Path(dir_okay=False, path_type=Path), help="File: .pdf or .html")
@click.option(
    "--coverage",
    type=FiniteFloat(0.5, 0.9999),
    default=0.99,
    show_default=True,
    help="Share of the units that lies between minimum and maximum.",
)
@click.option(
    "--confidence", type=FiniteFloat(0.5, 0.9999), default=0.95, show_default=True, help="That it does lie there."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.pass_context
def make(
    ctx: click.Context, name: str, target: Path | None, coverage: float, confidence: float, as_json: bool
) -> None:
    """Make the datasheet of a part over its lots, or of one lot: minimum, typical, maximum.

    By statistical tolerance intervals of the units that pass. With fewer than five lots it is provisional.

    Example: coilgate datasheet make IS-20 --to IS-20.pdf
    """
    from station.app.datasheet import datasheet as sheet_of
    from station.app.datasheet import datasheet_fact
    from station.app.report_files import check_ending, write_document
    from station.cli.opening import open_station
    from station.reports.datasheet import datasheet_document
    from station.reports.pictures import printed

    if target is not None:
        check_ending(target)
    with open_station(ctx) as station:
        sheet = sheet_of(station.records, name, coverage=coverage, confidence=confidence)
    if target is not None:
        write_document(datasheet_document(sheet), target)
    if as_json:
        emit(datasheet_fact(sheet) | {"file": None if target is None else str(target)})
        return
    marks = " (provisional)" * sheet.provisional + " (simulated)" * sheet.simulated
    click.echo(f"Datasheet {sheet.part}{marks}, from {sheet.of}:")
    rows = [
        (
            line.name,
            printed(line.stated.minimum, line.unit_symbol),
            printed(line.stated.typical, line.unit_symbol),
            printed(line.stated.maximum, line.unit_symbol),
            str(line.stated.units),
        )
        for line in sheet.lines
    ]
    click.echo(table(("", "minimum", "typical", "maximum", "units"), rows))
    click.echo(f"Population: {sheet.population}.")
    if target is not None:
        click.echo(f"{target}: written.")
