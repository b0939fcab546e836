"""What widths, coupons and sections found on a lot, as a report says it."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from station.reports.document import Block, Heading, Paragraph, Table
from station.reports.pictures import printed

_95 = 1.96


@dataclass(frozen=True, slots=True)
class PanelShown:
    """A panel. Lengths in m with their standard uncertainties, NaN where not measured; factor: for 95 % of the
    coupons' intervals. width_ratio: of tracks over their drawn width. resistivity: NaN without coupons and section."""

    panel: str
    etch_loss_m: float
    etch_loss_uncertainty_m: float
    width_ratio: float
    sheet_ohm: float
    relative_sheet_uncertainty: float
    factor: float
    thickness_m: float
    thickness_uncertainty_m: float
    resistivity_ohm_m: float


@dataclass(frozen=True, slots=True)
class UnitShown:
    """A unit. left: R20 over what its widths imply, less 1; standard uncertainty beside. NaN where not measured."""

    serial: str
    places: int
    width_m: float
    implied_ohm: float
    r20_ohm: float
    left: float
    left_uncertainty: float
    thickness_m: float
    thickness_uncertainty_m: float


@dataclass(frozen=True, slots=True)
class CopperShown:
    """All of it; drawn width and thickness in m. What it makes of where the lot stands is among the causes."""

    drawn_width_m: float
    drawn_thickness_m: float
    drawn_resistivity_ohm_m: float
    panels: tuple[PanelShown, ...]
    units: tuple[UnitShown, ...]
    replaced: int
    """Entries that later ones have replaced, and so are not in it."""


def copper_blocks(copper: CopperShown | None) -> Iterator[Block]:
    """Set it, or say that nobody has looked."""
    yield Heading("Copper as measured")
    if copper is None:
        yield Paragraph(
            "Neither track widths nor coupons nor sections of this lot are on record; resistance and inductance alone "
            "do not tell narrow tracks from thin copper."
        )
        return
    yield Paragraph(
        f"Drawn: tracks {_um(copper.drawn_width_m)} wide, copper {_um(copper.drawn_thickness_m)} thick, resistivity "
        f"{_resistivity(copper.drawn_resistivity_ohm_m)} at 20\u00a0°C. Intervals are for 95\u00a0%."
    )
    if copper.panels:
        headers = (
            "panel",
            "etch loss",
            "track width",
            "sheet resistance",
            "copper if as drawn",
            "section",
            "resistivity",
        )
        yield Table(headers, tuple(_panel(each, copper) for each in copper.panels))
        yield Paragraph(
            "Etch loss and sheet resistance from coupon tracks of two or more widths: L/R is a straight line in the "
            "drawn width. The etch loss does not depend on the meter's gain."
        )
    if copper.units:
        headers = ("unit", "places", "mean width", "widths imply", "R20", "left for thickness", "section")
        yield Table(headers, tuple(_unit(each) for each in copper.units))
        yield Paragraph(
            "Implied: by the coil model with copper as thick as drawn; the mean width is 1 over the mean of 1/width. "
            "What R20 is more than that is left for thickness, resistivity, narrow places and vias. Units were chosen, "
            "not drawn at random: they stand for no yield."
        )
    if copper.replaced:
        yield Paragraph(f"Entries that later ones have replaced, all on record: {copper.replaced}.")


def _panel(panel: PanelShown, copper: CopperShown) -> tuple[str, ...]:
    factor = panel.factor
    as_drawn_m = copper.drawn_resistivity_ohm_m / panel.sheet_ohm
    return (
        panel.panel,
        _with(panel.etch_loss_m, factor * panel.etch_loss_uncertainty_m),
        _share(panel.width_ratio - 1.0),
        _relative(panel.sheet_ohm, "ohm", factor * panel.relative_sheet_uncertainty),
        _with(as_drawn_m, factor * panel.relative_sheet_uncertainty * as_drawn_m),
        _with(panel.thickness_m, _95 * panel.thickness_uncertainty_m),
        _resistivity(panel.resistivity_ohm_m),
    )


def _unit(unit: UnitShown) -> tuple[str, ...]:
    left = "–"
    if np.isfinite(unit.left):
        left = f"{100 * unit.left:+.1f} ± {100 * _95 * unit.left_uncertainty:.1f}\u00a0%"
    return (
        unit.serial,
        str(unit.places) if unit.places else "–",
        _um(unit.width_m),
        printed(unit.implied_ohm, "ohm"),
        printed(unit.r20_ohm, "ohm"),
        left,
        _with(unit.thickness_m, _95 * unit.thickness_uncertainty_m),
    )


def _um(value_m: float) -> str:
    return f"{value_m * 1e6:.4g}\u00a0µm" if np.isfinite(value_m) else "–"


def _with(value_m: float, expanded_m: float) -> str:
    return f"{value_m * 1e6:.2f} ± {expanded_m * 1e6:.2f}\u00a0µm" if np.isfinite(value_m) else "–"


def _relative(value: float, unit: str, expanded: float) -> str:
    return f"{printed(value, unit)} ± {100 * expanded:.1f}\u00a0%" if np.isfinite(value) else "–"


def _share(value: float) -> str:
    return f"{100 * value:+.1f}\u00a0%" if np.isfinite(value) else "–"


def _resistivity(value: float) -> str:
    return f"{value * 1e8:.3f}\u00a0×\u00a010⁻⁸\u00a0Ω\u00a0m" if np.isfinite(value) else "–"
