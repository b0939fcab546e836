"""`coilgate lot report` and `coilgate unit certificate`: what goes on paper."""

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
@click.option("--supplier", is_flag=True, help="For the board maker: what is the boards', what may be the bench's.")
@AS_JSON
@click.pass_context
def lot_report(ctx: click.Context, name: str, target: Path, supplier: bool, as_json: bool) -> None:
    """Write a lot's report: counts, yield, characteristics against limits, panel, causes, digest of the records.

    The same records give the same bytes.

    \b
    Example: coilgate lot report L2641 --to L2641.pdf
             coilgate lot report L2641 --supplier --to L2641-boards.html
    """
    from station.app.lot_report import lot_report as report_of
    from station.app.lot_report import supplier_report
    from station.app.report_files import check_ending, write_document
    from station.cli.opening import open_station

    check_ending(target)
    with open_station(ctx) as station:
        document = (supplier_report if supplier else report_of)(station.records, name)
    write_document(document, target)
    if as_json:
        emit({"lot": name, "file": str(target), "simulated": document.simulated})
        return
    click.echo(f"{target}: report of lot {name}.")


@click.command("certificate")
@click.argument("serial")
@TO
@AS_JSON
@click.pass_context
def unit_certificate(ctx: click.Context, serial: str, target: Path, as_json: bool) -> None:
    """Write a unit's certificate: results with uncertainty and limits, decision, instruments, digest of the records.

    By the latest production run. Of a unit that does not pass, or is held, it is a report that says so in its title.

    Example: coilgate unit certificate L2641-01-A01 --to L2641-01-A01.pdf
    """
    from station.app.certificate import unit_findings
    from station.app.report_files import check_ending, write_document
    from station.cli.opening import open_station
    from station.reports.certificate import unit_document

    check_ending(target)
    with open_station(ctx) as station:
        found = unit_findings(station.records, serial)
    document = unit_document(found)
    write_document(document, target)
    if as_json:
        fact = {"serial": serial, "decision": found.decision.value, "held": found.held, "certificate": found.passes}
        fact |= {"run": found.record.opened.run_id, "file": str(target), "simulated": document.simulated}
        emit(fact | {"concession": found.concession.number if found.concession else None})
        return
    click.echo(f"{target}: {document.title}.")
