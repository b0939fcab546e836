"""The datasheet's pages on heating: rise over drive for the coolest, typical and hottest coil; the largest drive."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from station.reports.document import Block, Bullets, Heading, Paragraph, Picture, Table
from station.reports.pictures import COLOURS, GREY, WIDTH, new_figure, printed, svg_of, symbols


@dataclass(frozen=True, slots=True, eq=False)
class HeatedCoil:
    """One corner of what is promised, and how it heats. Curves: shape (N,)."""

    name: str
    """`coolest`, `typical` or `hottest`."""
    resistance_20_ohm: float
    thermal_resistance_k_per_w: float
    drives: np.ndarray
    rises_k: np.ndarray
    largest: tuple[float, ...]
    """The drive at which it reaches each of the rises asked for."""


@dataclass(frozen=True, slots=True)
class MeasuredRise:
    """What is promised of the rise at a level that was measured; in K."""

    drive: float
    minimum_k: float | None
    typical_k: float
    maximum_k: float | None


@dataclass(frozen=True, slots=True)
class Heating:
    """All that a datasheet says of heating. Drives in `drive_unit`: V, or A."""

    drive_unit: str
    mounting: str
    ambient_degc: float
    temperature_limit_degc: float
    coils: tuple[HeatedCoil, ...]
    """Empty where thermal resistance or R20 can't be stated."""
    measured: tuple[MeasuredRise, ...]
    rises_k: tuple[float, ...]


def heating_blocks(found: Heating) -> Iterator[Block]:
    """Yield the section on heating."""
    ambient = symbols(f"{found.ambient_degc:g} degC")
    mounted = found.mounting or "a mounting that the plan does not state"
    yield Heading("Rise over drive")
    yield Picture(
        _picture(found),
        f"Winding's rise over ambient against drive, mounted on: {mounted}, ambient {ambient}. {_typical(found)}",
        f"Steady rise of the mean winding over an ambient of {ambient}, mounted on: {mounted}. Points: typical values, "
        "bars: minimum to maximum of the measured levels. Curves: by the energy balance, for the coils named below.",
    )
    if not found.coils:
        yield Paragraph("No largest drive: R20 and a thermal resistance with its mounting must both be stated for it.")
        return
    hottest = symbols(f"{found.temperature_limit_degc:g} degC")
    constant = "voltage" if found.drive_unit == "V" else "current"
    yield Table(
        ("coil", "R20", "thermal resistance", *(f"{each:g}\u00a0K at" for each in found.rises_k)),
        tuple(
            (
                each.name,
                printed(each.resistance_20_ohm, "ohm"),
                printed(each.thermal_resistance_k_per_w, "K/W"),
                *(printed(drive, found.drive_unit, digits=3) for drive in each.largest),
            )
            for each in found.coils
        ),
    )
    yield Paragraph(
        f"Largest constant {constant} for a rise: the hottest coil's line holds for every coil. Hottest: "
        f"{'lowest' if found.drive_unit == 'V' else 'highest'} R20 and highest thermal resistance that are promised; "
        f"coolest: the other way. The winding is at {hottest} at the last rise."
    )
    yield Bullets(
        (
            "Another mounting has another thermal resistance: a film in air and on metal differ about tenfold.",
            "The mean winding is meant; its hottest spot is warmer.",
        )
    )


def _typical(found: Heating) -> str:
    levels = [f"{printed(each.drive, found.drive_unit)}: {printed(each.typical_k, 'K')}" for each in found.measured]
    return f"Typical values: {'; '.join(levels)}."


def _picture(found: Heating) -> bytes:
    figure = new_figure(WIDTH, 2.8)
    axes = figure.subplots()
    for coil, style, colour in zip(found.coils, ("--", "-", ":"), (COLOURS[0], GREY, COLOURS[1]), strict=False):
        axes.plot(coil.drives, coil.rises_k, style, color=colour, linewidth=1.3, label=f"{coil.name} coil")
    for each in found.measured:
        if each.minimum_k is not None and each.maximum_k is not None:
            axes.plot([each.drive] * 2, [each.minimum_k, each.maximum_k], color=COLOURS[2], marker="_", linewidth=1.4)
        axes.plot(each.drive, each.typical_k, "o", color=COLOURS[2], markersize=4)
    limit_k = found.temperature_limit_degc - found.ambient_degc
    axes.axhline(limit_k, color=GREY, linewidth=0.8)
    axes.annotate(
        f"winding at {found.temperature_limit_degc:g} °C",
        (0.01, limit_k),
        xycoords=("axes fraction", "data"),
        va="bottom",
        fontsize=8,
    )
    axes.set_xlabel(f"drive, {found.drive_unit}", fontsize=8)
    axes.set_ylabel("rise, K", fontsize=8)
    axes.set_xlim(left=0.0)
    axes.set_ylim(bottom=0.0)
    axes.tick_params(labelsize=8)
    axes.grid(alpha=0.3)
    axes.spines[["top", "right"]].set_visible(False)
    if found.coils:
        axes.legend(fontsize=8, frameon=False, loc="lower right")
    return svg_of(figure)
