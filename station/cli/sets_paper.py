"""`coilgate sets pick`, `labels`, `dissolve`: what people do with recorded sets."""

from pathlib import Path

import click

from station.cli.output import emit, table

_AS_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
_LINES_SHOWN = 40


@click.command()
@click.argument("lot", metavar="LOT")
@click.option(
    "--to", "target", type=click.Path(dir_okay=False, path_type=Path), help="File: .csv, or .pdf or .html to print"
)
@_AS_JSON
@click.pass_context
def pick(ctx: click.Context, lot: str, target: Path | None, as_json: bool) -> None:
    """List the units of a lot's recorded sets in the order of trays and pockets, as one walks along them.

    Example: coilgate sets pick L2641 --to pick.pdf
    """
    from station.app.lot_samples import lot_standing
    from station.app.matching import recorded_sets
    from station.app.pick_list import pick_document, recorded_picks, trouble_words, write_pick_list
    from station.app.report_files import check_ending, write_document
    from station.cli.opening import open_station
    from station.errors import RecordError

    if target is not None and target.suffix.lower() != ".csv":
        check_ending(target)
    with open_station(ctx) as station:
        standing = lot_standing(station.records, lot)
        sets = recorded_sets(station.records, lot=lot)
        picks = recorded_picks(station.records, sets)
    if not sets:
        raise RecordError(f"lot {lot}: no set is on record. Record some: coilgate sets make {lot} --record --who --why")
    if target is not None and target.suffix.lower() == ".csv":
        write_pick_list(target, picks, ())
    elif target is not None:
        newest = max(each.utc for each in sets)
        write_document(pick_document(picks, lot, date_utc=newest, simulated=standing.simulated), target)
    if as_json:
        lines = [
            {
                "tray": each.tray or None,
                "pocket": each.pocket or None,
                "serial": each.serial,
                "set": each.set_name,
                "place": each.place,
                "trouble": each.trouble or None,
            }
            for each in picks
        ]
        emit({"lot": lot, "simulated": standing.simulated, "picks": lines, "file": str(target) if target else None})
        return
    rows = [
        (each.tray or "-", str(each.pocket or "-"), each.serial, each.set_name, str(each.place), each.trouble)
        for each in picks[:_LINES_SHOWN]
    ]
    click.echo(f"Lot {lot}{' (simulated)' if standing.simulated else ''}: {len(picks)} units into {len(sets)} sets.")
    if said := trouble_words(picks):
        click.echo(said)
    click.echo(table(("tray", "pocket", "unit", "set", "place", ""), rows))
    if len(picks) > _LINES_SHOWN:
        click.echo(f"and {len(picks) - _LINES_SHOWN} more; --to FILE.csv, .pdf or .html, or --json has all")
    if target is not None:
        click.echo(f"{target}: written.")


@click.command()
@click.argument("lot", metavar="LOT")
@click.option("--to", "target", type=click.Path(dir_okay=False, path_type=Path), required=True, help="File: .pdf")
@click.option("--set", "names", multiple=True, help="Only this set; may be given again.")
@click.option("--bags", is_flag=True, help="A label for each unit's bag instead: its code is the serial.")
@_AS_JSON
@click.pass_context
def labels(
    ctx: click.Context, lot: str, target: Path, names: tuple[str, ...], bags: bool, as_json: bool
) -> None:
    """Write labels of a lot's recorded sets, or of their units' bags, as sheets to print at 100 %.

    A set's code says set, lot, part, units and the range of what they agree in; `sets assemble` takes its scan.

    \b
    Example: coilgate sets labels L2641 --to labels.pdf
             coilgate sets labels L2641 --bags --to bags.pdf
    """
    from station.app.report_files import write_bytes
    from station.app.set_labels import set_labels
    from station.cli.opening import open_station
    from station.errors import StationError

    if target.suffix.lower() != ".pdf":
        raise StationError(f"{target}: sheets of labels end in .pdf.")
    with open_station(ctx) as station:
        sheets, count = set_labels(station.records, lot, names=names, bags=bags)
    write_bytes(sheets, target)
    if as_json:
        emit({"lot": lot, "labels": count, "file": str(target)})
        return
    click.echo(f"{target}: {count} labels, 21 a sheet. Print at 100 %.")


@click.command()
@click.argument("names", metavar="SET...", nargs=-1, required=True)
@click.option("--who", required=True, help="Badge code.")
@click.option("--why", required=True, help="In words, for the record.")
@_AS_JSON
@click.pass_context
def dissolve(ctx: click.Context, names: tuple[str, ...], who: str, why: str, as_json: bool) -> None:
    """Take recorded sets apart, such as one that lost a unit: the good units are free for others. No name comes again.

    Example: coilgate sets dissolve L2641-S0007 --who EN-02 --why "one unit was dropped"
    """
    from station.app.matching import dissolve_sets
    from station.cli.opening import open_station

    with open_station(ctx) as station:
        freed = dissolve_sets(station.records, names, who=who, why=why, utc=station.clock.utc_now())
    if as_json:
        emit({"dissolved": list(names), "units": list(freed)})
        return
    click.echo(f"Dissolved: {', '.join(names)}. No longer in a set: {'  '.join(freed)}")
