"""What a verification looks like at a terminal."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from station.cli.output import emit, table
from station.core.quantity import format_quantity

if TYPE_CHECKING:
    from station.app.doubt import VerificationReport
    from station.app.drift import Series
    from station.app.fixture import ContactTrend
    from station.core.verification import ReferenceUnit, VerificationValue
    from station.records import FixtureService

NEWEST = 10
"""Values of a series that are listed."""

LISTED = 20
"""Held units that are named; the rest is counted."""


def show_verification(report: "VerificationReport", as_json: bool) -> None:
    """Write what a verification found, value by value, then what it means."""
    if as_json:
        _emit(report)
        return
    for each in report.values:
        click.echo(_line(each))
    for reference in report.references:
        click.echo(_used(reference, report.uses.get(reference.serial, 0)))
    verification = report.verification
    if verification.verified:
        until = verification.verified_until_utc.isoformat(" ", "minutes")
        click.echo(f"Verified until {until}, for {verification.unit_limit} units: {verification.words}.")
        _show_warnings(report)
        return
    click.echo(f"NOT VERIFIED: {verification.words}. Stop; this bench passes no unit until that is put right.")
    _show_warnings(report)
    _show_held(report.held)


def _show_warnings(report: "VerificationReport") -> None:
    for words in report.warnings:
        click.echo(click.style(f"DRIFT WARNING  {words}", fg="yellow"))


def _emit(report: "VerificationReport") -> None:
    from station.app.facts import verification_fact, verification_value_fact

    for each in report.values:
        emit(verification_value_fact(each))
    emit(verification_fact(report.verification) | _around(report))


def _around(report: "VerificationReport") -> dict[str, object]:
    return {"held": list(report.held), "uses": dict(report.uses), "drift_warnings": list(report.warnings)}


def show_series(series: "Series") -> None:
    """Write the newest values of one series, and what is to be warned of."""
    from station.app.drift import words_of

    drift, found = series.drift, series.newest
    click.echo(f"{series.name}, nest {series.nest}: {len(series.values)} values; 1.00 of what is allowed ends it")
    newest = zip(series.values[-NEWEST:], drift.shares[-NEWEST:], strict=True)
    rows = [
        (
            f"{each.done_utc:%Y-%m-%d %H:%M}",
            format_quantity(each.found.value, found.unit_symbol, digits=6),
            f"{share:+.2f}",
        )
        for each, share in newest
    ]
    click.echo(table(("done (UTC)", "value", "share"), rows))
    if drift.warnings:
        click.echo(click.style(f"DRIFT WARNING  {words_of(series)}", fg="yellow"))


def show_contacts(
    bench: str, trends: "Sequence[ContactTrend]", services: "Sequence[FixtureService]", cycles: int, as_json: bool
) -> None:
    """Write how each contact does, and what was done to the fixture."""
    if as_json:
        pads = [{"pad": t.pad, "runs": t.runs, **_ohms(t)} for t in trends]
        log = [_service(each) for each in services]
        emit({"bench": bench, "contact_cycles": cycles, "contacts": pads, "services": log})
        return
    rows = [
        (
            each.pad,
            str(each.runs),
            format_quantity(each.first_ohm, "ohm"),
            format_quantity(each.now_ohm, "ohm"),
            _slope(each),
        )
        for each in trends
    ]
    click.echo(f"{bench}: {cycles} contacts made; since the last service:")
    click.echo(table(("contact", "runs", "first", "now", "per 1000 contacts"), rows))
    for done in services:
        when = f"{done.utc:%Y-%m-%d %H:%M}"
        click.echo(f"{when} UTC  nest {done.nest}  {done.action} at {done.contact_cycles}  {done.who}: {done.why}")


def _slope(trend: "ContactTrend") -> str:
    if trend.per_1000_ohm is None or trend.per_1000_u_ohm is None:
        return "too few runs"
    words = f"{trend.per_1000_ohm * 1e3:+.2g} (u {trend.per_1000_u_ohm * 1e3:.1g}) mohm"
    return words if trend.moves else f"{words}: lost in its doubt"


def _ohms(trend: "ContactTrend") -> dict[str, object]:
    return {
        "first_ohm": trend.first_ohm,
        "now_ohm": trend.now_ohm,
        "per_1000_contacts_ohm": trend.per_1000_ohm,
        "per_1000_contacts_u_ohm": trend.per_1000_u_ohm,
        "moves": trend.moves,
    }


def _service(done: "FixtureService") -> dict[str, object]:
    return {
        "nest": done.nest,
        "fixture": done.fixture_identity,
        "action": done.action,
        "contact_cycles": done.contact_cycles,
        "who": done.who,
        "why": done.why,
        "utc": done.utc.isoformat(),
    }


def _line(found: "VerificationValue") -> str:
    mark = click.style("+", fg="green") if found.agrees else click.style("x", fg="red")
    name = f"{found.subject} {found.characteristic}".strip()
    value = "" if found.value is None else f" {format_quantity(found.value, found.unit_symbol)}"
    en = "" if found.en is None else f"  E_n {found.en:+.2f}"
    known_defect = found.subject and found.agrees and found.assigned is None and found.lower is None
    words = f"  {found.words}" if found.words else "  fails, as it must" if known_defect else ""
    return f"{mark} {name}{value}{en}{words}"


def _used(reference: "ReferenceUnit", uses: int) -> str:
    limit = "" if reference.use_limit is None else f" of {reference.use_limit}"
    origins = "; ".join(dict.fromkeys(each.origin for each in reference.values))
    kind = reference.kind.replace("_", " ")
    return f"  {reference.serial} ({kind}): used {uses}{limit} times before. {origins}".rstrip()


def _show_held(serials: tuple[str, ...]) -> None:
    if not serials:
        return
    click.echo(f"{len(serials)} units judged since the last good verification are held until an engineer decides:")
    for each in serials[:LISTED]:
        click.echo(f"  {each}")
    if len(serials) > LISTED:
        click.echo(f"  and {len(serials) - LISTED} more; the --json output names all")
    click.echo("Release each with: coilgate unit release SERIAL --reason CODE --who BADGE --why WORDS")
