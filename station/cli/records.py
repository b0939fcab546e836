"""`coilgate records`: check the digest chains, back up, restore."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.main import EXIT_COULD_NOT, EXIT_FAIL, home_of, records_url_of
from station.cli.output import emit, say

if TYPE_CHECKING:
    from station.app.facts import Fact
    from station.records import ChainReport, Head
    from station.records.backup import Backup

_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")


@click.group()
def records() -> None:
    """Records: is everything as it was recorded? Back up, restore."""


@records.command()
@click.option(
    "--head", "heads", multiple=True, metavar="HEAD", help="A head printed earlier, BENCH:NUMBER:DIGEST. Repeatable."
)
@_JSON
@click.pass_context
def check(ctx: click.Context, heads: tuple[str, ...], as_json: bool) -> None:
    """Walk all digest chains; name what was changed, removed, inserted, reordered or cut off.

    A tail that was cut off with all that belongs to it shows only against a head that was printed earlier.
    Exit 1 if anything is not as it was recorded.

    Example: coilgate records check --head bench-1:412:9f2c...
    """
    from station.cli.opening import open_station

    known = tuple(map(_head, heads))
    if records_url_of(ctx) is None:
        _require_home(home_of(ctx))
    with open_station(ctx) as station:
        report = station.records.check(heads=known)
        where = station.records.where
    if as_json:
        emit({"records": where, **_report_fact(report)})
    else:
        _show(report, where)
    ctx.exit(0 if report.sound else EXIT_FAIL)


@records.command()
@_JSON
def columns(as_json: bool) -> None:
    """Say what each column of `coilgate lot export` holds, CSV and Parquet alike.

    Numbers are SI, unscaled. In a CSV a flag is true or false, an empty cell is nothing, and a text that a
    spreadsheet would take for a formula has an apostrophe in front.

    Example: coilgate records columns
    """
    from station.cli.output import table
    from station.records.export_columns import FIXED, characteristic_columns

    every = (*FIXED, *characteristic_columns("R20", "ohm"))
    if as_json:
        emit({"columns": [{"name": each.name, "kind": each.kind, "words": each.words} for each in every]})
        return
    click.echo(table(("column", "kind", "what it holds"), [(each.name, each.kind, each.words) for each in every]))
    click.echo("and for each other characteristic, in order of name, three columns as those of R20.")


@records.command()
@click.option("--to", "folder", type=click.Path(path_type=Path), required=True, help="New folder of the backup.")
@_JSON
@click.pass_context
def backup(ctx: click.Context, folder: Path, as_json: bool) -> None:
    """Copy the records and their key to a new folder, while the station goes on working; check the copy.

    CAUTION: the folder has the key. Whoever has both can forge records: keep it as private as the home.

    Example: coilgate records backup --to /media/backup/2027-03-31
    """
    from datetime import UTC, datetime

    from station.records.backup import back_up

    home = home_of(ctx)
    _require_home(home)
    made = back_up(home, folder, utc=datetime.now(UTC), url=records_url_of(ctx))
    _tell(made, as_json)
    ctx.exit(0 if made.report.sound else EXIT_FAIL)


@records.command()
@click.argument("folder", type=click.Path(path_type=Path))
@_JSON
@click.pass_context
def restore(ctx: click.Context, folder: Path, as_json: bool) -> None:
    """Put a backup into a home that has no records; its chains are checked first, nothing is overwritten.

    Example: coilgate --home NEW records restore /media/backup/2027-03-31
    """
    from station.records.backup import restore as put_back

    if records_url_of(ctx) is not None:
        say("coilgate: a backup is restored to a home folder, not to a URL. Leave out --records.")
        ctx.exit(EXIT_COULD_NOT)
    _tell(put_back(home_of(ctx), folder), as_json)


def _require_home(home: Path) -> None:
    from station.errors import RecordError

    if not home.is_dir():
        raise RecordError(f"{home}: there is no home with records here. Give the one that is meant: --home")


def _head(text: str) -> "Head":
    from station.records import Head

    try:
        return Head.parse(text)
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint="--head") from error


def _tell(made: "Backup", as_json: bool) -> None:
    if as_json:
        facts = {"folder": str(made.folder), "made_utc": made.made_utc.isoformat(), "sha256": made.sha256}
        emit({**facts, **_report_fact(made.report)})
        return
    click.echo(f"Backup {made.folder}, made {made.made_utc:%Y-%m-%d %H:%M} UTC.")
    _show(made.report, str(made.folder))


def _show(report: "ChainReport", where: str) -> None:
    for fault in report.faults:
        click.echo(f"{fault.what}: {fault.words}")
    count = len(report.faults)
    told = f"{count} not as recorded" if count else "all as they were recorded"
    click.echo(f"{where}: {report.entries} entries, {told}.")
    for head in report.heads:
        click.echo(f"head {head}")


def _report_fact(report: "ChainReport") -> "Fact":
    return {
        "sound": report.sound,
        "entries": report.entries,
        "heads": list(map(str, report.heads)),
        "faults": [
            {"what": each.what, "kind": each.kind, "bench": each.bench, "subject": each.subject, "words": each.words}
            for each in report.faults
        ],
    }
