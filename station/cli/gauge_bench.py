"""`coilgate gauge measure` and `show`: a gauge study on the bench, guided, and what it came to."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.main import home_of
from station.cli.output import emit, say

if TYPE_CHECKING:
    from station.app.station import Station
    from station.app.study_desk import Desk, SimulatedDesk
    from station.cli.study_desk import ScannedDesk
    from station.core.equipment import Bench
    from station.inspection import Hands, Inspection
    from station.quality.study_state import StudyState
    from station.records import Records
    from station.stop import NestStop

_TO = click.option(
    "--to",
    "target",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Readings as a .csv file; of several characteristics each in a file with its name added.",
)
_REPORT = click.option(
    "--report", type=click.Path(dir_okay=False, path_type=Path), help="Report as .pdf or .html; of several, each."
)
_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")


@click.command(short_help="Study on the bench: it says which unit to load.")
@click.argument("units", nargs=-1, metavar="[SERIAL...]")
@click.option("--bench", "bench_file", type=click.Path(path_type=Path), help="Bench file. Never by default.")
@click.option("--method", default="", help="What is studied: all that this method of the plan yields.")
@click.option("--characteristic", "characteristics", multiple=True, help="Or by name, such as R20; of one method.")
@click.option("--appraiser", "appraisers", multiple=True, help="Badge code; give one for each.")
@click.option("--trials", type=click.IntRange(2, 100), help="Of each unit by each appraiser. Default: 3; one unit: 25.")
@click.option("--seed", type=int, help="Of the order of loading. Default: drawn, and put on record.")
@click.option("--plan", "plan_file", type=click.Path(path_type=Path), help="Plan file; default: by serial.")
@click.option(
    "--references",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder of reference units' files, for a study of one; default: the invented ones (simulated benches only).",
)
@click.option("--who", default="", help="Badge code of who opens the study. Default: the first appraiser.")
@click.option("--why", default="", help="What the study is made for, such as 'new probes'. Goes on record.")
@click.option("--resume", "name", metavar="STUDY", help="Go on with a study that was broken off.")
@click.option("--load-timeout", default=300.0, show_default=True, help="Seconds to wait for each unit.")
@click.option("--simulated-operator", is_flag=True, help="Nobody scans: the simulated operator does all.")
@_TO
@_REPORT
@_JSON
@click.pass_context
def measure(
    ctx: click.Context,
    units: tuple[str, ...],
    bench_file: Path | None,
    method: str,
    characteristics: tuple[str, ...],
    appraisers: tuple[str, ...],
    trials: int | None,
    seed: int | None,
    plan_file: Path | None,
    references: Path | None,
    who: str,
    why: str,
    name: str | None,
    load_timeout: float,
    simulated_operator: bool,
    target: Path | None,
    report: Path | None,
    as_json: bool,
) -> None:
    """Make a gauge study on the bench: it says which unit to load next, and shows no reading before the last.

    Crossed (two units or more): every appraiser measures every unit equally often, each in a random order of their
    own, by badge; the unit is unloaded and loaded again for each reading. 10 units that spread as production does, 3
    appraisers and 3 trials are usual. Type 1 (one reference unit): one appraiser, against its assigned value.

    A run that gives no reading is repeated. Broken off (Ctrl-C, a power cut), the study goes on with --resume. Its runs
    are no production: no lot's figures change.

    \b
    Example: coilgate gauge measure L2641-01-A01 L2641-01-D07 L2641-02-H12 --method resistance
                 --appraiser OP-07 --appraiser OP-09 --bench bench-1.toml
    """
    from station.app.study_begin import StudyWanted, begin_study
    from station.app.study_records import study
    from station.cli.opening import open_stoppable

    _check_targets(target, report)
    if name and (units or appraisers or method or characteristics or trials or seed is not None):
        raise click.UsageError(f"--resume {name}: the study is on record as it was begun; leave the rest out.")
    wanted = StudyWanted(units, appraisers, method, characteristics, trials, seed, who, why, references)
    with open_stoppable(ctx) as station:
        state = study(station.records, name) if name else None
        if state is None or not state.complete:
            setup = _bench(bench_file)
            desk = _desk(setup, station.stop, simulated_operator)
            # People who load units also place spacers, and say so where they scan.
            hands = None if setup.operator_address else _hands(desk)
            with station.inspecting(
                setup, plan_file=plan_file, where="coilgate gauge measure", hands=hands
            ) as inspection:
                state = begin_study(station.records, inspection, wanted) if state is None else state
                state = _take(
                    ctx, station, inspection, state, desk=desk, load_timeout_s=load_timeout, bench_file=bench_file
                )
        _show(station.records, state, target or _own_place(ctx, state), report, as_json)


@click.command(short_help="Studies on record; one, with its results.")
@click.argument("name", metavar="[STUDY]", required=False)
@_TO
@_REPORT
@_JSON
@click.pass_context
def show(
    ctx: click.Context, name: str | None, target: Path | None, report: Path | None, as_json: bool
) -> None:
    """List the gauge studies that were made on benches, or show one with its results.

    Readings of a study that is not finished stay hidden.

    Example: coilgate gauge show G0001 --to readings.csv --report study.pdf
    """
    from station.app.study_records import studies, study
    from station.cli.gauge_bench_text import studies_table, study_fact
    from station.cli.opening import open_station

    _check_targets(target, report)
    with open_station(ctx) as station:
        if name:
            _show(station.records, study(station.records, name), target, report, as_json)
            return
        found = studies(station.records)
    if as_json:
        emit({"studies": [study_fact(each) for each in found]})
    else:
        click.echo(studies_table(found) if found else "No gauge study is on record yet.")


def _bench(bench_file: Path | None) -> "Bench":
    from station.app.files import read_bench

    if bench_file is None:
        raise click.UsageError(
            "no bench is taken by default. Say which: --bench FILE\n"
            "For a simulated one, run in another terminal: coilgate bench simulate"
        )
    return read_bench(bench_file)


def _desk(bench: "Bench", stop: "NestStop", simulated: bool) -> "ScannedDesk | SimulatedDesk":
    from station.app.study_desk import SimulatedDesk
    from station.cli.study_desk import ScannedDesk

    if not simulated:
        return ScannedDesk(stop)
    if not bench.operator_address:
        raise click.UsageError(f"--simulated-operator: {bench.name} has none; people load its units.")
    return SimulatedDesk(say)


def _hands(desk: "ScannedDesk | SimulatedDesk") -> "Hands | None":
    from station.app.hands import ToldHands
    from station.cli.study_desk import ScannedDesk

    return ToldHands(desk.confirm) if isinstance(desk, ScannedDesk) else None


def _take(
    ctx: click.Context,
    station: "Station",
    inspection: "Inspection",
    state: "StudyState",
    *,
    desk: "Desk",
    load_timeout_s: float,
    bench_file: Path | None,
) -> "StudyState":
    """Take what is left of a study; whatever breaks it off, say how to go on."""
    from drivers.stop import Stopped
    from station.app.study_begin import words_of_size, words_of_study
    from station.app.study_sitting import open_sitting, take_readings
    from station.cli.main import EXIT_COULD_NOT
    from station.cli.telling import Teller

    sitting = open_sitting(station.records, inspection, state, Teller(), load_timeout_s=load_timeout_s)
    setup = state.setup
    say(f"Study {setup.name}: {words_of_study(state)}.")
    say(f"The bench: {setup.bench_state}. {len(state.steps) - len(state.taken)} readings to take; they stay hidden.")
    if small := words_of_size(setup):
        say(small)
    done = False
    try:
        take_readings(sitting, desk)
        done = True
    except Stopped as stopped:
        say(f"Stopped: {stopped}.")
        ctx.exit(EXIT_COULD_NOT)
    finally:
        if not done:
            say(f"Study {setup.name}: {len(sitting.state.taken)} of {len(state.steps)} readings are on record.")
            home = ctx.find_root().obj
            start = "coilgate" if home is None else f"coilgate --home {home}"
            say(f"Go on: {start} gauge measure --resume {setup.name} --bench {bench_file}")
    return sitting.state


def _show(
    records: "Records", state: "StudyState", target: Path | None, report: Path | None, as_json: bool
) -> None:
    from station.app.study_results import finished_study, write_study
    from station.cli.gauge_bench_text import study_fact, study_text

    finished = finished_study(records, state)
    if target is not None:
        for path in write_study(finished, target):
            say(f"{path}: {len(state.steps)} readings.")
    if report is not None:
        from station.app.study_reports import write_reports

        for path in write_reports(finished, report):
            say(f"{path}: report.")
    if as_json:
        emit(study_fact(state, finished.results))
    else:
        click.echo(study_text(finished))


def _check_targets(target: Path | None, report: Path | None) -> None:
    if target is not None and target.suffix.lower() != ".csv":
        raise click.UsageError(f"--to {target}: readings go to a file .csv.")
    if report is not None and report.suffix.lower() not in (".pdf", ".html"):
        raise click.UsageError(f"--report {report}: a report ends in .pdf or .html.")


def _own_place(ctx: click.Context, state: "StudyState") -> Path:
    folder = home_of(ctx) / "reports"
    folder.mkdir(parents=True, exist_ok=True)
    return folder / f"{state.setup.name}.csv"
