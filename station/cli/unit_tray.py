"""`coilgate unit place`, `take-out`, `tray`: in which pocket of which tray a unit lies."""

import click

from station.cli.output import emit, table

_WHO = click.option("--who", required=True, help="Badge code.")
_AS_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")


@click.command("place")
@click.argument("serial")
@click.option("--tray", required=True, help="As its label reads: T7.")
@click.option("--pocket", type=click.IntRange(min=1), help="From 1; default: behind the last that is taken.")
@_WHO
@click.option("--why", default="placed by hand", show_default=True, help="In words, for the record.")
@_AS_JSON
@click.pass_context
def unit_place(
    ctx: click.Context, serial: str, tray: str, pocket: int | None, who: str, why: str, as_json: bool
) -> None:
    """Put on record in which pocket a unit lies, or correct it. Units that pass and others never share a tray.

    Example: coilgate unit place L2641-01-A01 --tray T7 --pocket 12 --who OP-07
    """
    from station.app.sorting import place_by_hand
    from station.cli.opening import open_station

    with open_station(ctx) as station:
        found = place_by_hand(
            station.records, serial, tray, pocket, who=who, why=why, utc=station.clock.utc_now()
        )
    if as_json:
        emit({"serial": serial, "tray": found.tray, "pocket": found.pocket})
        return
    click.echo(f"{serial}: {found.words}.")


@click.command("take-out")
@click.argument("serials", nargs=-1, metavar="SERIAL...")
@click.option("--tray", help="All units of this tray.")
@_WHO
@click.option("--why", required=True, help="In words, for the record.")
@_AS_JSON
@click.pass_context
def unit_take_out(
    ctx: click.Context, serials: tuple[str, ...], tray: str | None, who: str, why: str, as_json: bool
) -> None:
    """Put on record that units lie in no tray any more: looked at, sold, put into a set.

    \b
    Example: coilgate unit take-out L2641-01-A01 --who EN-02 --why "under the microscope"
             coilgate unit take-out --tray T7 --who OP-07 --why "shipped"
    """
    from station.cli.opening import open_station
    from station.core.places import read_tray
    from station.records.placings import take_out, tray_contents

    if bool(serials) == (tray is not None):
        raise click.UsageError("say which units, or --tray for all of one.")
    with open_station(ctx) as station:
        if tray is not None:
            serials = tuple(each.serial for each in tray_contents(station.records, read_tray(tray).tray))
        found = take_out(station.records, serials, who=who, why=why, utc=station.clock.utc_now())
    if as_json:
        emit({"taken_out": [{"serial": each.serial, "tray": each.tray, "pocket": each.pocket} for each in found]})
        return
    for each in found:
        click.echo(f"{each.serial}: out of tray {each.tray}, pocket {each.pocket}.")
    if not found:
        click.echo(f"Tray {tray} is empty.")


@click.command("tray")
@click.argument("tray")
@_AS_JSON
@click.pass_context
def unit_tray(ctx: click.Context, tray: str, as_json: bool) -> None:
    """Show which units lie in a tray, by pocket.

    Example: coilgate unit tray T7
    """
    from station.cli.opening import open_station
    from station.core.places import read_tray
    from station.records.placings import tray_contents

    with open_station(ctx) as station:
        found = tray_contents(station.records, read_tray(tray).tray)
    if as_json:
        units = [
            {
                "pocket": each.pocket,
                "serial": each.serial,
                "decision": each.decision.value,
                "who": each.who,
                "why": each.why,
                "utc": each.utc.isoformat(),
            }
            for each in found
        ]
        emit({"tray": tray, "units": units})
        return
    if not found:
        click.echo(f"Tray {tray}: no unit on record.")
        return
    rows = [
        (str(each.pocket), each.serial, each.utc.isoformat(" ", "minutes"), each.who, each.why) for each in found
    ]
    click.echo(table(("pocket", "unit", "placed (UTC)", "who", "why"), rows))
