"""`coilgate lot`: show and export lots; `lot_quality` has what the process makes, `lot_life` their life."""

from pathlib import Path

import click

from station.cli.copper import lot_copper_command
from station.cli.explain import lot_explain
from station.cli.lot_agreement import lot_agreement
from station.cli.lot_import import import_readings
from station.cli.lot_life import COMMANDS as LIFE
from station.cli.lot_list import show_lots
from station.cli.lot_quality import COMMANDS
from station.cli.lot_sample import sample
from station.cli.output import emit
from station.cli.pull import pull
from station.cli.reports import lot_report


@click.group()
def lot() -> None:
    """Lots: how many units, how many pass, where they are; what the process makes; receive, hold, close, export."""


for _command in (*COMMANDS, *LIFE, import_readings, lot_agreement, sample):
    lot.add_command(_command)
lot.add_command(lot_copper_command)
lot.add_command(pull)
lot.add_command(lot_explain)
lot.add_command(lot_report)


@lot.command()
@click.argument("name", metavar="[LOT]", required=False)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output; a list: one a line.")
@click.pass_context
def show(ctx: click.Context, name: str | None, as_json: bool) -> None:
    """Show a lot's counts, yield, bins, reasons of failure, how R20 spreads; its state, and whether it adds up.

    Without a lot: which are on record.

    \b
    Example: coilgate lot show
             coilgate lot show L2641
    """
    from station.app.facts import lot_fact
    from station.app.lot_life import lot_now
    from station.app.lot_samples import lot_reasons
    from station.cli.lot_life_text import life_fact, life_text
    from station.cli.opening import open_station

    with open_station(ctx) as station:
        if name is None:
            show_lots(station.records, as_json=as_json)
            return
        now = lot_now(station.records, name)
        measured = name in station.records.lots()
        summary = station.records.lot_summary(name) if measured else None
        reasons = lot_reasons(station.records, name) if measured else ()
        values = station.records.lot_values(name, "R20") if measured and not as_json else None
    if as_json:
        from station.cli.lot_facts import reasons_fact, yield_fact

        counts = {} if summary is None else lot_fact(summary) | yield_fact(summary) | reasons_fact(reasons)
        emit({"lot": name} | counts | {"life": life_fact(now)})
        return
    from station.cli.lot_text import lot_text

    if summary is None:
        click.echo(f"Lot {name}: nothing was measured yet.\n{life_text(now)}")
        return
    click.echo(f"{lot_text(summary, values, reasons=reasons)}\n\n{life_text(now)}")


@lot.command()
@click.argument("name", metavar="LOT")
@click.option("--to", "target", type=click.Path(path_type=Path), required=True, help="File: .csv or .parquet")
@click.option("--every-run", is_flag=True, help="A row a closed run: repeats, engineering and imported ones too.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.pass_context
def export(ctx: click.Context, name: str, target: Path, every_run: bool, as_json: bool) -> None:
    """Export a lot as CSV or Parquet (by the file's ending), a row a unit by its latest production run.

    Example: coilgate lot export L2641 --to L2641.csv
    """
    from station.cli.opening import open_station
    from station.errors import RecordError

    if target.suffix not in (".csv", ".parquet"):
        raise RecordError(f"{target}: an export ends in .csv or .parquet.")
    with open_station(ctx) as station:
        rows = station.export_lot(name, target, every_run=every_run)
    if as_json:
        emit({"lot": name, "file": str(target), "rows": rows})
        return
    click.echo(f"{target}: {rows} rows.")


