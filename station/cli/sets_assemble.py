"""`coilgate sets assemble`: scan the units of a set; complete, or which one is wrong."""

import sys
from typing import TYPE_CHECKING

import click

from station.cli.main import EXIT_COULD_NOT
from station.cli.output import emit

if TYPE_CHECKING:
    from station.app.assembling import Assembly


_SCANS_LIMIT = 65_536
"""Characters of all scans; a set of 100 units has a few thousand."""


@click.command(short_help="Check the units of a set by scan.")
@click.argument("scans", metavar="SCAN... | -", nargs=-1, required=True)
@click.option("--who", default="", help="Badge code: puts on record that the units of a complete set left their trays.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.pass_context
def assemble(ctx: click.Context, scans: tuple[str, ...], who: str, as_json: bool) -> None:
    """Say whether these units are exactly a recorded set and all still good; else which one is wrong, and what lacks.

    Scans are serials, and the code of the set's label if there is one; with "-" they come from the scanner, one a line.

    \b
    Example: coilgate sets assemble L2641-01-A01 L2641-02-B07 L2641-02-H11
             coilgate sets assemble - --who OP-07
    Exit code: 0 complete, 2 not.
    """
    from station.app.assembling import assemble as compare
    from station.app.assembling import take_out_of_trays
    from station.cli.opening import open_station

    scanned = [each for scan in scans for each in (_lines() if scan == "-" else [scan])]
    with open_station(ctx) as station:
        found = compare(station.records, scanned)
        if who and found.complete:
            take_out_of_trays(station.records, found, who=who, utc=station.clock.utc_now())
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


def _lines() -> list[str]:
    return [line.strip() for line in sys.stdin.read(_SCANS_LIMIT).splitlines() if line.strip()]


def _text(found: "Assembly") -> str:
    if found.complete:
        return f"Set {found.name} is complete: {'  '.join(found.serials)}"
    lines = [f"Set {found.name} is NOT complete."]
    lines += [f"  wrong: {serial} {why}" for serial, why in found.wrong]
    lines += [f"  missing: {serial}" for serial in found.missing]
    return "\n".join(lines)
