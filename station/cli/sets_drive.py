"""`coilgate sets drive`: what each unit of a group needs for the same field, and how warm it gets."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli.output import emit, say, table

if TYPE_CHECKING:
    from station.quality.drive import DriveWay

CAUTION = "CAUTION: coils get hot enough to burn; measure the hottest one before the drive is released."


@click.command(short_help="Drive of each unit for the same field.")
@click.argument("names", metavar="SET|SERIAL...", nargs=-1, required=True)
@click.option("--field", "field_text", required=True, help="Flux density wanted, such as '1 mT'.")
@click.option("--at", "characteristic", required=True, help="Where: a field characteristic, such as B@2mm.")
@click.option("--thermal-resistance", "thermal_text", required=True, help="Of a unit as mounted, such as '60 K/W'.")
@click.option("--ambient", default="23 degC", show_default=True, help="Temperature around the units.")
@click.option("--supply", help="Voltage that the duty is taken of, such as '3 V'; else a tenth above what is needed.")
@click.option("--to", "target", type=click.Path(path_type=Path), help="Table as a .csv file, a row a unit and way.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.pass_context
def drive(
    ctx: click.Context,
    names: tuple[str, ...],
    field_text: str,
    characteristic: str,
    thermal_text: str,
    ambient: str,
    supply: str | None,
    target: Path | None,
    as_json: bool,
) -> None:
    """Current, or duty, for each unit so that the field at a height is equal; with what same drive for all would give.

    Steady state, with the winding's resistance at the temperature that it settles at.

    A recorded set is named by its name, or by the scan of its label; units by their serials.

    \b
    Example: coilgate sets drive L2641-S0001 --field "1 mT" --at B@2mm --thermal-resistance "60 K/W"
             coilgate sets drive L2641-01-A01 L2641-01-A02 --field "1 mT" --at B@2mm --thermal-resistance "60 K/W"
    """
    from station.app.group_drive import driven_coils, serials_of
    from station.cli.lot_options import statistics_of
    from station.cli.opening import open_station
    from station.errors import StationError
    from station.quality.drive import Surroundings, compare_drives

    if target is not None and target.suffix.lower() != ".csv":
        raise StationError(f"{target}: a table ends in .csv.")
    field_t, ambient_degc = _quantity("--field", field_text, "T"), _quantity("--ambient", ambient, "degC")
    thermal_resistance = _quantity("--thermal-resistance", thermal_text, "K/W")
    supply_v = None if supply is None else _quantity("--supply", supply, "V")
    with open_station(ctx) as station:
        serials = serials_of(station.records, names)
        coils = driven_coils(station.records, serials, characteristic, thermal_resistance)
    with statistics_of("drive"):
        ways = compare_drives(coils, field_t=field_t, around=Surroundings(ambient_degc), supply_v=supply_v)
    if target is not None:
        _write(target, ways)
        say(f"{target}: {len(ways)} ways for {len(coils)} units.")
    if as_json:
        emit({"field_t": field_t, "at": characteristic, "ambient_degc": ambient_degc, "ways": [_fact(w) for w in ways]})
        return
    click.echo(_text(ways))


def _quantity(option: str, text: str, unit: str) -> float:
    from station.core.quantity import QuantityError, parse_quantity

    try:
        return parse_quantity(text, unit)
    except QuantityError as error:
        raise click.UsageError(f"{option}: {error}.") from error


def _fact(way: "DriveWay") -> dict[str, object]:
    from station.cli.lot_facts import finite

    return {
        "way": way.name,
        "possible": way.possible,
        "note": way.note,
        "field_spread": way.field_spread,
        "hottest_k": finite(way.hottest_k),
        "units": [
            {
                "serial": coil.serial,
                "current_a": coil.current_a,
                "duty": coil.duty,
                "voltage_v": finite(coil.voltage_v),
                "field_t": coil.field_t,
                "rise_k": finite(coil.rise_k),
                "power_w": finite(coil.power_w),
            }
            for coil in way.coils
        ],
    }


def _write(target: Path, ways: "Sequence[DriveWay]") -> None:
    import csv

    from station.records.export import spreadsheet_text

    with target.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(
            ["way", "serial", "current [A]", "duty", "voltage [V]", "field [T]", "rise [K]", "power [W]"]
        )
        for way in ways:
            for c in way.coils:
                duty = "" if c.duty is None else c.duty
                row = [c.current_a, duty, c.voltage_v, c.field_t, c.rise_k, c.power_w]
                writer.writerow([way.name, spreadsheet_text(c.serial), *row])


def _text(ways: "Sequence[DriveWay]") -> str:
    from station.core.quantity import format_quantity

    rows = []
    for way in ways:
        for coil in way.coils:
            rows.append(
                (
                    way.name,
                    coil.serial,
                    format_quantity(coil.current_a, "A"),
                    "" if coil.duty is None else f"{coil.duty:.1%}",
                    format_quantity(coil.voltage_v, "V"),
                    format_quantity(coil.field_t, "T"),
                    format_quantity(coil.rise_k, "K", digits=3),
                )
            )
    notes = [
        f"{way.name}: field spread {way.field_spread:.2%}, hottest {format_quantity(way.hottest_k, 'K', digits=3)}"
        f"{'' if way.possible else ', NOT POSSIBLE'}; {way.note}."
        for way in ways
    ]
    head = ("way", "unit", "current", "duty", "voltage", "field", "rise")
    return "\n".join([table(head, rows), "", *notes, CAUTION])
