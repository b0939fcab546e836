"""`coilgate datasheet`: what can be promised of a part, its revisions, and the limits that keep the promise."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.gauge_files import FiniteFloat
from station.cli.output import emit, say, table

if TYPE_CHECKING:
    from station.reports.datasheet import Datasheet

_COVERAGE = click.option(
    "--coverage",
    type=FiniteFloat(0.5, 0.9999),
    default=0.99,
    show_default=True,
    help="Share of the units that lies between minimum and maximum.",
)
_CONFIDENCE = click.option(
    "--confidence", type=FiniteFloat(0.5, 0.9999), default=0.95, show_default=True, help="That it does lie there."
)
_AS_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")


@click.group()
def datasheet() -> None:
    """Datasheets: what can be promised of a part, from what was measured."""


@datasheet.command()
@click.argument("name", metavar="PART|LOT")
@click.option("--to", "target", type=click.Path(dir_okay=False, path_type=Path), help="File: .pdf or .html")
@_COVERAGE
@_CONFIDENCE
@click.option("--rise", "rises", multiple=True, help="Largest drive for this rise, such as '30 K'; may be given again.")
@click.option("--record", is_flag=True, help="Put it on record as the next revision.")
@click.option("--who", default="", help="Badge code of the engineer who signs, with --record.")
@click.option("--secret", default="", help="Of the badge, if it has one; asked for if left out.")
@click.option("--why", default="", help="In words, with --record.")
@_AS_JSON
@click.pass_context
def make(
    ctx: click.Context,
    name: str,
    target: Path | None,
    coverage: float,
    confidence: float,
    rises: tuple[str, ...],
    record: bool,
    who: str,
    secret: str,
    why: str,
    as_json: bool,
) -> None:
    """Make the datasheet of a part over its lots, or of one lot: minimum, typical, maximum.

    By statistical tolerance intervals of the units that pass. With fewer than five lots it is provisional. With
    --record it becomes a revision; the next one says which figures changed, and whether by more than chance.

    \b
    Example: coilgate datasheet make IS-20 --to IS-20.pdf
             coilgate datasheet make IS-20 --to IS-20.pdf --record --who EN-02 --why "five lots"
    """
    from dataclasses import replace

    from station.app.datasheet import datasheet as sheet_of
    from station.app.datasheet import datasheet_fact
    from station.app.datasheet_revisions import record_revision
    from station.app.report_files import check_ending, write_document
    from station.cli.concession import signed
    from station.cli.opening import open_station
    from station.reports.datasheet import datasheet_document

    if record and not (who and why):
        raise click.UsageError("--record needs --who and --why.")
    if target is not None:
        check_ending(target)
    rises_k = tuple(_rise(each) for each in rises)
    with open_station(ctx) as station:
        sheet = sheet_of(station.records, name, coverage=coverage, confidence=confidence, rises_k=rises_k)
        if record:
            now = station.clock.utc_now()
            signer = signed(station, who, secret)
            sheet = replace(sheet, revisions=record_revision(station.records, sheet, who=signer, why=why, utc=now))
    if target is not None:
        write_document(datasheet_document(sheet), target)
    if as_json:
        emit(datasheet_fact(sheet) | {"file": None if target is None else str(target)})
        return
    click.echo(_text(sheet))
    if target is not None:
        click.echo(f"{target}: written.")


@datasheet.command()
@click.argument("name", metavar="PART|LOT")
@_COVERAGE
@_CONFIDENCE
@click.option("--to", "target", type=click.Path(dir_okay=False, path_type=Path), help="File for the plan text: .toml")
@_AS_JSON
@click.pass_context
def limits(
    ctx: click.Context, name: str, coverage: float, confidence: float, target: Path | None, as_json: bool
) -> None:
    """Propose the limits that keep a datasheet's promise, as text for a control plan. Nothing is released.

    Tolerance limits are what is promised; the guard band of the bench's uncertainty is taken off them.

    Example: coilgate datasheet limits IS-20 --to limits.toml
    """
    from station.app.datasheet import datasheet as sheet_of
    from station.app.datasheet_limits import limits_fact, limits_text
    from station.app.report_files import write_bytes
    from station.cli.opening import open_station
    from station.errors import StationError

    if target is not None and target.suffix.lower() != ".toml":
        raise StationError(f"{target}: plan text ends in .toml.")
    with open_station(ctx) as station:
        sheet = sheet_of(station.records, name, coverage=coverage, confidence=confidence)
    text = limits_text(sheet, sheet.limits)
    if target is not None:
        write_bytes(text.encode(), target)
    if as_json:
        fact = {"part": sheet.part, "lots": list(sheet.lots), "simulated": sheet.simulated, "released": False}
        emit(fact | {"limits": limits_fact(sheet.limits), "text": text, "file": str(target) if target else None})
        return
    click.echo(text, nl=False)
    for each in sheet.limits:
        if each.outside:
            say(f"{each.name}: {each.outside} of {each.units} units that pass today would not.")
    if target is not None:
        say(f"{target}: written.")


def _rise(text: str) -> float:
    from station.core.quantity import QuantityError, parse_quantity
    from station.errors import StationError

    try:
        found = parse_quantity(text, "K")
    except QuantityError as error:
        raise StationError(f"--rise: {error}") from error
    if found <= 0.0:
        raise StationError(f"--rise: must be above 0; got {text!r}.")
    return found


def _text(sheet: "Datasheet") -> str:
    from station.reports.pictures import printed

    marks = " (provisional)" * sheet.provisional + " (simulated)" * sheet.simulated
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
    lines = [
        f"Datasheet {sheet.part}{marks}, {sheet.revisions.words.lower()}, from {sheet.of}:",
        table(("", "minimum", "typical", "maximum", "units"), rows),
    ]
    if sheet.heating is not None and sheet.heating.coils:
        heads = [f"{each:g} K at" for each in sheet.heating.rises_k]
        unit = sheet.heating.drive_unit
        drives = [
            (each.name, *(printed(drive, unit, digits=3) for drive in each.largest)) for each in sheet.heating.coils
        ]
        mounted = f"mounted on: {sheet.heating.mounting}, ambient {sheet.heating.ambient_degc:g} °C"
        lines += ["", f"Largest drive for a rise, {mounted}:", table(("coil", *heads), drives)]
    lines += _changes(sheet)
    return "\n".join([*lines, f"Population: {sheet.population}."])


def _changes(sheet: "Datasheet") -> list[str]:
    from station.reports.datasheet_changes import interval_words
    from station.reports.pictures import printed

    before = sheet.revisions.before
    if before is None:
        return []
    if not sheet.revisions.changes:
        return [f"No figure has changed since revision {before.number}."]
    rows = [
        (
            each.name,
            each.figure,
            printed(each.before, each.unit_symbol),
            printed(each.after, each.unit_symbol),
            interval_words(each.interval, each.unit_symbol),
            each.words,
        )
        for each in sheet.revisions.changes
    ]
    return ["", table(("changed", "figure", f"revision {before.number}", "now", "of the process (95 %)", ""), rows), ""]
