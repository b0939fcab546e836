"""`coilgate bench soak-table`: how early a heating may be stopped, against curves whose truth is known."""

from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from station.cli.output import emit, say, table

if TYPE_CHECKING:
    from station.app.soak_table import SoakTable

_HEADERS = ("curves", "rule", "stop", "rms K", "false %", "cover %", "saved %", "not met %", "us/sample")


@click.command("soak-table")
@click.option(
    "--curves", default=2000, show_default=True, type=click.IntRange(1, 100_000), help="Curves of each kind."
)
@click.option("--seed", default=1, show_default=True, help="Of curves and noise.")
@click.option("--workers", type=click.IntRange(1, 256), help="Processes; default: one a core.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line on standard output.")
def soak_table(curves: int, seed: int, workers: int | None, as_json: bool) -> None:
    """Print where each rule stops a heating, and how often it is wrong. No bench is used.

    Simulated curves of 15 to 40 K, noise 0.1 K at 5 samples a second.

    Example: coilgate bench soak-table --curves 2000
    """
    from station.app.soak_table import soak_table as study

    found = study(curves, seed=seed, workers=workers, tell=_tell)
    if as_json:
        for row in found.rows:
            emit({"kind": "stops", **asdict(row)})
        for audit in found.audits:
            emit({"kind": "audit", **asdict(audit)})
        return
    _show(found, curves)


def _tell(done: int, total: int) -> None:
    if done == total or done % max(1, total // 10) == 0:
        say(f"{100 * done // total} %")


def _show(found: "SoakTable", curves: int) -> None:
    rows = []
    for row in found.rows:
        coverage = "-" if row.coverage_fraction is None else f"{100 * row.coverage_fraction:.1f}"
        rows.append(
            (
                row.family,
                row.rule,
                f"{row.stop_time_constants:.2f}",
                f"{row.rms_k:.2f}",
                f"{100 * row.false_fraction:.2f}",
                coverage,
                f"{100 * row.saved_fraction:.0f}",
                f"{100 * row.not_met_fraction:.1f}",
                f"{1e6 * row.cost_s:.0f}" if row.cost_s else "-",
            )
        )
    click.echo(f"{curves} curves of each kind; stop in main time constants of the thermal model (about 15 s).")
    click.echo("false: off by more than 0.5 K, or 1 % of the rise; plateau: change in 10 s below 0.15 K.\n")
    click.echo(table(_HEADERS, rows))
    click.echo("\nFull-soak audit, 1 in 25 and the first, rule 0.5 K:\n")
    headers = ("lot", "units", "stopped early", "wrong", "wrong without audit", "revoked at unit")
    lines = [
        (a.name, str(a.units), str(a.early), str(a.wrong), str(a.wrong_without_audit), str(a.revoked_at or "-"))
        for a in found.audits
    ]
    click.echo(table(headers, lines))
