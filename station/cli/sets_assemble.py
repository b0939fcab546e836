"""`coilgate sets assemble`: scan the units of a set; complete, or which one is wrong."""

from typing import TYPE_CHECKING

import click

from station.cli.main import EXIT_COULD_NOT
from station.cli.output import emit

if TYPE_CHECKING:
    from station.app.assembling import Assembly


@click.command(short_help="Check the units of a set by scan.")
@click.argument("serials", metavar="SERIAL...", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.pass_context
def assemble(ctx: click.Context, serials: tuple[str, ...], as_json: bool) -> None:
    """Say whether these units are exactly a recorded set and all still good; else which one is wrong, and what lacks.

    \b
    Example: coilgate sets assemble L2641-01-A01 L2641-02-B07 L2641-02-H11
    Exit code: 0 complete, 2 not.
    """
    from station.app.assembling import assemble as compare
    from station.cli.opening import open_station

    with open_station(ctx) as station:
        found = compare(station.records, serials)
    if as_json:
        emit(
            {
                "set": found.name,
                "complete": found.complete,
                "serials": list(found.serials),
                "wrong": [{"serial": serial, "why": why} for serial, why in found.wrong],
                "missing": list(found.missing),
            }
        )
    else:
        click.echo(_text(found))
    if not found.complete:
        ctx.exit(EXIT_COULD_NOT)


def _text(found: "Assembly") -> str:
    if found.complete:
        return f"Set {found.name} is complete: {'  '.join(found.serials)}"
    lines = [f"Set {found.name} is NOT complete."]
    lines += [f"  wrong: {serial} {why}" for serial, why in found.wrong]
    lines += [f"  missing: {serial}" for serial in found.missing]
    return "\n".join(lines)
