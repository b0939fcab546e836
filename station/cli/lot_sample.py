"""`coilgate lot sample`: which units of a lot to inspect, after ISO 2859-1, drawn at random and put on record."""

import secrets
from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.gauge_files import check_plot, text_of
from station.cli.lot_options import AS_JSON, PLOT, draw, statistics_of
from station.cli.output import emit

if TYPE_CHECKING:
    from station.app.lot_sampling import Draw

_PROBABILITIES = (0.95, 0.5, 0.1)


@click.command(short_help="Draw units to inspect (ISO 2859-1).")
@click.argument("name", metavar="LOT")
@click.option(
    "--serials",
    "file",
    type=click.Path(path_type=Path, allow_dash=True),
    required=True,
    help="Text with a serial a line: all units received; `-`: standard input.",
)
@click.option("--aql", type=float, required=True, help="Acceptance quality limit, percent nonconforming: 1.0.")
@click.option(
    "--level",
    type=click.Choice(["S-1", "S-2", "S-3", "S-4", "I", "II", "III"]),
    default="II",
    show_default=True,
    help="Inspection level.",
)
@click.option("--severity", type=click.Choice(["normal", "tightened", "reduced"]), default="normal", show_default=True)
@click.option("--seed", help="To repeat a recorded draw; a new one is made up otherwise.")
@click.option("--record", is_flag=True, help="Put the draw on record, before anybody looks at the units.")
@click.option("--who", help="Badge code, with --record.")
@click.option("--why", help="In words, with --record.")
@AS_JSON
@PLOT
@click.pass_context
def sample(
    ctx: click.Context,
    name: str,
    file: Path,
    aql: float,
    level: str,
    severity: str,
    seed: str | None,
    record: bool,
    who: str | None,
    why: str | None,
    as_json: bool,
    plot: Path | None,
) -> None:
    """Draw the units of a received lot that are inspected, and say with how many nonconforming ones it is accepted.

    Single sampling by attributes, ISO 2859-1:1999. The draw follows from the seed alone, so that it can be repeated.
    --plot draws the operating characteristic.

    Example: coilgate lot sample L2641 --serials L2641.txt --aql 1.0 --record --who EN-02 --why "incoming"
    """
    from station.app.lot_sampling import draw_sample, record_draw
    from station.quality.sampling_tables import Severity

    check_plot(plot)
    if record and not (who and why):
        raise click.UsageError("--record needs --who and --why.")
    if record and seed is not None:
        raise click.UsageError("--seed repeats a draw; one that is put on record has a seed that nobody chose.")
    serials = [line.strip() for line in text_of(file).splitlines() if line.strip()]
    with statistics_of(f"{file}"):
        drawn = draw_sample(
            serials,
            name,
            seed=seed or secrets.token_hex(8),
            aql_percent=aql,
            level=level,
            severity=Severity(severity),
        )
    if record:
        from station.cli.opening import open_station

        with open_station(ctx) as station:
            record_draw(station.records, drawn, who=who or "", why=why or "", utc=station.clock.utc_now())
    _draw_characteristic(drawn, plot)
    if as_json:
        emit(_fact(drawn, record))
        return
    click.echo(_text(drawn, record))


def _draw_characteristic(drawn: "Draw", target: Path | None) -> None:
    if target is None:
        return
    import numpy as np

    from station.quality.sampling import acceptance_probability, fraction_at
    from station.reports.lot_plots import characteristic_page

    shares = np.linspace(0.0, min(1.0, 1.3 * fraction_at(drawn.plan, 0.02)), 201)
    probabilities = acceptance_probability(drawn.plan, shares)
    title = f"lot {drawn.lot}, n = {drawn.plan.sample_size}, Ac = {drawn.plan.acceptance_number}"
    draw(target, lambda: characteristic_page(shares, probabilities, aql=drawn.plan.aql_percent, title=title))


def _fact(drawn: "Draw", recorded: bool) -> dict[str, object]:
    from station.quality.sampling import fraction_at

    plan = drawn.plan
    return {
        "lot": drawn.lot,
        "lot_size": plan.lot_size,
        "standard": "ISO 2859-1:1999, single sampling",
        "aql_percent": plan.aql_percent,
        "level": plan.level,
        "severity": plan.severity.value,
        "letter": plan.letter,
        "sample_size": plan.sample_size,
        "acceptance_number": plan.acceptance_number,
        "rejection_number": plan.rejection_number,
        "tables_checked": plan.checked,
        "tables_basis": plan.basis.value,
        "fraction_accepted_with": {str(p): fraction_at(plan, p) for p in _PROBABILITIES},
        "seed": drawn.seed,
        "serials": list(drawn.serials),
        "recorded": recorded,
        "population": f"all {drawn.listed} listed units of lot {drawn.lot}",
    }


def _text(drawn: "Draw", recorded: bool) -> str:
    from station.quality.sampling import fraction_at

    plan = drawn.plan
    risks = ", ".join(f"{p:.0%} at {fraction_at(plan, p):.2%} nonconforming" for p in _PROBABILITIES)
    accept, reject = plan.acceptance_number, plan.rejection_number
    lines = [
        f"Lot {drawn.lot}: inspect {plan.sample_size} of {plan.lot_size} units (letter {plan.letter}, "
        f"AQL {plan.aql_percent:g} %, level {plan.level}, {plan.severity.value}).",
        f"Accept the lot with {accept} nonconforming or fewer; not with {reject} or more.",
        f"Probability of acceptance: {risks}.",
    ]
    if not plan.checked:
        lines.append(
            f"This part of the tables {plan.basis.value}: look it up in the standard before a contract rests on it."
        )
    lines += ["", *drawn.serials, "", f"Seed {drawn.seed}. {'On record.' if recorded else 'Not on record: --record.'}"]
    return "\n".join(lines)
