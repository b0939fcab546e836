"""`coilgate concession`: deviation permits and concessions, granted, used, withdrawn; each act signed."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from station.cli.opening import open_station
from station.cli.output import emit, table

if TYPE_CHECKING:
    from station.app.station import Station
    from station.records.concessions import OnRecord

_KINDS = ("concession", "deviation-permit")
_AS_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
_WHO = click.option("--who", required=True, help="Badge code of the engineer who signs.")
_SECRET = click.option("--secret", default="", help="Of the badge, if it has an account; asked for if not given.")


@click.group()
def concession() -> None:
    """Deviation permits (before making) and concessions (after): what may be used though it does not conform.

    A unit that is accepted stays FAIL, is shown as "accepted by concession", and lies in a bin of its own. Permits and
    concessions end by themselves, with their day or their quantity.
    """


def _options(*given: Callable[[Any], Any]) -> Callable[[Any], Any]:
    def add(command: Any) -> Any:
        for each in reversed(given):
            command = each(command)
        return command

    return add


_WANTED = _options(
    click.option("--kind", type=click.Choice(_KINDS), default=_KINDS[0], help="After making, or before."),
    click.option("--part", required=True, help="Part whose plan is departed from."),
    click.option("--characteristic", required=True, help="Such as R20; one."),
    click.option("--lower", default="", help="Widened lower limit with its unit; default: the plan's."),
    click.option("--upper", default="", help="Widened upper limit with its unit; default: the plan's."),
    click.option("--lot", default="", help="For this lot; default: any lot, up to the quantity."),
    click.option("--quantity", type=click.IntRange(min=1), help="Units at most."),
    click.option("--expires", required=True, help="Last day (UTC), such as 2027-01-31, or a time with its offset."),
    click.option("--customer", required=True, help="The customer's reference."),
    click.option("--why", required=True, help="The reason, for the record."),
    click.option("--bin", "bin_number", type=click.IntRange(1, 999), default=80, help="A bin of their own (80)."),
    click.option("--bin-name", default="concession", show_default=True, help="Its name."),
)


@concession.command()
@_WANTED
@_WHO
@_SECRET
@_AS_JSON
@click.pass_context
def grant(ctx: click.Context, who: str, secret: str, as_json: bool, **wanted: Any) -> None:
    """Grant a deviation permit or a concession. Nothing is accepted by that yet.

    \b
    Example: coilgate concession grant --part IS-20 --characteristic R20 --upper "9.6 ohm" --lot L2641 \\
             --expires 2027-01-31 --customer CR-118 --why "the driver has the voltage" --who EN-02
    """
    from station.app.concessions import Wanted
    from station.app.concessions import grant as put_on_record
    from station.core.concession import ConcessionKind

    asked = Wanted(
        kind=ConcessionKind(wanted.pop("kind").replace("-", " ")),
        customer_reference=wanted.pop("customer"),
        **wanted,
    )
    with open_station(ctx) as station:
        signer = signed(station, who, secret)
        found = put_on_record(station.records, asked, who=signer, now_utc=station.clock.utc_now())
    if as_json:
        emit({"number": found.number, "kind": found.kind.value, "bin": found.bin_number})
        return
    click.echo(f"{found.kind} {found.number}: {found.limits_words}, {found.extent_words}.")
    click.echo(f"Accept units by it: coilgate concession accept {found.number} SERIAL... --who {who}")


@concession.command(name="list")
@_AS_JSON
@click.pass_context
def list_concessions(ctx: click.Context, as_json: bool) -> None:
    """List all deviation permits and concessions, and whether they are in force.

    Example: coilgate concession list
    """
    from station.app.concession_facts import concession_fact
    from station.records.concessions import concessions, latest_utc

    with open_station(ctx) as station:
        every = concessions(station.records)
        now = latest_utc(station.records, station.clock.utc_now())
    if as_json:
        for each in every:
            emit(concession_fact(each, now))
        return
    if not every:
        click.echo("No concession or deviation permit is on record.")
        return
    rows = [
        (
            each.granted.number,
            each.granted.kind.value,
            each.granted.limits_words,
            each.granted.extent_words,
            f"{each.granted.expires_utc:%Y-%m-%d %H:%M}",
            str(each.used),
            each.standing(now).value,
        )
        for each in every
    ]
    click.echo(table(("number", "kind", "widened limits", "for", "ends (UTC)", "units", ""), rows))


@concession.command()
@click.argument("number")
@click.option("--lot", default="", help="Also the failing units of this lot, and which fit. Default: its own lot.")
@_AS_JSON
@click.pass_context
def show(ctx: click.Context, number: str, lot: str, as_json: bool) -> None:
    """Show one, and which failing units of a lot it could accept.

    Example: coilgate concession show CN-0001
    """
    from station.app.concession_facts import candidate_fact, concession_fact
    from station.app.concessions import candidates, find
    from station.records.concessions import latest_utc

    with open_station(ctx) as station:
        found = find(station.records, number)
        now = latest_utc(station.records, station.clock.utc_now())
        name = lot or found.granted.lot
        known = name in station.records.lots()
        units = candidates(station.records, found.granted, name) if known else ()
    if as_json:
        emit(concession_fact(found, now) | {"candidates": [candidate_fact(each) for each in units]})
        return
    _show_terms(found, found.standing(now).value)
    for each in units:
        click.echo(f"  {each.unit.serial}  {each.why_not or 'fits'}")


def _show_terms(found: "OnRecord", state: str) -> None:
    each = found.granted
    click.echo(f"{each.kind} {each.number}: {state}")
    for line in (
        f"{each.limits_words}, {each.extent_words}",
        f"ends {each.expires_utc:%Y-%m-%d %H:%M} UTC; bin {each.bin_number} ({each.bin_name})",
        f"customer {each.customer_reference}: {each.why}",
        f"signed by {each.who}, {each.granted_utc:%Y-%m-%d %H:%M} UTC; {found.used} units accepted by it",
        f"ended: {found.ended_why}" if found.ended else "",
    ):
        if line:
            click.echo(f"  {line}")


@concession.command()
@click.argument("number")
@click.argument("serials", nargs=-1, metavar="[SERIAL]...")
@click.option("--all-of-lot", default="", help="Every failing unit of this lot that fits.")
@click.option("--why", default="", help="In words, for the record.")
@_WHO
@_SECRET
@_AS_JSON
@click.pass_context
def accept(
    ctx: click.Context,
    number: str,
    serials: tuple[str, ...],
    all_of_lot: str,
    why: str,
    who: str,
    secret: str,
    as_json: bool,
) -> None:
    """Accept units: each stays FAIL, with the number beside its decision, and goes into the bin named.

    \b
    Example: coilgate concession accept CN-0001 L2641-01-A07 --who EN-02
    Exit code: 0 all were accepted, 2 one was not.
    """
    from station.app.concessions import accept as put_on_record
    from station.app.concessions import candidates, find

    with open_station(ctx) as station:
        signer = signed(station, who, secret)
        found = find(station.records, number).granted
        wanted = list(serials)
        if all_of_lot:
            fitting = candidates(station.records, found, all_of_lot)
            wanted += [each.unit.serial for each in fitting if not each.why_not]
        if not wanted:
            raise click.UsageError("no unit is named that fits: give serials, or --all-of-lot LOT.")
        now = station.clock.utc_now()
        done = put_on_record(station.records, number, wanted, who=signer, why=why, now_utc=now)
    if as_json:
        fact = {"number": number, "accepted": list(done.accepted), "refused": dict(done.refused)}
        left = {serial: {"tray": each.tray, "pocket": each.pocket} for serial, each in done.lay.items()}
        emit(fact | {"bin": found.bin_number, "bin_name": found.bin_name, "taken_out": left})
    else:
        for serial in done.accepted:
            lay = done.lay.get(serial)
            out = f"; take it out of tray {lay.tray}, pocket {lay.pocket}" if lay else ""
            click.echo(f"{serial}  accepted by {found.kind} {number}: bin {found.bin_number} ({found.bin_name}){out}")
    for serial, words in done.refused:
        click.echo(f"{serial}: not accepted: {words}", err=True)
    ctx.exit(2 if done.refused else 0)


@concession.command()
@click.argument("number")
@click.option("--why", required=True, help="In words, for the record.")
@_WHO
@_SECRET
@click.pass_context
def withdraw(ctx: click.Context, number: str, why: str, who: str, secret: str) -> None:
    """End one for good. What was accepted by it stays so.

    Example: coilgate concession withdraw CN-0001 --why "the customer changed its mind" --who EN-02
    """
    from station.app.concessions import withdraw as put_on_record

    with open_station(ctx) as station:
        signer = signed(station, who, secret)
        put_on_record(station.records, number, who=signer, why=why, now_utc=station.clock.utc_now())
    click.echo(f"{number} is withdrawn.")


def signed(station: "Station", who: str, secret: str) -> str:
    """Return the badge of who signs; asks for its secret if it has an account and none was given."""
    from station.app.signing import needs_secret, signed_by

    if not secret and needs_secret(station.home, who):
        secret = click.prompt(f"Secret of {who}", hide_input=True, err=True)
    return signed_by(station.home, who, secret)
