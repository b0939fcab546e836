"""`coilgate unit`: measure, show, release held ones."""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.copper import unit_copper_command
from station.cli.explain import unit_explain
from station.cli.main import EXIT_COULD_NOT, EXIT_FAIL
from station.cli.output import decision_text, emit, result_text, say, table
from station.cli.reports import unit_certificate
from station.cli.unit_tray import unit_place, unit_take_out, unit_tray

if TYPE_CHECKING:
    from station.app.sorting import Sorting
    from station.core.places import Place
    from station.core.run_record import RunRecord
    from station.inspection import Inspection, Request
    from station.records.views import LaterDecision, RunSummary
    from station.stop import NestStop


@click.group()
def unit() -> None:
    """Units: measure them, show what is on record, release held ones."""


unit.add_command(unit_copper_command)
unit.add_command(unit_explain)
unit.add_command(unit_certificate)
for _command in (unit_place, unit_take_out, unit_tray):
    unit.add_command(_command)


@unit.command()
@click.argument("serials", nargs=-1, metavar="SERIAL... | -")
@click.option("--panel", default="", help="Panel's code instead of serials: its open places, row by row.")
@click.option("--bench", "bench_file", type=click.Path(path_type=Path), help="Bench file. Never by default.")
@click.option("--plan", "plan_file", type=click.Path(path_type=Path), help="Plan file; default: by serial.")
@click.option("--operator", default="", help="Badge code, such as OP-07.")
@click.option(
    "--purpose",
    type=click.Choice(["production", "engineering", "study"]),
    default="production",
    show_default=True,
    help="Only production runs can pass a unit.",
)
@click.option("--lot", default="", help="Take only units of this lot.")
@click.option("--repeat", is_flag=True, help="Measure units again that are judged already.")
@click.option(
    "--tray",
    "trays",
    multiple=True,
    help="Tray for units that pass (T7), or for one bin (2=T8); pockets count up. May be given again, or scanned.",
)
@click.option("--load-timeout", default=300.0, show_default=True, help="Seconds to wait for each unit.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line on standard output.")
@click.pass_context
def measure(
    ctx: click.Context,
    serials: tuple[str, ...],
    panel: str,
    bench_file: Path | None,
    plan_file: Path | None,
    operator: str,
    purpose: str,
    lot: str,
    repeat: bool,
    trays: tuple[str, ...],
    load_timeout: float,
    as_json: bool,
) -> None:
    """Measure units: scan, load, run, decision, bin; with a tray also the pocket, which goes on record.

    Serials come as arguments, or from the scanner (one a line) with "-". The scan of a tray's label between two
    units takes up that tray. With --panel, for coils without codes of their own, each place is asked for in turn;
    what is decided or missing already is left out; it ends at a unit that was not measured.

    \b
    Example: coilgate unit measure L2641-01-A01 --bench bench-1.toml --operator OP-07
             coilgate unit measure - --bench bench-1.toml --operator OP-07 --tray T7
             coilgate unit measure --panel L2641-01 --bench bench-1.toml --operator OP-07
    Exit code: 0 all pass, 1 a unit is FAIL, 2 one was not measured or refused.
    """
    if bench_file is None:
        raise click.UsageError(
            "no bench is taken by default. Say which: --bench FILE\n"
            "For a simulated one, run in another terminal: coilgate bench simulate"
        )
    if bool(serials) == bool(panel):
        raise click.UsageError("say which units: SERIAL..., - for a scanner, or --panel CODE")
    from station.app.panel_walk import PanelWalk
    from station.app.sorting import Sorting
    from station.cli.opening import open_stoppable
    from station.cli.telling import Teller
    from station.core.places import read_tray
    from station.core.run_record import Purpose
    from station.inspection import Request

    for each in trays:
        read_tray(each)  # before a bench is taken
    request = Request(operator, Purpose(purpose), lot, repeat, load_timeout)
    with (
        open_stoppable(ctx) as station,
        station.inspecting(bench_file, plan_file=plan_file, where="coilgate unit measure") as inspection,
    ):
        inspection.tell = Teller()
        sorting = Sorting(station.records, station.clock.utc_now, trays=trays)
        inspection.place = sorting.place
        walk = PanelWalk(station.records, station.clock.utc_now)
        plans = [each.plan for each in inspection.plans]
        scans = walk.open_serials(panel, plans, lot=lot) if panel else _scans(serials, station.stop)
        worst = _measure_all(inspection, scans, request, sorting, as_json, in_order=bool(panel))
        if panel:
            say(f"panel {panel}: {walk.take_up(panel, plans, lot=lot).words}")
    ctx.exit(worst)


def _measure_all(
    inspection: "Inspection",
    scans: Iterable[str],
    request: "Request",
    sorting: "Sorting",
    as_json: bool,
    *,
    in_order: bool,
) -> int:
    """`in_order`: the place alone says which unit it is. A unit that is seated again must not be taken for the next."""
    from drivers.errors import InstrumentError
    from station.app.panel_walk import stays
    from station.core.scans import ScanKind, recognise
    from station.errors import NestBusy, SerialError

    plans = [each.plan for each in inspection.plans]
    worst = 0
    for scan in scans:
        found = recognise(scan, plans)
        if found.kind is ScanKind.TRAY:
            say(sorting.use(found.text))
            continue
        try:
            record = inspection.inspect(scan, request)
        except (SerialError, NestBusy, InstrumentError) as error:
            worst = EXIT_COULD_NOT
            _show_refusal(scan, str(error), as_json)
            if in_order:
                _say_stays(scan)
                break
            continue
        worst = max(worst, _exit_code(record))
        _show(record, as_json, place=sorting.last)
        if not record.drive_off_verified:
            break
        if in_order and stays(record):
            _say_stays(scan)
            break
    return worst


def _say_stays(serial: str) -> None:
    say(f"{serial} was not measured: its place comes first when this command is run again.")


def _exit_code(record: "RunRecord") -> int:
    from station.core.results import Decision

    return {Decision.PASS: 0, Decision.FAIL: EXIT_FAIL, Decision.INVALID: EXIT_COULD_NOT}[record.decision]


def _scans(serials: tuple[str, ...], stop: "NestStop") -> Iterator[str]:
    from station.cli.scans import Scans

    for each in serials:
        if each != "-":
            yield each
            continue
        yield from (line for line in Scans(stop).lines() if line.strip())


def _show_refusal(scan: str, words: str, as_json: bool) -> None:
    shown = scan[:60]
    if as_json:
        emit({"serial": shown, "decision": None, "refused": words})
    say(f"refused: {words}")


def _again(later: "LaterDecision") -> str:
    """Say a later decision: it is what counts, and where the unit goes."""
    how = f"accepted by concession {later.concession}" if later.concession else decision_text(later.decision)
    when = later.decided_utc.isoformat(" ", "minutes")
    return f"decided again: {how}, bin {later.bin_number} ({later.bin_name}), {when} by {later.who}: {later.why}"


def _show(record: "RunRecord", as_json: bool, *, place: "Place | None" = None, again: bool = False) -> None:
    from station.app.facts import run_fact
    from station.core.places import NOWHERE
    from station.inspection import next_action

    place = place or NOWHERE
    if as_json:
        emit(run_fact(record) | {"tray": place.tray or None, "pocket": place.pocket or None})
        return
    serial = record.opened.unit.serial
    where = f"bin {record.bin_number} ({record.bin_name})"
    click.echo(f"{serial}  {decision_text(record.decision)}  {where}")
    marks = {each.characteristic: each for each in record.judgements}
    for result in record.results:
        judgement = marks.get(result.characteristic)
        words = "" if judgement is None or judgement.decision is None else decision_text(judgement.decision)
        conditional = "conditional" if judgement is not None and judgement.conditional else ""
        click.echo(f"  {result.characteristic:<14} {result_text(result):<28} {words} {conditional}".rstrip())
    if record.reason is not None:
        click.echo(f"  because {record.reason.words}")
    if not again:  # else the bin is another one, and stands with the decision that counts
        click.echo(f"  next: {next_action(record, place=place)}")


@unit.command()
@click.argument("serial")
@click.option("--messages", is_flag=True, help="Also the raw messages of the last run.")
@click.option("--budget", is_flag=True, help="Also the uncertainty budget of each result of the last run.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object, raw messages included.")
@click.pass_context
def show(ctx: click.Context, serial: str, messages: bool, budget: bool, as_json: bool) -> None:
    """Show what is on record of a unit: its runs, and the last one whole.

    \b
    Example: coilgate unit show L2641-01-A01
    How sure each result is, and why: coilgate unit show L2641-01-A01 --budget
    """
    from station.app.budgets import budgets_fact, budgets_of
    from station.app.facts import later_fact, run_fact
    from station.cli.budget_text import show_budgets
    from station.cli.opening import open_station
    from station.core.places import Place
    from station.errors import RecordError
    from station.records.placings import placing_of

    with open_station(ctx) as station:
        summaries = station.records.runs_of(serial)
        closed = [each for each in summaries if each.decision is not None]
        if not closed:
            raise RecordError(
                f"{serial}: no run on record in {station.records.where}. Look at the serial, or at --home."
            )
        record = station.records.run(closed[-1].run_id)
        lies = placing_of(station.records, serial)
        later = station.records.later_decisions(record.opened.run_id)
    if as_json:
        where = None if lies is None else {"tray": lies.tray, "pocket": lies.pocket}
        budgets = budgets_fact(budgets_of(record.results)) if budget else {}
        runs = {"runs": [_summary(each) for each in summaries], "lies_in": where}
        runs["later_decisions"] = [later_fact(each) for each in later]
        emit(run_fact(record, messages=True) | runs | budgets)
        return
    _show(record, False, place=None if lies is None else Place(lies.tray, lies.pocket), again=bool(later))
    for each in later:
        click.echo(f"  {_again(each)}")
    click.echo(f"  plan {record.opened.plan_hash[:12]}  run {record.opened.run_id}")
    rows = [
        (each.opened_utc.isoformat(" ", "seconds"), each.purpose.value, _said(each)) for each in summaries
    ]
    click.echo(table(("opened (UTC)", "purpose", "decision"), rows))
    if budget:
        show_budgets(budgets_of(record.results))
    if messages:
        for message in record.transcript:
            arrow = ">" if message.direction == "out" else "<"
            click.echo(f"{message.monotonic_s:12.4f} {message.instrument} {arrow} {message.data!r}")


def _summary(summary: "RunSummary") -> dict[str, object]:
    return {
        "run": summary.run_id,
        "opened_utc": summary.opened_utc.isoformat(),
        "purpose": summary.purpose.value,
        "decision": None if summary.decision is None else summary.decision.value,
        "bin": summary.bin_number,
        "held": summary.held,
        "concession": summary.concession or None,
    }


def _said(summary: "RunSummary") -> str:
    if summary.decision is None:
        return "open"
    bin_text = "" if summary.bin_number is None else f"  bin {summary.bin_number} ({summary.bin_name})"
    held = "  held" if summary.held else ""
    conceded = f"  accepted by concession {summary.concession}" if summary.concession else ""
    return f"{decision_text(summary.decision)}{bin_text}{held}{conceded}"


@unit.command()
@click.argument("serial")
@click.option("--reason", "reason_code", required=True, help="Reason code, such as reseated or recleaned.")
@click.option("--who", required=True, help="Badge code of the engineer.")
@click.option("--why", required=True, help="In words, for the record.")
@click.pass_context
def release(ctx: click.Context, serial: str, reason_code: str, who: str, why: str) -> None:
    """Release a held unit, so that it may be measured again.

    Example: coilgate unit release L2641-01-A07 --reason reseated --who EN-02 --why "pads cleaned"
    """
    from station.cli.opening import open_station

    with open_station(ctx) as station:
        station.records.release_held(
            serial, reason_code=reason_code, who=who, why=why, utc=station.clock.utc_now()
        )
    click.echo(f"{serial} is released: scan it again.")

