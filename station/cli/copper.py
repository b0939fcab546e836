"""`coilgate lot copper` and `coilgate unit copper`: what was measured on copper, and what it implies."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.gauge_files import text_of
from station.cli.output import emit, say, table
from station.errors import StationError

if TYPE_CHECKING:
    from station.app.copper import LotCopper, UnitCopper
    from station.app.copper_records import CopperEntry
    from station.app.copper_rows import Row
    from station.coil.geometry import CoilGeometry

_FILE = click.Path(path_type=Path, allow_dash=True)
_WHO = click.option("--who", help="Badge code of who measured or enters.")
_WHY = click.option("--why", help="In words: why it was looked at, or why an earlier entry is replaced.")
_METHOD = click.option("--method", default="", help="Microscope, micro-section, four-wire meter; as you call it.")
_INSTEAD = click.option(
    "--instead-of", type=click.IntRange(min=1), multiple=True, help="Number of an entry that this one replaces."
)
_AS_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")


@click.command("copper", short_help="Widths, coupons, sections: enter, and what they imply.")
@click.argument("name", metavar="LOT")
@click.option(
    "--widths", type=_FILE, help="CSV: serial, layer, turn, u_um and top_um, foot_um or width_um; pitch_um if measured."
)
@click.option(
    "--coupons",
    type=_FILE,
    help="CSV: panel, width_um, length_mm, resistance_ohm, temperature_degc, u_ohm; near: serial beside it, if known.",
)
@click.option(
    "--sections", type=_FILE, help="CSV: serial or panel, thickness_um, u_um; layer, turn, top_um, foot_um if measured."
)
@click.option(
    "--coupon",
    "coupon_texts",
    multiple=True,
    help="A coupon track instead of a file: '03: 100 um, 50 mm, 0.523 ohm, 23.1 degC'; '03 beside SERIAL: ...'.",
)
@click.option("--uncertainty", help="Standard uncertainty of each --coupon's resistance: '0.5 mohm'.")
@click.option(
    "--temperature-uncertainty",
    default="0.5 K",
    show_default=True,
    help="Standard uncertainty of the coupons' temperature; common to all tracks.",
)
@click.option("--part", default="", help="Of what part a lot is that was neither received nor measured yet.")
@_METHOD
@_INSTEAD
@_WHO
@_WHY
@_AS_JSON
@click.pass_context
def lot_copper_command(
    ctx: click.Context,
    name: str,
    widths: Path | None,
    coupons: Path | None,
    sections: Path | None,
    coupon_texts: tuple[str, ...],
    uncertainty: str | None,
    temperature_uncertainty: str,
    part: str,
    method: str,
    instead_of: tuple[int, ...],
    who: str | None,
    why: str | None,
    as_json: bool,
) -> None:
    """Say what the measured copper of a lot implies; with a file or --coupon, put that on record first.

    A coupon's width and length are those drawn, all else is as measured; u is the standard uncertainty. Coupons may
    come before the first unit is measured: the drawing is that of the part that was received. Nothing on
    record is edited: a later entry takes an earlier one's place with --instead-of and a reason.

    \b
    Example: coilgate lot copper L2641 --coupons coupons.csv --who EN-02 --why "incoming"
             coilgate lot copper L2641
    """
    from station.app.copper_files import coupon_row, quantity, read_rows
    from station.app.copper_rows import CopperKind
    from station.core.quantity import Dimension

    files = {CopperKind.WIDTHS: widths, CopperKind.COUPONS: coupons, CopperKind.SECTIONS: sections}
    given = [(kind, file) for kind, file in files.items() if file is not None]
    if len(given) + bool(coupon_texts) > 1:
        raise click.UsageError("one file, or --coupon, at a time: each is an entry of its own.")
    rows: Sequence[Row] = ()
    for kind, file in given:
        rows = read_rows(kind, text_of(file), str(file))
        if not rows:
            raise click.UsageError(f"{file}: no row is filled in yet; nothing was entered.")
    if coupon_texts:
        if uncertainty is None:
            raise click.UsageError("--coupon needs --uncertainty, such as '0.5 mohm'.")
        u_ohm = quantity("--uncertainty", uncertainty, Dimension.RESISTANCE)
        rows = [coupon_row(each, u_ohm) for each in coupon_texts]
    doubt_k = quantity("--temperature-uncertainty", temperature_uncertainty, Dimension.TEMPERATURE_DIFFERENCE)
    found, coil = _entered(ctx, name, rows, who, why, method, instead_of, doubt_k, part=part)
    if as_json:
        from station.app.copper_facts import copper_fact

        emit(copper_fact(name, found, coil))
        return
    click.echo("\n".join(lot_lines(name, found)))


@click.command("copper", short_help="Widths along the track, thickness: enter, and what they imply.")
@click.argument("serial")
@click.option(
    "--at", "places", multiple=True, help="LAYER/TURN and widths: '1/10 top 112 um foot 121 um pitch 240 um'."
)
@click.option("--thickness", "thicknesses", multiple=True, help="Of copper in a section: '17.4 um'. Instead of --at.")
@click.option("--uncertainty", help="Standard uncertainty of each: '1 um'.")
@_METHOD
@_INSTEAD
@_WHO
@_WHY
@_AS_JSON
@click.pass_context
def unit_copper_command(
    ctx: click.Context,
    serial: str,
    places: tuple[str, ...],
    thicknesses: tuple[str, ...],
    uncertainty: str | None,
    method: str,
    instead_of: tuple[int, ...],
    who: str | None,
    why: str | None,
    as_json: bool,
) -> None:
    """Say what a unit's measured widths and thickness imply; with --at or --thickness, put them on record first.

    Layer 1 is on top, turn 1 the innermost. top, foot: of the track's cross-section; width: its mean; pitch: centre to
    centre of neighbouring turns, by which a microscope's scale shows.

    \b
    Example: coilgate unit copper L2641-01-A07 --at "1/1 top 108 um" --at "1/10 top 110 um" --at "1/20 top 109 um"
                 --uncertainty "1 um" --method microscope --who EN-02 --why "lowest of its panel"
    """
    from station.app.copper_files import quantity, width_row
    from station.app.copper_rows import SectionRow
    from station.core.quantity import Dimension

    if places and thicknesses:
        raise click.UsageError("--at or --thickness, one at a time: each is an entry of its own.")
    rows: list[Row] = []
    if places or thicknesses:
        if uncertainty is None:
            raise click.UsageError("--at and --thickness need --uncertainty, such as '1 um'.")
        u_m = quantity("--uncertainty", uncertainty, Dimension.LENGTH)
        rows += [width_row(serial, each, u_m) for each in places]
        rows += [
            SectionRow(quantity("--thickness", each, Dimension.LENGTH), u_m, serial=serial) for each in thicknesses
        ]
    lot = _lot_of(ctx, serial)
    found, _ = _entered(ctx, lot, rows, who, why, method, instead_of, None)
    unit = next((each for each in found.units if each.serial == serial), None)
    if unit is None:
        raise StationError(f"{serial}: nothing was measured on its copper yet. Enter it with --at or --thickness.")
    if as_json:
        from station.app.copper_facts import unit_fact

        emit(unit_fact(unit) | {"words": [each.words for each in found.findings if each.subject == serial]})
        return
    click.echo("\n".join(each.words for each in found.findings if each.of_unit and each.subject == serial))
    say(f"What causes that leaves: coilgate unit explain {serial}")


def lot_lines(name: str, found: "LotCopper") -> Iterator[str]:
    """Yield what a lot's findings imply, a line each."""
    if not found.entries:
        yield f"Lot {name}: nothing was measured on its copper yet. `coilgate lot pull {name}` says what to look at."
        return
    yield f"Lot {name}: copper was measured on {_count(found.panels, 'panel')} and {_count(found.units, 'unit')}."
    yield from (each.words for each in found.findings)
    for panel in found.panels:
        if panel.coupons is None and panel.thickness_m != panel.thickness_m:
            yield f"panel {panel.panel}: coupons of one width only; a second width tells width from thickness."
        resistivity = panel.resistivity_ohm_m()
        if resistivity == resistivity:
            yield f"panel {panel.panel}: coupons and section together: resistivity {resistivity * 1e8:.3f}e-8 ohm m."
    if found.units:
        yield table(("unit", "R20", "widths imply", "left for thickness"), [_unit_row(each) for each in found.units])
    yield "entries:"
    yield from (f"  {_entry_words(each)}" for each in found.entries)


def _unit_row(unit: "UnitCopper") -> tuple[str, str, str, str]:
    from station.core.quantity import format_quantity

    implied = unit.implied
    return (
        unit.serial,
        format_quantity(unit.seen_ohm, "ohm"),
        format_quantity(implied.resistance_ohm if implied else None, "ohm"),
        f"{unit.left:+.1%} ± {2 * unit.left_uncertainty:.1%}" if implied and unit.left == unit.left else "no value",
    )


def _entry_words(entry: "CopperEntry") -> str:
    instead = f", instead of {', '.join(map(str, entry.instead_of))}" if entry.instead_of else ""
    state = "" if entry.stands else f" (replaced by {entry.replaced_by})"
    method = f", {entry.method}" if entry.method else ""
    return (
        f"{entry.number}: {entry.kind.value}, {_count(entry.rows, 'row')}{method}, {entry.who}, "
        f"{entry.utc:%Y-%m-%d %H:%M} UTC{instead}: {entry.why}{state}"
    )


def _count(things: "Sequence[object]", word: str) -> str:
    return f"{len(things)} {word}{'' if len(things) == 1 else 's'}"


def _lot_of(ctx: click.Context, serial: str) -> str:
    from station.cli.opening import open_station

    with open_station(ctx) as station:
        runs = station.records.runs_of(serial)
    if not runs or not runs[-1].lot:
        raise StationError(f"{serial}: no unit of a lot on record. Look at the serial, or at --home.")
    return runs[-1].lot


def _entered(
    ctx: click.Context,
    lot: str,
    rows: "Sequence[Row]",
    who: str | None,
    why: str | None,
    method: str,
    instead_of: tuple[int, ...],
    doubt_k: float | None,
    *,
    part: str = "",
) -> "tuple[LotCopper, CoilGeometry]":
    from station.app.copper_entering import copper_on_record, enter_copper
    from station.app.copper_records import TEMPERATURE_UNCERTAINTY_K
    from station.cli.opening import open_station

    if rows and not (who and why):
        raise click.UsageError("findings are put on record by somebody, for a reason: --who and --why.")
    if instead_of and not rows:
        raise click.UsageError("--instead-of needs what takes the entry's place.")
    with open_station(ctx) as station:
        if rows:
            number = enter_copper(
                station.records,
                lot,
                rows,
                who=who or "",
                why=why or "",
                utc=station.clock.utc_now(),
                method=method,
                instead_of=instead_of,
                temperature_uncertainty_k=TEMPERATURE_UNCERTAINTY_K if doubt_k is None else doubt_k,
                part=part,
            )
            say(f"Lot {lot}: entry {number}, {_count(rows, 'row')}, on record.")
        return copper_on_record(station.records, lot, part=part)
