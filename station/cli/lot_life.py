"""`coilgate lot receive|hold|release|scrap|close|reopen`: a lot's life, each step with who and why."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.concession import signed
from station.cli.gauge_files import text_of
from station.cli.lot_options import AS_JSON
from station.cli.opening import open_station
from station.cli.output import emit

if TYPE_CHECKING:
    from station.app.station import Station
    from station.records import Records

_LOT = click.argument("name", metavar="LOT")
_WHO = click.option("--who", required=True, help="Badge code.")
_ENGINEER = click.option("--who", required=True, help="An engineer's badge.")
_SECRET = click.option("--secret", default="", help="Of the badge, if it has one; asked for if left out.")
_WHY = click.option("--why", required=True, help="In words.")


@contextmanager
def _signing(
    ctx: click.Context, name: str, who: str, secret: str, as_json: bool
) -> "Iterator[tuple[Records, str, datetime]]":
    """Records, badge and instant of a step that an engineer signs; tell how the lot stands once it is on record."""
    with open_station(ctx) as station:
        yield station.records, signed(station, who, secret), station.clock.utc_now()
        _tell(station, name, as_json)


@click.command()
@_LOT
@click.option("--quantity", type=int, required=True, help="Units that came in; negative: a correction, with --why.")
@click.option("--part", default="", help="Of what part.")
@_WHO
@click.option("--why", default="", help="Delivery note, or why a quantity is corrected.")
@AS_JSON
@click.pass_context
def receive(ctx: click.Context, name: str, quantity: int, part: str, who: str, why: str, as_json: bool) -> None:
    """Receive a lot: how many units came in. A further delivery adds to it.

    Example: coilgate lot receive L2641 --part IS-20 --quantity 2650 --who EN-02
    """
    from station.app.lot_life import receive_lot

    with open_station(ctx) as station:
        receive_lot(station.records, name, quantity, part=part, who=who, why=why, utc=station.clock.utc_now())
        _tell(station, name, as_json)


@click.command()
@_LOT
@_ENGINEER
@_SECRET
@_WHY
@AS_JSON
@click.pass_context
def hold(ctx: click.Context, name: str, who: str, secret: str, why: str, as_json: bool) -> None:
    """Hold a lot: scans of its units are refused until an engineer releases it. A run under way is recorded.

    Example: coilgate lot hold L2641 --who EN-02 --why "etch to be asked about"
    """
    from station.app.lot_life import hold_lot

    with _signing(ctx, name, who, secret, as_json) as (records, signer, utc):
        hold_lot(records, name, who=signer, why=why, utc=utc)


@click.command()
@_LOT
@_ENGINEER
@_SECRET
@_WHY
@AS_JSON
@click.pass_context
def release(ctx: click.Context, name: str, who: str, secret: str, why: str, as_json: bool) -> None:
    """Release a held lot. Units that are held by themselves stay so.

    Example: coilgate lot release L2641 --who EN-02 --why "board maker's answer: accepted as it is"
    """
    from station.app.lot_life import release_lot

    with _signing(ctx, name, who, secret, as_json) as (records, signer, utc):
        release_lot(records, name, who=signer, why=why, utc=utc)


@click.command()
@_LOT
@click.argument("serials", metavar="[SERIAL]...", nargs=-1)
@click.option("--unnumbered", type=click.IntRange(0), default=0, help="Units without a serial: a broken panel.")
@_ENGINEER
@_SECRET
@_WHY
@AS_JSON
@click.pass_context
def scrap(
    ctx: click.Context,
    name: str,
    serials: tuple[str, ...],
    unnumbered: int,
    who: str,
    secret: str,
    why: str,
    as_json: bool,
) -> None:
    """Put on record that units of a lot were scrapped; a scan of one is refused from then on.

    Example: coilgate lot scrap L2641 L2641-03-B07 --unnumbered 12 --who EN-02 --why "panel 9 broke"
    """
    from station.app.lot_life import scrap_units

    with _signing(ctx, name, who, secret, as_json) as (records, signer, utc):
        scrap_units(records, name, serials, unnumbered=unnumbered, who=signer, why=why, utc=utc)


@click.command(short_help="Close a lot, counted bin by bin.")
@_LOT
@click.option("--counted", multiple=True, help="A place and the units counted there, 1=1203 or held=4; once a place.")
@click.option("--part", is_flag=True, help="Only the bins counted here are closed (shipped); the rest stays open.")
@click.option(
    "--serials",
    "file",
    type=click.Path(path_type=Path, allow_dash=True),
    help="With --part: text with a serial a line, only these units of the bins; `-`: standard input.",
)
@_ENGINEER
@_SECRET
@click.option("--why", default="", help="Why a count differs; needed if one does.")
@AS_JSON
@click.pass_context
def close(
    ctx: click.Context,
    name: str,
    counted: tuple[str, ...],
    part: bool,
    file: Path | None,
    who: str,
    secret: str,
    why: str,
    as_json: bool,
) -> None:
    """Close a lot: received = passed + failed + held + conceded + scrapped + not measured, counted bin by bin.

    Places are bins by number, `held`, `scrapped` and `unmeasured`; `lot show` lists them. A difference to the records,
    or to what was received, needs a reason and stays on record. Scans of a closed lot's units are refused.

    \b
    Example: coilgate lot close L2641 --counted 1=801 --counted 2=1203 --counted 90=14 --counted held=2 --who EN-02
             coilgate lot close L2641 --part --counted 2=1203 --who EN-02
    """
    from station.app.lot_life import close_lot, close_part, counted_of

    if file is not None and not part:
        raise click.UsageError("--serials goes with --part.")
    counts = counted_of(counted, name)
    serials = None if file is None else [line.strip() for line in text_of(file).splitlines() if line.strip()]
    with _signing(ctx, name, who, secret, as_json) as (records, signer, utc):
        if part:
            close_part(records, name, counts, serials=serials, who=signer, why=why, utc=utc)
        else:
            close_lot(records, name, counts, who=signer, why=why, utc=utc)


@click.command()
@_LOT
@click.option("--closing", type=click.IntRange(1), help="Which, by its number in `lot show`; otherwise the newest.")
@_ENGINEER
@_SECRET
@_WHY
@AS_JSON
@click.pass_context
def reopen(ctx: click.Context, name: str, closing: int | None, who: str, secret: str, why: str, as_json: bool) -> None:
    """Reopen a closed lot, or a part of it that was closed.

    Example: coilgate lot reopen L2641 --who EN-02 --why "a box came back"
    """
    from station.app.lot_life import reopen_lot

    with _signing(ctx, name, who, secret, as_json) as (records, signer, utc):
        reopen_lot(records, name, closing=closing or 0, who=signer, why=why, utc=utc)


def _tell(station: "Station", name: str, as_json: bool) -> None:
    from station.app.lot_life import lot_now
    from station.cli.lot_life_text import life_fact, life_text

    now = lot_now(station.records, name)
    if as_json:
        emit(life_fact(now))
        return
    click.echo(f"Lot {name}\n{life_text(now)}")


COMMANDS = (receive, hold, release, scrap, close, reopen)
"""What `lot` takes over."""
