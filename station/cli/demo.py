"""`coilgate demo`: an invented lot, measured live on a simulated bench."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.main import home_of
from station.cli.output import MARKS, WORDS, result_text, say

if TYPE_CHECKING:
    from station.app.demo import Demo
    from station.core.run_record import RunRecord


@click.command()
@click.option("--home", "own_home", type=click.Path(file_okay=False, path_type=Path), help="Folder to use.")
@click.option("--units", default=64, show_default=True, type=click.IntRange(60, 240), help="How many units.")
@click.pass_context
def demo(ctx: click.Context, own_home: Path | None, units: int) -> None:
    """Measure a lot of an invented coil on a simulated bench, at a hundred times the speed.

    Real sockets and serial lines, simulated instruments, a few seeded defects, a double scan and an unplugged
    meter. Everything is invented; nothing is driven.

    Example: coilgate demo
    """
    from station.app.demo import Demo

    home = _demo_home(ctx, own_home)
    script = Demo(home, units=units)
    _run_live(script, units)
    _show_lot(home, units)


def _demo_home(ctx: click.Context, own_home: Path | None) -> Path:
    if own_home is not None:
        return own_home
    if ctx.find_root().obj is not None:
        return Path(ctx.find_root().obj)
    return home_of(ctx) / "demo"


def _run_live(script: "Demo", units: int) -> None:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    from station.app.demo import Refused

    console = Console(stderr=True, soft_wrap=True, highlight=False)
    say(f"Lot L2641 of the invented part IS-20: {units} units on a simulated bench. Nothing real is driven.")
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, disable=not console.is_terminal) as progress:
        task = progress.add_task("verifying the bench", total=units)
        seen: set[str] = set()
        for outcome in script.run():
            if isinstance(outcome, Refused):
                progress.console.print(f"{outcome.scan}  refused: {outcome.words}", style="yellow")
                continue
            serial = outcome.opened.unit.serial
            seen.add(serial)
            progress.console.print(_line(outcome))
            progress.update(task, completed=len(seen), description=f"measuring {serial}")
        progress.update(task, description="done")


def _line(record: "RunRecord") -> str:
    by_name = {each.characteristic: each for each in record.results}
    colour = {"PASS": "green", "FAIL": "red", "INVALID": "yellow"}[record.decision.value]
    word = f"[{colour}]{MARKS[record.decision]} {WORDS[record.decision]:<12}[/]"
    values = "  ".join(
        f"{name} {result_text(by_name[name]):<21}" for name in ("R20", "L", "B@2mm") if name in by_name
    )
    if record.decision.value == "PASS":
        return f"{record.opened.unit.serial}  {word} bin {record.bin_number:<3} {values}"
    words = record.reason.words if record.reason else ""
    return f"{record.opened.unit.serial}  {word} bin {record.bin_number:<3} {words}"


def _show_lot(home: Path, units: int) -> None:
    from station.app.demo import LOT, demo_serials, write_demo_papers
    from station.app.station import Station
    from station.cli.lot_text import lot_text

    with Station.open(home) as station:
        click.echo(lot_text(station.records.lot_summary(LOT), station.records.lot_values(LOT, "R20")))
        where = station.records.where
        papers = write_demo_papers(station, home / "reports")
    click.echo()
    click.echo(f"Records:    {where}")
    click.echo(f"Bench file: {home / 'bench-1.toml'} (its simulated bench has ended)")
    for what, file in papers:
        click.echo(f"{what + ':':<11} {file}")
    click.echo("Next:")
    click.echo(f"  coilgate --home {home} unit show {demo_serials(units)[0]}")
    click.echo(f"  coilgate --home {home} lot export L2641 --to L2641.csv")
    click.echo(f"  coilgate --home {home} unit tray T2")

