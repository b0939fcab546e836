"""`coilgate nightly`: run the night, accept it, replay one of its scenarios."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.main import EXIT_COULD_NOT, EXIT_FAIL, home_of
from station.cli.output import emit, say

if TYPE_CHECKING:
    from station.nightly.compared import Worse
    from station.nightly.scenario import Scenario
    from station.nightly.tally import Tally

_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object a line on standard output.")


@click.group()
def nightly() -> None:
    """The station's own code against simulated benches whose truth is known: what got worse?"""


@nightly.command()
@click.option("--scenario", "names", multiple=True, metavar="NAME", help="Only this one; may be given again.")
@click.option("--seeds", default=2, show_default=True, type=click.IntRange(1, 10_000), help="Benches a scenario.")
@click.option("--cores", type=click.IntRange(1, 1_024), help="Processes at once. Default: all cores.")
@click.option("--junit", type=click.Path(dir_okay=False, path_type=Path), help="Write JUnit XML to this file.")
@_JSON
@click.pass_context
def run(
    ctx: click.Context, names: tuple[str, ...], seeds: int, cores: int | None, junit: Path | None, as_json: bool
) -> None:
    """Run every scenario with several seeds, compare with truth and with the accepted night.

    Everything is simulated; nothing is driven, and the records in the home are not touched. The same seeds give
    the same figures on any number of cores. Exit 1 if something got worse, 2 if a night broke off.

    Example: coilgate nightly run --seeds 4 --junit nightly.xml
    """
    from station.nightly.pool import NIGHT_FAILED, jobs_of, run_jobs, usable_cores

    scenarios = _scenarios(names)
    jobs = jobs_of(scenarios, seeds)
    done: list[Tally] = []

    def tell(tally: "Tally") -> None:
        done.append(tally)
        say(f"{len(done)}/{len(jobs)}  {tally.scenario} seed {tally.seeds[0]}  {tally.real_s:.1f} s")

    nights = run_jobs(jobs, cores=cores or usable_cores(), tell=tell)
    bounds, later = _judge(ctx, scenarios, nights)
    if junit is not None:
        from station.nightly.junit import junit_text

        junit.write_text(junit_text(nights, bounds, later), encoding="utf-8")
    _show(nights, [*bounds, *later], as_json=as_json)
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
@click.argument("scenario", metavar="SCENARIO")
@click.argument("seed", type=click.IntRange(1))
@_JSON
@click.pass_context
def replay(ctx: click.Context, scenario: str, seed: int, as_json: bool) -> None:
    """Carry out one scenario with one seed again and write every message of every link.

    The same night to the last byte, as long as code and scenario are the same. Exit 1 if it is beyond what its
    scenario allows.

    Example: coilgate nightly replay loose-contact 3
    """
    from drivers.traced import Transcript
    from station.cli.nightly_text import message_fact, message_text, tally_fact
    from station.nightly.compared import beyond_bounds
    from station.nightly.night import run_night

    (found,) = _scenarios((scenario,))
    transcript = Transcript()
    tally = run_night(found, seed, transcript=transcript)
    for message in transcript.messages():
        if as_json:
            emit(message_fact(message))
        else:
            click.echo(message_text(message))
    if transcript.forgotten:
        say(f"The first {transcript.forgotten} messages are not shown: there were too many.")
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
