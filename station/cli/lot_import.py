"""`coilgate lot import`: an old spreadsheet's or the board maker's readings, never a decision."""

import csv
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.lot_options import AS_JSON
from station.cli.opening import open_station
from station.cli.output import emit, say, table
from station.core.quantity import Dimension, QuantityError, format_quantity, parse_quantity

if TYPE_CHECKING:
    from station.app.lot_import import ReadFile
    from station.quality.readings_file import Span

_SHOWN = 5


@click.command("import", short_help="Bring somebody else's readings in.")
@click.argument("file", metavar="FILE.csv", type=click.Path(path_type=Path, allow_dash=True))
@click.option("--lot", "lot_name", required=True, help="Whose readings these are.")
@click.option(
    "--map",
    "maps",
    multiple=True,
    required=True,
    help="HEADER=FIELD, with the unit behind it unless the header has it: 'SN=serial', 'R_ohm=R20', 'L=L uH'. Fields: "
    "serial, panel, row, column, measured, temperature, R (becomes R20), R20, L, any characteristic, U95(L).",
)
@click.option("--source", required=True, help="Who measured: 'board maker, outgoing inspection'.")
@click.option("--part", default="", help="Of what part: its released plan says what a serial is.")
@click.option("--no-plan", is_flag=True, help="Of no plan: any serial is taken, and there are no limits.")
@click.option("--temperature", help="Where no column has it: '23 degC', or the span it lay in: '15 degC to 30 degC'.")
@click.option("--temperature-within", default="1 K", show_default=True, help="Half-width of a known temperature.")
@click.option("--uncertainty", "doubts", multiple=True, help="95 %, as the source states it: 'R20=0.5 %', 'L=1 %'.")
@click.option("--simulated", is_flag=True, help="The readings are invented or simulated.")
@click.option("--skip-bad", "skipped", type=click.Path(path_type=Path), help="Leave bad lines out; a .csv lists them.")
@click.option("--again", is_flag=True, help="Import a file once more (the map was wrong); the newest import counts.")
@click.option("--dry-run", is_flag=True, help="Only show what would be imported.")
@click.option("--who", required=True, help="Badge code.")
@click.option("--why", default="", help="In words.")
@AS_JSON
@click.pass_context
def import_readings(
    ctx: click.Context,
    file: Path,
    lot_name: str,
    maps: tuple[str, ...],
    source: str,
    part: str,
    no_plan: bool,
    temperature: str | None,
    temperature_within: str,
    doubts: tuple[str, ...],
    simulated: bool,
    skipped: Path | None,
    again: bool,
    dry_run: bool,
    who: str,
    why: str,
    as_json: bool,
) -> None:
    """Bring readings of a lot in that were not taken here: purpose imported, never a pass.

    Comma, semicolon or tab; decimal comma in a file with semicolons. All mistakes are told at once, each with its line,
    and nothing is imported then; --skip-bad leaves those lines out. The very same file is refused a second time.
    Statistics use the readings with --population imported, and `lot explain` where nothing was measured here.

    \b
    Example: coilgate lot import old.csv --lot L2601 --map SN=serial --map R_ohm=R --map T_degC=temperature \\
                 --map "L [uH]=L" --source "old bench, spreadsheet" --who EN-02
    """
    from importlib.metadata import version

    from station.app.lot_import import ImportRequest, import_file, plan_of_serials, read_file
    from station.app.plans import plans_in_use

    if skipped is not None and skipped.suffix.lower() != ".csv":
        raise click.UsageError(f"--skip-bad {skipped}: the list of what is left out ends in .csv.")
    asked = ImportRequest(
        lot=lot_name,
        source=source,
        who=who,
        maps=maps,
        why=why,
        span=_span(temperature),
        within_k=_quantity("--temperature-within", temperature_within, Dimension.TEMPERATURE_DIFFERENCE),
        relative_u95=_doubts(doubts),
        simulated=simulated,
        again=again,
    )
    data = sys.stdin.buffer.read() if str(file) == "-" else file.read_bytes()
    with open_station(ctx) as station:
        plans = [] if no_plan else [each.plan for each in plans_in_use(station.records, None)]
        plan = plan_of_serials(plans, part)
        read = read_file(station.records, data, file.name, asked, plan=plan, skip_bad=skipped is not None)
        if skipped is not None and read.mistakes:
            _write_skipped(skipped, read)
        units = 0
        if not dry_run:
            utc = station.clock.utc_now()
            total = len(read.rows)
            units = import_file(
                station.records,
                read,
                asked,
                utc=utc,
                software_version=version("coilgate"),
                told=lambda count: say(f"{count} of {total} units") if count % 10_000 == 0 else None,
            )
    fact = _fact(read, lot_name, source, units)
    if as_json:
        emit(fact)
        return
    click.echo(_text(read, lot_name, dry_run, skipped))


def _text(read: "ReadFile", lot: str, dry_run: bool, skipped: Path | None) -> str:
    said = "would be imported; nothing is on record" if dry_run else "imported"
    lines = [f"Lot {lot}: {len(read.rows)} units {said}."]
    lines += [f"{count} with {name}" for name, count in read.values.items()]
    if read.encoding == "cp1252":
        lines.append("The file is no UTF-8 and was read as Windows-1252.")
    if read.plan is None:
        lines.append("Of no plan: serials were not checked, and there are no limits.")
    bad = len({each.line for each in read.mistakes})
    if bad:
        lines.append(f"{bad} lines were left out: {skipped}")
    names = list(read.values)
    rows = []
    for row in read.rows[:_SHOWN]:
        found = {each.characteristic: format_quantity(each.value, each.unit_symbol) for each in row.values}
        rows.append((str(row.line), row.serial, *(found.get(name, "-") for name in names)))
    lines += ["", table(("line", "serial", *names), rows)]
    if len(read.rows) > _SHOWN:
        lines.append(f"and {len(read.rows) - _SHOWN} more")
    if not dry_run:
        lines += ["", f"Now: coilgate lot capability {lot} --population imported"]
    return "\n".join(lines)


def _fact(read: "ReadFile", lot: str, source: str, units: int) -> dict[str, object]:
    return {
        "lot": lot,
        "file": read.file,
        "sha256": read.digest,
        "source": source,
        "encoding": read.encoding,
        "part": None if read.plan is None else read.plan.part,
        "readable": len(read.rows),
        "imported": units,
        "values": read.values,
        "left_out": [{"line": each.line, "field": each.key, "why": each.message} for each in read.mistakes],
        "population": f"rows of {read.file}, each a unit",
    }


def _write_skipped(target: Path, read: "ReadFile") -> None:
    from station.records.export import spreadsheet_text

    with target.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(("line", "field", "why"))
        for each in read.mistakes:
            writer.writerow((each.line, spreadsheet_text(each.key), spreadsheet_text(each.message)))
    say(f"{target}: {len(read.mistakes)} mistakes.")


def _span(text: str | None) -> "Span | None":
    from station.quality.readings_file import Span

    if text is None:
        return None
    low, to, high = text.partition(" to ")
    span = Span(
        _quantity("--temperature", low, Dimension.TEMPERATURE),
        _quantity("--temperature", high if to else low, Dimension.TEMPERATURE),
    )
    if span.high_degc < span.low_degc:
        raise click.UsageError(f"--temperature: from low to high; got {text!r}.")
    return span


def _doubts(texts: tuple[str, ...]) -> dict[str, float]:
    found = {}
    for text in texts:
        name, _, share = text.partition("=")
        found[name.strip()] = _quantity(f"--uncertainty {text}", share, Dimension.FRACTION)
    return found


def _quantity(option: str, text: str, dimension: Dimension) -> float:
    try:
        return parse_quantity(text, dimension)
    except QuantityError as error:
        raise click.UsageError(f"{option}: {error}.") from error
