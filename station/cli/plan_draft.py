"""`coilgate plan draft`, `coilgate plan accept`: drafts whose numbers are proposed until an engineer accepts them."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.opening import open_station
from station.cli.output import emit, say, table

if TYPE_CHECKING:
    from station.app.plan_draft import Draft
    from station.app.station import Station

_AS_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")


@click.command()
@click.option("--from", "source", help="A plan file, or a part whose newest revision is copied.")
@click.option("--from-lot", "lot", help="The lot's plan, its limits proposed by the first units.")
@click.option("--units", type=click.IntRange(min=20), help="So many units of the lot, in order of first run.")
@click.option("--part", default="", help="The draft's own part; default: as in the plan.")
@click.option("--coverage", type=click.FloatRange(0.5, 0.9999), default=0.99, show_default=True, help="Share of units.")
@click.option("--confidence", type=click.FloatRange(0.5, 0.9999), default=0.95, show_default=True, help="Of that.")
@click.option("--to", "target", type=click.Path(dir_okay=False, path_type=Path), required=True, help="File, .toml")
@_AS_JSON
@click.pass_context
def draft(
    ctx: click.Context,
    source: str | None,
    lot: str | None,
    units: int | None,
    part: str,
    coverage: float,
    confidence: float,
    target: Path,
    as_json: bool,
) -> None:
    """Write a draft of a plan: each number that nobody has decided is marked "proposed" on its line.

    From a lot: limits where that share of all units lie, by a statistical tolerance interval, moved out by the
    uncertainty. Units of one panel are alike and tell less than their number: take units of several panels. A draft
    can't be released until an engineer has accepted each mark.

    \b
    Example: coilgate plan draft --from IS-20 --part IS-21 --to IS-21.toml
             coilgate plan draft --from-lot L2641 --units 96 --to IS-20.toml
    """
    from station.core.plan_draft import proposed_marks

    if (source is None) == (lot is None) or (lot is None) != (units is None):
        raise click.UsageError("say which: --from PLAN, or --from-lot LOT with --units N.")
    if target.exists():
        raise click.UsageError(f"{target} is there already; name another file.")
    with open_station(ctx) as station:
        made = _made(station, source, lot, units or 0, part, coverage, confidence)
    target.write_text(made.text, encoding="utf-8")
    marks = proposed_marks(made.text)
    if as_json:
        proposed = [{"line": each.line, "text": each.text} for each in marks]
        emit({"file": str(target), "proposed": proposed, "left": list(made.left)})
        return
    click.echo(f"{target}: {len(marks)} lines are marked as proposed.")
    for words in made.left:
        say(f"kept as it is: {words}")
    click.echo(f"Look at each, then: coilgate plan accept {target} --who EN-02")


def _made(
    station: "Station", source: str | None, lot: str | None, units: int, part: str, coverage: float, confidence: float
) -> "Draft":
    from station.app.plan_draft import draft_from_lot, draft_from_plan
    from station.app.plan_draft import source_of as plan_source

    if lot is not None:
        return draft_from_lot(station.records, lot, units, coverage=coverage, confidence=confidence, part=part)
    text, words = plan_source(station.records, source or "")
    return draft_from_plan(text, words, part=part)


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--line", "lines", type=int, multiple=True, help="Only this line; more than once. Default: all.")
@click.option("--who", help="Badge code of the engineer who accepts; without: show what is proposed.")
@click.option("--secret", default="", help="Of the badge, if it has an account; asked for if not given.")
@_AS_JSON
@click.pass_context
def accept(
    ctx: click.Context, file: Path, lines: tuple[int, ...], who: str | None, secret: str, as_json: bool
) -> None:
    """Accept the proposed numbers of a draft: the mark on each line then says who did, and when.

    \b
    Example: coilgate plan accept IS-21.toml                      (shows them)
             coilgate plan accept IS-21.toml --line 41 --who EN-02
    """
    from station.app.files import read_plan
    from station.cli.concession import signed
    from station.core.plan_draft import accept_marks, proposed_marks

    text = read_plan(file).source_text
    marks = proposed_marks(text)
    wanted = [each for each in marks if not lines or each.line in lines]
    strange = set(lines) - {each.line for each in marks}
    if strange:
        raise click.UsageError(f"line {min(strange)} of {file} has no proposed number.")
    if who is not None:
        with open_station(ctx) as station:
            signer, day = signed(station, who, secret), f"{station.clock.utc_now():%Y-%m-%d}"
        text = accept_marks(text, [each.line for each in wanted], who=signer, day=day)
        file.write_text(text, encoding="utf-8")
    left = proposed_marks(text)
    if as_json:
        emit({"file": str(file), "accepted": len(marks) - len(left), "proposed": [each.line for each in left]})
        return
    if not marks:
        click.echo(f"{file}: no number is marked as proposed.")
        return
    if who is None:
        click.echo(table(("line", "proposed"), [(str(each.line), each.text) for each in wanted]))
        return
    click.echo(f"{file}: {len(wanted)} accepted by {who}, {len(left)} left.")
