"""`coilgate bench`: check, verify, simulate, clear."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.bench_draft import draft
from station.cli.main import EXIT_COULD_NOT, EXIT_FAIL, home_of
from station.cli.output import emit, say
from station.cli.soak import soak_table

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from station.app.drift import Series
    from station.app.simulated import Simulation
    from station.checking import Check
    from station.core.plan import Plan

_BENCH = click.option(
    "--bench", "bench_file", type=click.Path(path_type=Path), required=True, help="Bench file."
)
_PLAN = click.option("--plan", "plan_file", type=click.Path(path_type=Path), help="Plan file, checked too.")
_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object a line on standard output.")


@click.group()
def bench() -> None:
    """Equipment: check a bench, verify it, simulate one, clear a latch."""


bench.add_command(draft)


@bench.command()
@_BENCH
@_PLAN
@click.option("--empty-only", is_flag=True, help="Leave out what needs a good unit in the nest.")
@_JSON
@click.pass_context
def check(
    ctx: click.Context, bench_file: Path, plan_file: Path | None, empty_only: bool, as_json: bool
) -> None:
    """Check a bench: identities, every intent of the plan, the empty nest, remote sense.

    Example: coilgate bench check --bench bench-1.toml --plan IS-20.toml
    """
    from station.cli.opening import open_stoppable

    with (
        open_stoppable(ctx) as station,
        station.inspecting(bench_file, plan_file=plan_file, where="coilgate bench check") as inspection,
    ):
        checks = []
        for each in station.checks(inspection, loaded=not empty_only, tell=say):
            checks.append(each)
            _show_check(each, as_json)
    wrong = sum(not each.sound for each in checks)
    say(f"{len(checks)} checks, {wrong} to put right." if wrong else f"{len(checks)} checks, all sound.")
    ctx.exit(EXIT_COULD_NOT if wrong else 0)


def _show_check(found: "Check", as_json: bool) -> None:
    if as_json:
        emit({"check": found.name, "sound": found.sound, "words": found.words})
        return
    mark = click.style("+ sound", fg="green") if found.sound else click.style("x wrong", fg="red")
    click.echo(f"{mark}  {found.name}: {found.words}")


@bench.command()
@_BENCH
@click.option("--operator", required=True, help="Badge code.")
@click.option(
    "--references",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder of reference units' files; default: the shipped, invented ones (simulated benches only).",
)
@click.option("--part", default="", help="Part whose plan is used; default: the only one released.")
@click.option(
    "--new-baseline", default="", help="Why values over time begin anew: such as 'meter adjusted'. Goes on record."
)
@_JSON
@click.pass_context
def verify(
    ctx: click.Context,
    bench_file: Path,
    operator: str,
    references: Path | None,
    part: str,
    new_baseline: str,
    as_json: bool,
) -> None:
    """Check the bench, correct the meter, measure the reference units: does it still measure right?

    Identities and due dates, the empty nest, temperatures, open and short correction; then good reference
    units against their assigned values, and known-defect ones that must fail. A bench that is not verified
    passes no unit; one that has measured wrong has its units since the last good verification held.

    Example: coilgate bench verify --bench bench-1.toml --operator OP-07
    """
    from station.cli.bench_text import show_verification
    from station.cli.opening import open_stoppable
    from station.cli.telling import Teller

    with (
        open_stoppable(ctx) as station,
        station.inspecting(bench_file, where="coilgate bench verify") as inspection,
    ):
        inspection.tell = Teller()
        report = station.verify(
            inspection, operator, references=references, part=part, new_baseline=new_baseline
        )
    show_verification(report, as_json)
    ctx.exit(0 if report.verification.verified else EXIT_FAIL)


@bench.command()
@click.option("--bench", "name", required=True, help="Name of the bench, as its file says.")
@click.option("--characteristic", help="Such as R20, L, B@2mm, 'field gain'; default: all, without a plot.")
@click.option("--nest", help="One nest only.")
@click.option("--plot", "target", type=click.Path(path_type=Path, dir_okay=False), help="Draw to SVG, PNG or PDF.")
@_JSON
@click.pass_context
def chart(
    ctx: click.Context, name: str, characteristic: str | None, nest: str | None, target: Path | None, as_json: bool
) -> None:
    """Show verification values over time: single values and their moving average, with drift warnings.

    Example: coilgate bench chart --bench bench-1 --characteristic R20 --plot R20.svg
    """
    from station.app.drift import series_of
    from station.app.facts import series_fact
    from station.cli.bench_text import show_series
    from station.cli.opening import open_station

    if target is not None and characteristic is None:
        raise click.UsageError("say what is to be drawn: --characteristic R20")
    with open_station(ctx) as station:
        found = series_of(station.records, name, nest=nest, characteristic=characteristic)
    for each in found:
        if as_json:
            emit(series_fact(each))
        else:
            show_series(each)
    if target is not None:
        _draw(found, target)


def _draw(found: "tuple[Series, ...]", target: Path) -> None:
    from station.reports.verification_plots import verification_page

    _save(verification_page(found), target)


def _save(figure: "Figure", target: Path) -> None:
    from station.reports.coil_plots import save_figure

    try:
        save_figure(figure, target)
    except (OSError, ValueError) as error:
        raise click.UsageError(str(error)) from error
    say(f"Drawn: {target}")


@bench.command()
@click.option("--bench", "name", required=True, help="Name of the bench, as its file says.")
@click.option("--nest", help="Which nest; default: the only one.")
@click.option("--probes-changed", is_flag=True, help="Not only cleaned: it got other probes.")
@click.option("--who", required=True, help="Badge code.")
@click.option("--why", required=True, help="In words, for the record.")
@click.pass_context
def cleaned(
    ctx: click.Context, name: str, nest: str | None, probes_changed: bool, who: str, why: str
) -> None:
    """Enter that the fixture of a bench was cleaned, or got other probes; it must be verified anew then.

    Example: coilgate bench cleaned --bench bench-1 --who OP-07 --why "20 000 contacts"
    """
    from station.app.fixture import enter_service
    from station.cli.opening import open_station

    with open_station(ctx) as station:
        done = enter_service(
            station.records, name, who=who, why=why, utc=station.clock.utc_now(), nest=nest, changed=probes_changed
        )
    click.echo(f"{name}, nest {done.nest}: {done.action} at {done.contact_cycles} contacts, {done.fixture_identity}.")
    click.echo("The bench is not verified now. Run the reference units: coilgate bench verify")


@bench.command()
@click.option("--bench", "name", required=True, help="Name of the bench, as its file says.")
@click.option("--nest", help="One nest only.")
@click.option("--plot", "target", type=click.Path(path_type=Path, dir_okay=False), help="Draw to SVG, PNG or PDF.")
@_JSON
@click.pass_context
def contacts(ctx: click.Context, name: str, nest: str | None, target: Path | None, as_json: bool) -> None:
    """Show the contact resistance of each pad over the contacts made, and the cleaning log.

    Example: coilgate bench contacts --bench bench-1 --plot contacts.svg
    """
    from station.app.fixture import contact_trends
    from station.cli.bench_text import show_contacts
    from station.cli.opening import open_station
    from station.errors import RecordError

    with open_station(ctx) as station:
        points = station.records.contact_points(name, nest=nest)
        services = [each for each in station.records.fixture_services(name) if nest in (None, each.nest)]
        if not points:
            raise RecordError(f"{name}: no contacts in {station.records.where}. Look at the name, or at --home.")
    show_contacts(name, contact_trends(points, services), services, points[-1].contact_cycles, as_json)
    if target is not None:
        from station.reports.verification_plots import contact_page

        _save(contact_page(points, services, title=f"{name}: contacts of {len(points)} runs"), target)


@bench.command()
@click.option("--to", "target", type=click.Path(path_type=Path), help="Where the bench file goes.")
@click.option("--seed", default=1, show_default=True, help="Of the bench's errors, the lot and the noise.")
@click.option("--lot", "lot_name", default="L2641", show_default=True, help="The invented lot on the shelf.")
@click.option("--speed", default=1.0, show_default=True, help="Process seconds in a second.")
@click.option("--meter", type=click.Choice(["LCR-A", "LCR-B"]), default="LCR-A", show_default=True)
@click.option("--thermometer", type=click.Choice(["TH-P", "TH-S"]), default="TH-P", show_default=True)
@click.option("--no-stage", is_flag=True, help="A fixture whose operator places spacers.")
@click.option("--plan", "plan_file", type=click.Path(path_type=Path), help="Your plan: coils as it draws them.")
@click.pass_context
def simulate(
    ctx: click.Context,
    target: Path | None,
    seed: int,
    lot_name: str,
    speed: float,
    meter: str,
    thermometer: str,
    no_stage: bool,
    plan_file: Path | None,
) -> None:
    """Serve a simulated bench until stopped (Ctrl-C). Prints the bench file; its path is the first line.

    Any client can talk to it: the addresses are in the file. With a plan of your own, before there is a board: coils
    as it draws them on the shelf, and files of reference units beside the records.

    \b
    Example: coilgate bench simulate --speed 20
             coilgate bench simulate --speed 20 --plan MY.toml
    """
    from station.app.drawn_shelf import forget_references, outside_limits
    from station.app.files import read_plan
    from station.app.simulated import Simulation, served, write_bench_file
    from station.app.station import Station, wait_for_stop
    from station.signals import stop_on_signals
    from station.stop import NestStop

    simulation = Simulation(
        seed=seed,
        lot=lot_name,
        lcr_model=meter,
        thermometer_model=thermometer,
        has_stage=not no_stage,
        references=Station.shipped_references("IS-20"),
        speed=speed,
    )
    plan = None if plan_file is None else read_plan(plan_file)
    folder = None
    if plan is None:
        forget_references(home_of(ctx), "IS-20")
    else:
        simulation, folder = _own_shelf(ctx, plan, simulation)
        for words in outside_limits(plan):
            say(f"{plan.part}: {words}: most units will fail.")
    stop = NestStop()
    with stop_on_signals(stop), served(simulation) as (setup, _, _):
        path = target or home_of(ctx) / f"{setup.name}.toml"
        text = write_bench_file(setup, path)
        click.echo(f"# {path}")
        click.echo(text)
        _say_how(ctx, path, lot_name, plan_file=plan_file, references=folder)
        wait_for_stop(stop)


def _own_shelf(ctx: click.Context, plan: "Plan", simulation: "Simulation") -> "tuple[Simulation, Path]":
    """Put coils as a plan draws them on the shelf; return where the files of their reference units are."""
    from dataclasses import replace

    from station.app.drawn_shelf import drawn_shelf, references_folder, write_references

    design, references = drawn_shelf(plan, lot=simulation.lot)
    folder = write_references(references, references_folder(home_of(ctx), plan.part))
    return replace(simulation, design=design, references=references), folder


def _say_how(
    ctx: click.Context, bench_file: Path, lot_name: str, *, plan_file: Path | None, references: Path | None
) -> None:
    from station.data import data_path

    home = ctx.find_root().obj
    start = "coilgate" if home is None else f"coilgate --home {home}"
    plan = plan_file or data_path("plans/IS-20.toml")
    with_references = "" if references is None else f" --references {references}"
    say("Serving; stop with Ctrl-C. In another terminal, the first time:")
    say(f'  {start} plan release {plan} --who EN-02 --why "first release"')
    say(f"  {start} bench verify --bench {bench_file} --operator OP-07{with_references}")
    say("then, for each unit:")
    say(f"  {start} unit measure {lot_name}-01-A01 --bench {bench_file} --operator OP-07")


@bench.command()
@click.argument("name")
@click.option("--who", required=True, help="Badge code of who looked at the source.")
@click.option("--why", required=True, help="What was seen: is the drive off?")
@click.pass_context
def clear(ctx: click.Context, name: str, who: str, why: str) -> None:
    """Clear the latch "drive state unknown" of a bench, after looking at its source.

    CAUTION: the coil may be live and hot. Switch the source off by hand first.

    Example: coilgate bench clear bench-1 --who EN-02 --why "source switched off and on"
    """
    from station.bench import clear_latch

    clear_latch(home_of(ctx), name, who=who, why=why)
    click.echo(f"{name}: the latch is cleared.")


bench.add_command(soak_table)
