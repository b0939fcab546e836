"""`coilgate badge`: who may sign in to the pages, with which role."""

import click

from station.cli.main import home_of
from station.cli.output import emit, table


@click.group()
def badge() -> None:
    """Badges: accounts of those who sign in to the pages with a secret."""


@badge.command()
@click.argument("code")
@click.option("--role", type=click.Choice(["viewer", "operator", "engineer"]), required=True)
@click.password_option("--secret", prompt="Secret", help="Asked for if not given; at least 10 characters.")
@click.option("--who", default="", help="Badge of who adds it, for the audit trail; default: the badge itself.")
@click.pass_context
def add(ctx: click.Context, code: str, role: str, secret: str, who: str) -> None:
    """Add a badge, or give it another role or secret. Only a hash of the secret is kept.

    Example: coilgate badge add EN-02 --role engineer
    """
    from station.app.accounts import Accounts, Role
    from station.cli.opening import open_station

    with open_station(ctx) as station:
        Accounts(station.home).add(code, Role(role), secret)
        utc = station.clock.utc_now()
        station.records.audit(who=who or code, action="badge added", subject=code, why=f"role {role}", utc=utc)
    click.echo(f"{code} may sign in as {role}.")


@badge.command()
@click.argument("code")
@click.option("--who", default="", help="Badge of who removes it, for the audit trail.")
@click.pass_context
def remove(ctx: click.Context, code: str, who: str) -> None:
    """Remove a badge's account. Sign-ins that are open end with the pages' next start.

    Example: coilgate badge remove OP-07
    """
    from station.app.accounts import Accounts
    from station.cli.opening import open_station

    with open_station(ctx) as station:
        Accounts(station.home).remove(code)
        utc = station.clock.utc_now()
        station.records.audit(who=who or code, action="badge removed", subject=code, why="command line", utc=utc)
    click.echo(f"{code} has no account any more.")


@badge.command(name="list")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.pass_context
def list_badges(ctx: click.Context, as_json: bool) -> None:
    """List badges and roles.

    Example: coilgate badge list
    """
    from station.app.accounts import Accounts

    accounts = Accounts(home_of(ctx)).every()
    if as_json:
        for each in accounts:
            emit({"badge": each.badge, "role": each.role.value})
        return
    click.echo(table(("badge", "role"), [(each.badge, each.role.value) for each in accounts]))
