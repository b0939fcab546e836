"""`coilgate gauge units`: which units of a lot a study should have."""

import click

from station.cli.output import emit, say


@click.command(short_help="Units of a lot for a study: spread as it is.")
@click.argument("lot")
@click.option("--characteristic", required=True, help="In which they spread, such as R20.")
@click.option("--count", type=click.IntRange(min=2), default=10, show_default=True, help="How many units.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.pass_context
def units(ctx: click.Context, lot: str, characteristic: str, count: int, as_json: bool) -> None:
    """Choose units for a study that spread as the lot does: one from the middle of each share of it, by rank.

    Of those that pass and are at hand. Serials, one a line; their values are not shown.

    \b
    Example: coilgate gauge units L2641 --characteristic R20
             coilgate gauge measure $(coilgate gauge units L2641 --characteristic R20) --method resistance ...
    """
    from station.app.study_units import choose_units
    from station.cli.opening import open_station

    with open_station(ctx) as station:
        found = choose_units(station.records, lot, characteristic, count)
    if as_json:
        emit({"lot": lot, "characteristic": characteristic, "units": list(found.serials), "of": found.population})
        return
    say(f"{len(found.serials)} of {found.population}.")
    for serial in found.serials:
        click.echo(serial)
