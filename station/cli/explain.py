"""`coilgate unit explain` and `coilgate lot explain`: why a coil, or a lot, reads as it does."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from station.cli.output import emit, table

if TYPE_CHECKING:
    from station.causes.explain import LotExplanation, NamedCause, UnitExplanation

_EXAMPLES = 3


@click.command("explain")
@click.argument("serial")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.pass_context
def unit_explain(ctx: click.Context, serial: str, as_json: bool) -> None:
    """Say why a unit reads as it does: causes with probability, evidence, what would prove them.

    By its latest run, against its panel and lot, the drawing, and the reference unit on the same bench.

    Example: coilgate unit explain L2641-01-A07
    """
    from station.app.cause_facts import unit_cause_fact
    from station.app.causes import explain_unit_on_record
    from station.cli.opening import open_station

    with open_station(ctx) as station:
        found = explain_unit_on_record(station.records, serial)
    if as_json:
        emit(unit_cause_fact(found))
        return
    click.echo("\n".join(unit_lines(found)))


@click.command("explain")
@click.argument("name", metavar="LOT")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.pass_context
def lot_explain(ctx: click.Context, name: str, as_json: bool) -> None:
    """Say why a lot's units are out: causes by count, where the lot stands, what to ask the board maker.

    Example: coilgate lot explain L2641
    """
    from station.app.cause_facts import lot_cause_fact
    from station.app.causes import explain_lot_on_record
    from station.cli.opening import open_station

    with open_station(ctx) as station:
        found = explain_lot_on_record(station.records, name)
    if as_json:
        emit(lot_cause_fact(name, found))
        return
    click.echo("\n".join(lot_lines(name, found)))


def unit_lines(found: "UnitExplanation") -> Iterator[str]:
    """Yield the explanation of a unit, a line each."""
    yield f"{found.serial}  {found.decision}"
    yield from (f"  {_percent(each)}  {each.words}" for each in found.causes)
    if found.where_words:
        yield f"where: {found.where_words}"
    yield "because:"
    yield from (f"  {each}" for each in found.evidence)
    if found.likeliest.proof:
        yield f"to prove it: {found.likeliest.proof}"
    if found.hardest is not None and found.hardest.hard:
        yield f"note: {found.hardest.words}"


def lot_lines(name: str, found: "LotExplanation") -> Iterator[str]:
    """Yield the explanation of a lot, a line each."""
    yield f"Lot {name}: {found.units} units by their latest run, {found.measured} with values."
    if found.imported:
        yield f"{found.imported} of them by imported readings, not measured here: no decision, counted as not pass."
    rows = [
        (
            each.words,
            str(each.not_passed),
            str(each.passed),
            f"{each.share:.2%}",
            ", ".join(each.examples[:_EXAMPLES]),
        )
        for each in found.table
    ]
    yield table(("likeliest cause", "not pass", "pass", "share", "examples"), rows)
    yield "where the lot stands:"
    yield from (f"  {_percent(each)}  {each.words}" for each in found.level)
    yield from (f"  {each}" for each in found.level_evidence)
    if found.hardest is not None:
        yield f"  {found.hardest.words}."
    if found.panels:
        yield "panels whose copper was measured:"
    for panel in found.panels:
        yield f"  {panel.panel}  {_percent(panel.causes[0])}  {panel.causes[0].words}; {panel.words}"
    if found.asks:
        yield "what to ask and do:"
        yield from (f"  - {each}" for each in found.asks)
        yield f"which units to look at, and where on them: coilgate lot pull {name}"


def _percent(cause: "NamedCause") -> str:
    # Never 100 %: that would be a claim that no list of causes can make.
    return " >99 %" if cause.probability > 0.99 else f"{cause.probability:>4.0%}".replace("%", " %")
