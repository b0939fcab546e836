"""`coilgate lot report`: what goes on paper."""

from pathlib import Path

import click

from station.cli.output import emit

TO = click.option(
    "--to",
    "target",
    type=click.Path(dir_okay=False, path_type=Path),
    required=True,
    help="File: .pdf (PDF/A, PDF/UA) or .html",
)
AS_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")


@click.command("report")
@click.argument("name", metavar="LOT")
@TO
@AS_JSON
@click.pass_context
def lot_report(ctx: click.Context, name: str, target: Path, as_json: bool) -> None:
    """Write a lot's report: counts, yield, characteristics against limits, panel, causes, digest of the records.

    The same records give the same bytes.

    Example: coilgate lot report L2641 --to L2641.pdf
    """
    from station.app.lot_report import lot_report as report_of
    from station.app.report_files import check_ending, write_document
    from station.cli.opening import open_station

    check_ending(target)
    with open_station(ctx) as station:
        document = report_of(station.records, name)
    write_document(document, target)
    if as_json:
        emit({"lot": name, "file": str(target), "simulated": document.simulated})
        return
    click.echo(f"{target}: report of lot {name}.")
