"""`coilgate sets`: put units together that match; which ones, how well, and on record when asked."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.output import emit, say
from station.cli.sets_assemble import assemble
from station.cli.sets_drive import drive
from station.cli.sets_paper import dissolve, labels, pick

if TYPE_CHECKING:
    from station.app.matching import Candidates
    from station.quality.sets import MatchedSets

_LOTS = click.argument("lots", metavar="LOT...", nargs=-1, required=True)
_SIZE = click.option("--size", type=click.IntRange(2, 100), help="Units in a set; default: the control plan's.")
_TOLERANCE = click.option(
    "--tolerance",
    "tolerances",
    multiple=True,
    help="How closely the units of a set agree: 'R20=1 %' (largest over smallest), 'L=0.1 uH' (largest less smallest); "
    "may be given again; default: the control plan's.",
)
_AS_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")


@click.group()
def sets() -> None:
    """Matched sets: units that agree, most sets first, then tightest; and the drive of each unit of a set."""


sets.add_command(assemble)
sets.add_command(drive)
sets.add_command(pick)
sets.add_command(labels)
sets.add_command(dissolve)


@sets.command()
@_LOTS
@_SIZE
@_TOLERANCE
@click.option("--leftovers", is_flag=True, help="Also what earlier lots of the part have left over from their sets.")
@click.option("--record", is_flag=True, help="Put the sets on record; without it they are only proposed.")
@click.option("--who", help="Badge code, with --record.")
@click.option("--why", help="In words, with --record.")
@click.option("--to", "target", type=click.Path(path_type=Path), help="Pick list as a .csv file, a row a unit.")
@_AS_JSON
@click.pass_context
def make(
    ctx: click.Context,
    lots: tuple[str, ...],
    size: int | None,
    tolerances: tuple[str, ...],
    leftovers: bool,
    record: bool,
    who: str | None,
    why: str | None,
    target: Path | None,
    as_json: bool,
) -> None:
    """Propose matched sets of the good units of a lot, or of several; units in recorded sets are left out.

    Size and tolerances come from the part's control plan, or from the options. Optimal for one tolerance; for several
    near-optimal, and the text says how many sets could be made at most. Units agree by their measured values. What is
    left over is for the next lot: --leftovers takes it in, or name both lots.

    \b
    Example: coilgate sets make L2641
             coilgate sets make L2642 --leftovers --to pick.csv
             coilgate sets make L2641 L2642 --size 3 --tolerance "R20=1 %" --tolerance "B@2mm=1 %"
    """
    from station.app.matching import candidates, propose, record_sets, set_names
    from station.app.pick_list import proposed_picks, write_pick_list
    from station.app.set_wish import lots_with_leftovers, set_wish
    from station.cli.lot_options import statistics_of
    from station.cli.opening import open_station
    from station.errors import StationError
    from station.records.placings import lot_pockets

    if record and not (who and why):
        raise click.UsageError("--record needs --who and --why.")
    if len(set(lots)) < len(lots):
        raise click.UsageError("name each lot once.")
    if target is not None and target.suffix.lower() != ".csv":
        raise StationError(f"{target}: a pick list ends in .csv.")
    with open_station(ctx) as station:
        wish = set_wish(station.records, lots, size=size, tolerances=tolerances)
        if leftovers:
            lots = lots_with_leftovers(station.records, lots)
        units = candidates(station.records, lots, wish.tolerances)
        with statistics_of(", ".join(lots)):
            found = propose(units, wish.size)
        if record:
            names = record_sets(
                station.records, units, found, who=who or "", why=why or "", utc=station.clock.utc_now()
            )
        else:
            names = set_names(station.records, lots[-1], len(found.sets))
        pockets = {} if target is None else lot_pockets(station.records, lots)
    if target is not None:
        picks = proposed_picks(units, found, names, pockets)
        write_pick_list(target, picks, units.quantities)
        say(f"{target}: {len(picks)} units.")
    if as_json:
        emit(_fact(units, found, names, record) | {"asked": wish.source})
        return
    from station.cli.sets_text import sets_text

    click.echo(sets_text(units, found, names, recorded=record, asked=wish.source))


@sets.command()
@_LOTS
@_SIZE
@_TOLERANCE
@_AS_JSON
@click.pass_context
def classes(
    ctx: click.Context, lots: tuple[str, ...], size: int | None, tolerances: tuple[str, ...], as_json: bool
) -> None:
    """Classes of one characteristic so narrow that any units of a class make a set: for picking without a list.

    Size and tolerance come from the part's control plan, or from the options.

    Example: coilgate sets classes L2641 --size 3 --tolerance "R20=1 %"
    """
    from station.app.matching import candidates, propose, propose_classes
    from station.app.set_wish import set_wish
    from station.cli.lot_options import statistics_of
    from station.cli.opening import open_station

    with open_station(ctx) as station:
        wish = set_wish(station.records, lots, size=size, tolerances=tolerances)
        units = candidates(station.records, lots, wish.tolerances)
    with statistics_of(", ".join(lots)):
        found, best = propose_classes(units, wish.size), len(propose(units, wish.size).sets)
    if as_json:
        edges = found.edges.tolist()
        emit(
            {
                "lots": list(lots),
                "simulated": units.simulated,
                "characteristic": units.quantities[0].characteristic,
                "unit": units.quantities[0].unit_symbol,
                "size": wish.size,
                "classes": [
                    {"from": low, "to_below": high, "units": int(count)}
                    for low, high, count in zip(edges[:-1], edges[1:], found.counts, strict=True)
                ],
                "sets": found.sets,
                "sets_by_list": best,
                "population": found.population,
            }
        )
        return
    from station.cli.sets_text import classes_text

    click.echo(classes_text(units, found, best))


@sets.command()
@click.argument("lot", metavar="LOT")
@_AS_JSON
@click.pass_context
def show(ctx: click.Context, lot: str, as_json: bool) -> None:
    """Show the sets on record that units of a lot are in.

    Example: coilgate sets show L2641
    """
    from station.app.matching import sets_on_record
    from station.cli.opening import open_station
    from station.cli.output import table

    with open_station(ctx) as station:
        # An unknown lot is an error, not a lot without sets.
        station.records.lot_summary(lot)
        found = sets_on_record(station.records, lot=lot)
    if as_json:
        emit({"lot": lot, "sets": {name: list(serials) for name, serials in found.items()}})
        return
    if not found:
        propose = f"coilgate sets make {lot}"
        click.echo(f"Lot {lot}: no sets on record. Propose some: {propose}")
        return
    click.echo(table(("set", "units"), [(name, "  ".join(serials)) for name, serials in found.items()]))


def _fact(units: "Candidates", found: "MatchedSets", names: tuple[str, ...], recorded: bool) -> dict[str, object]:
    return {
        "lots": list(units.lots),
        "simulated": units.simulated,
        "size": found.size,
        "recorded": recorded,
        "candidates": len(units.serials),
        "made": len(found.sets),
        "most_possible": found.most_possible,
        "proved_optimal": found.proved_optimal,
        "quantities": [
            {
                "characteristic": each.characteristic,
                "unit": each.unit_symbol,
                "within": each.agreed.within,
                "relative": each.agreed.relative,
            }
            for each in units.quantities
        ],
        "sets": [
            {"set": name, "serials": [units.serials[i] for i in members], "spreads": spreads}
            for name, members, spreads in zip(names, found.sets, found.spreads.tolist(), strict=True)
        ],
        "left": [units.serials[i] for i in found.left],
        "in_sets_already": units.in_sets,
        "without_value": units.without_value,
        "population": found.population,
    }
