"""`coilgate lot show` without a lot: which lots are on record."""

from typing import TYPE_CHECKING

import click

from station.cli.output import emit, say, table

if TYPE_CHECKING:
    from station.records import Records

NEWEST = 40
"""So many lots are shown; their names count up."""
_HEADERS = ("lot", "state", "units", "pass", "fail", "not measured", "held")


def show_lots(records: "Records", *, as_json: bool) -> None:
    """Print the newest lots, a row each."""
    from station.app.lot_life import every_lot

    names = every_lot(records)
    rows = [_row(records, each) for each in names[-NEWEST:]]
    if as_json:
        for row in rows:
            emit(dict(zip(_HEADERS, row, strict=True)))
        return
    if not rows:
        click.echo("No lot is on record yet.")
        return
    click.echo(table(_HEADERS, [tuple(map(str, row)) for row in rows]))
    if len(names) > NEWEST:
        say(f"The last {NEWEST} of {len(names)} lots by name.")


def _row(records: "Records", name: str) -> tuple[str | int, ...]:
    from station.app.lot_life import lot_now

    state = lot_now(records, name).state.value
    if name not in records.lots():
        return name, state, 0, 0, 0, 0, 0
    found = records.lot_summary(name)
    return name, state, found.units, found.passed, found.failed, found.invalid, found.held
