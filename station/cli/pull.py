"""`coilgate lot pull`: which units to look at under the microscope, by X-ray or in a section."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.output import emit, say, table
from station.errors import StationError

if TYPE_CHECKING:
    from station.core.pull_list import PullList


@click.command(short_help="Pull list: units for microscope, X-ray, section.")
@click.argument("name", metavar="LOT")
@click.option("--each", type=click.IntRange(1, 50), default=3, show_default=True, help="Units of each kind, at most.")
@click.option(
    "--to",
    "target",
    type=click.Path(dir_okay=False, path_type=Path),
    help="File: .pdf or .html to print, .csv to fill in and give to `lot copper --widths`.",
)
@click.option("--record", is_flag=True, help="Put the list on record.")
@click.option("--who", help="Badge code, with --record.")
@click.option("--why", help="In words, with --record.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.pass_context
def pull(
    ctx: click.Context,
    name: str,
    each: int,
    target: Path | None,
    record: bool,
    who: str | None,
    why: str | None,
    as_json: bool,
) -> None:
    """Say which units of a lot to look at, why, by what means, and where on the coil.

    Likely damage, extremes of R20, odd ones by a robust rule, units whose cause is in doubt, typical ones, panel
    corners. A micro-section destroys the unit.

    \b
    Example: coilgate lot pull L2641 --to L2641-pull.pdf
             coilgate lot pull L2641 --to L2641-widths.csv --record --who EN-02 --why "R20 is high"
    """
    from station.app.pull_list import pull_list, record_pull_list
    from station.cli.opening import open_station

    if record and not (who and why):
        raise click.UsageError("--record needs --who and --why.")
    if target is not None and target.suffix.lower() not in (".pdf", ".html", ".csv"):
        raise StationError(f"{target}: a pull list ends in .pdf, .html or .csv.")
    with open_station(ctx) as station:
        found = pull_list(station.records, name, each=each)
        if record:
            record_pull_list(station.records, found, who=who or "", why=why or "", utc=station.clock.utc_now())
    if target is not None:
        _write(found, target)
    if as_json:
        from station.app.pull_files import pull_fact

        emit(pull_fact(found, recorded=record))
        return
    click.echo("\n".join(_lines(found, record)))


def _write(found: "PullList", target: Path) -> None:
    if target.suffix.lower() == ".csv":
        from station.app.pull_files import pull_csv

        try:
            target.write_text(pull_csv(found), encoding="utf-8")
        except OSError as error:
            raise StationError(f"{target}: can't be written: {error.strerror or error}.") from error
    else:
        from station.app.report_files import write_document
        from station.reports.pull_sheet import pull_document

        write_document(pull_document(found), target)
    say(f"{target}: written.")


def _lines(found: "PullList", recorded: bool) -> Iterator[str]:
    from station.core.quantity import format_quantity

    yield f"Lot {found.lot}: {len(found.pulls)} units to look at, of {found.measured} measured ones."
    rows = [
        (each.serial, format_quantity(each.r20_ohm, "ohm"), ", ".join(each.means), "; ".join(each.why))
        for each in found.pulls
    ]
    yield table(("unit", "R20", "by", "why"), rows)
    places = {each.places for each in found.pulls if each.places}
    for some in places:
        layers = sorted({layer for layer, _ in some})
        turns = sorted({turn for _, turn in some})
        yield (
            f"widths at turns {', '.join(f'{turn:g}' for turn in turns)} (1 is the innermost) of layers "
            f"{', '.join(map(str, layers))} (1 is on top), with the pitch once."
        )
    yield from (f"{each.serial}: {'; '.join(each.look)}" for each in found.pulls if each.look)
    yield "On record." if recorded else "Not on record: --record."
