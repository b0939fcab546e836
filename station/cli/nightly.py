"""`coilgate nightly`: run the night, accept it, replay and shrink one of its scenarios, draw the nights."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.main import EXIT_COULD_NOT, EXIT_FAIL, home_of
from station.cli.output import emit, say

if TYPE_CHECKING:
    from station.nightly.compared import Worse
    from station.nightly.scenario import Scenario
    from station.nightly.tally import Tally

_SHRUNK = 3
_NIGHTS_EACH = 40
"""At the end of a night: so many failures are shrunk, each by at most so many nights."""

_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object a line on standard output.")


@click.group()
def nightly() -> None:
    """The station's own code against simulated benches whose truth is known: what got worse?"""


@nightly.command()
@click.option("--scenario", "names", multiple=True, metavar="NAME", help="Only this one; may be given again.")
@click.option("--seeds", default=2, show_default=True, type=click.IntRange(1, 10_000), help="Benches a scenario.")
@click.option("--units", type=click.IntRange(1, 9_000), help="Units a scenario instead of its own number.")
@click.option("--cores", type=click.IntRange(1, 1_024), help="Processes at once. Default: all cores.")
@click.option("--brief", is_flag=True, help="One line a scenario, and what got worse.")
@click.option("--no-shrink", is_flag=True, help="Do not look for the shortest script of mishaps of what failed.")
@click.option("--junit", type=click.Path(dir_okay=False, path_type=Path), help="Write JUnit XML to this file.")
@_JSON
@click.pass_context
def run(
    ctx: click.Context,
    names: tuple[str, ...],
    seeds: int,
    units: int | None,
    cores: int | None,
    brief: bool,
    no_shrink: bool,
    junit: Path | None,
    as_json: bool,
) -> None:
    """Run every scenario with several seeds, compare with truth and with the accepted night.

    Everything is simulated; nothing is driven, and the records in the home are not touched. The same seeds give
    the same figures on any number of cores. A page of trends is kept in the home, and what is beyond its bounds is
    shrunk to the shortest script of mishaps. Exit 1 if something got worse, 2 if a night broke off.

    Example: coilgate nightly run --seeds 4 --junit nightly.xml
    """
    from station.nightly.pool import NIGHT_FAILED, jobs_of, run_jobs
    from station.workers import usable_cores

    scenarios = [_with_units(each, units) for each in _scenarios(names)]
    jobs = jobs_of(scenarios, seeds)
    done: list[Tally] = []

    def tell(tally: "Tally") -> None:
        done.append(tally)
        if not brief:
            say(f"{len(done)}/{len(jobs)}  {tally.scenario} seed {tally.seeds[0]}  {tally.real_s:.1f} s")

    nights = run_jobs(jobs, cores=cores or usable_cores(), tell=tell)
    bounds, later = _judge(ctx, scenarios, nights)
    if junit is not None:
        from station.nightly.junit import junit_text

        junit.write_text(junit_text(nights, bounds, later), encoding="utf-8")
    if brief:
        _show_brief(nights, [*bounds, *later])
    else:
        _show(nights, [*bounds, *later], as_json=as_json)
    _keep_trends(ctx)
    if not no_shrink:
        _shrink_first(scenarios, bounds)
    broke_off = any(each.counts.get(NIGHT_FAILED) for each in nights)
    ctx.exit(EXIT_COULD_NOT if broke_off else EXIT_FAIL if bounds or later else 0)


@nightly.command()
@click.option("--who", required=True, help="Who accepts it.")
@click.option("--why", required=True, help="Why it is as it should be.")
@_JSON
@click.pass_context
def accept(ctx: click.Context, who: str, why: str, as_json: bool) -> None:
    """Take the last night as the one that others are compared with.

    Example: coilgate nightly accept --who EN-02 --why "guard bands widened on purpose"
    """
    from station.nightly.kept import accept_last

    night = accept_last(home_of(ctx), who=who, why=why)
    if as_json:
        emit({"accepted": night.utc.isoformat(), "who": who, "why": why, "scenarios": sorted(night.scenarios)})
        return
    click.echo(f"Accepted: the night of {night.utc:%Y-%m-%d %H:%M} UTC, {len(night.scenarios)} scenarios.")


@nightly.command()
@_JSON
@click.pass_context
def trends(ctx: click.Context, as_json: bool) -> None:
    """Draw each figure over the accepted and the recent nights, the worst first: a page without script.

    Example: coilgate nightly trends
    """
    path = _keep_trends(ctx)
    if as_json:
        emit({"page": path})
    else:
        click.echo(path)


@nightly.command()
@click.argument("scenario", metavar="SCENARIO")
@click.argument("seed", type=click.IntRange(1))
@click.option("--figure", help="Which figure is to stay beyond its bound. Default: the first that is.")
@click.option("--nights", default=60, show_default=True, type=click.IntRange(1, 10_000), help="At most so many.")
@_JSON
@click.pass_context
def shrink(ctx: click.Context, scenario: str, seed: int, figure: str | None, nights: int, as_json: bool) -> None:
    """Find the shortest script of mishaps with which a night still fails: the night is repeated with less and less.

    Exit 1 if it fails, 0 if nothing is beyond its bounds.

    Example: coilgate nightly shrink fault-sweep 3
    """
    from station.cli.nightly_text import shrunk_fact
    from station.nightly.compared import beyond_bounds
    from station.nightly.pool import Job, carry_out
    from station.nightly.shrinking import shrink as find_shortest

    (found,) = _scenarios((scenario,))
    if figure is None:
        worse = beyond_bounds(found, carry_out(Job(found, seed)))
        figure = worse[0].figure if worse else ""
    shrunk = find_shortest(found, seed, figure, most_nights=nights) if figure else None
    if as_json:
        emit({"shrunk": None if shrunk is None else shrunk_fact(shrunk)})
    else:
        click.echo(shrunk or f"{scenario} seed {seed}: {figure or 'every figure'} is within its bounds.")
    ctx.exit(0 if shrunk is None else EXIT_FAIL)


@nightly.command()
@click.argument("scenario", metavar="SCENARIO")
@click.argument("seed", type=click.IntRange(1))
@click.option("--only", metavar="NUMBERS", help="Only these mishaps of its script, such as 3,7; 0: none.")
@_JSON
@click.pass_context
def replay(ctx: click.Context, scenario: str, seed: int, only: str | None, as_json: bool) -> None:
    """Carry out one scenario with one seed again and write every message of every link.

    The same night to the last byte, as long as code and scenario are the same. Exit 1 if it is beyond what its
    scenario allows.

    Example: coilgate nightly replay loose-contact 3
    """
    from station.cli.nightly_messages import ShownTranscript
    from station.cli.nightly_text import tally_fact
    from station.nightly.compared import beyond_bounds
    from station.nightly.night import run_night

    (found,) = _scenarios((scenario,))
    shown = ShownTranscript(as_json=as_json)
    tally = run_night(found, seed, transcript=shown, only=None if only is None else _numbers(only))
    worse = beyond_bounds(found, tally)
    if as_json:
        emit(tally_fact(tally))
    _show([tally], worse, as_json=False, to_error=True)
    ctx.exit(EXIT_FAIL if worse else 0)


def _scenarios(names: Sequence[str]) -> "list[Scenario]":
    from station.nightly.figures import is_figure
    from station.nightly.scenario import scenario_names, scenario_path
    from station.nightly.scenario_file import read_scenario

    wanted = list(dict.fromkeys(names)) or list(scenario_names())
    return [read_scenario(scenario_path(name), known=is_figure) for name in wanted]


def _with_units(scenario: "Scenario", units: int | None) -> "Scenario":
    return scenario if units is None else replace(scenario, lot=replace(scenario.lot, units=units))


def _judge(
    ctx: click.Context, scenarios: "Sequence[Scenario]", nights: "Sequence[Tally]"
) -> "tuple[list[Worse], list[Worse]]":
    """Keep the night; return what is beyond the scenarios' bounds, and what is worse than the accepted night."""
    from datetime import UTC, datetime
    from importlib.metadata import version

    from station.nightly.compared import beyond_bounds, comparable, measured, worse_than_accepted
    from station.nightly.kept import Night, accepted, keep_last

    home = home_of(ctx)
    before = accepted(home)
    kept = before.scenarios if before else {}
    now = measured(nights)
    by_name = {each.name: each for each in scenarios}
    bounds = [worse for night in nights for worse in beyond_bounds(by_name[night.scenario], night)]
    later = [worse for each in scenarios for worse in worse_than_accepted(each, nights, kept.get(each.name))]
    compared = sum(name in kept and comparable(now[name], kept[name]) for name in now)
    keep_last(home, Night(datetime.now(UTC), version("coilgate"), now))
    say(f"Compared with the accepted night: {compared} of {len(now)} scenarios (same seeds, as many units).")
    return bounds, later


def _numbers(text: str) -> tuple[int, ...]:
    parts = text.split(",")
    if not all(each.strip().isdecimal() and len(each) < 8 for each in parts):
        raise click.BadParameter(f"must be numbers with commas between, such as 3,7; got {text!r}", param_hint="--only")
    return tuple(map(int, parts))


def _keep_trends(ctx: click.Context) -> str:
    """Write the page of trends; return where it is, or why it could not be written: that never spoils a night."""
    from station.errors import StationError
    from station.nightly.kept import accepted, history, keep_trends
    from station.nightly.trends import NIGHTS_DRAWN, trends_page

    home = home_of(ctx)
    try:
        scenarios = {each.name: each for each in _scenarios(())}
        page = trends_page(accepted(home), history(home, last=NIGHTS_DRAWN), scenarios)
        path = str(keep_trends(home, page))
    except StationError as error:
        say(f"No page of trends: {error}")
        return ""
    say(f"Trends: {path}")
    return path


def _shrink_first(scenarios: "Sequence[Scenario]", bounds: "Sequence[Worse]") -> None:
    """Shrink the first failure of each of the first scenarios that failed."""
    from station.nightly.shrinking import shrink as find_shortest

    by_name = {each.name: each for each in scenarios}
    first = {each.scenario: each for each in reversed(bounds)}
    for name in list(dict.fromkeys(each.scenario for each in bounds))[:_SHRUNK]:
        say(f"Looking for the shortest script of {name} seed {first[name].seed} that still fails ...")
        shrunk = find_shortest(by_name[name], first[name].seed, first[name].figure, most_nights=_NIGHTS_EACH)
        if shrunk is not None:
            say(str(shrunk))


def _show_brief(nights: "Sequence[Tally]", worse: "Sequence[Worse]") -> None:
    from station.cli.nightly_text import brief_text

    click.echo(brief_text(nights, worse))


def _show(
    nights: "Sequence[Tally]", worse: "Sequence[Worse]", *, as_json: bool, to_error: bool = False
) -> None:
    from station.cli.nightly_text import night_text, tally_fact, worse_fact
    from station.nightly.tally import add_up

    if as_json:
        for tally in add_up(nights).values():
            emit(tally_fact(tally))
        emit({"worse": [worse_fact(each) for each in worse]})
        return
    click.echo(night_text(nights), err=to_error)
    for each in worse:
        click.echo(f"WORSE {each}", err=to_error)
    click.echo(f"{len(worse)} figures worse than they may be." if worse else "Nothing got worse.", err=to_error)
