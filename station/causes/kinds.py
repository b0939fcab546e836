"""The causes that are told apart, what each is called, how often it comes, and what would prove it."""

from dataclasses import dataclass
from enum import StrEnum


class Cause(StrEnum):
    """Why a coil reads as it does. Values are stable: they stand in JSON."""

    NOTHING = "nothing_unusual"
    NARROW = "narrow_or_thin_copper"
    WIDE = "wide_or_thick_copper"
    NARROW_TRACK = "narrow_tracks"
    THIN_COPPER = "thin_copper"
    LOCAL = "narrow_place_or_poor_via"
    WIDE_TRACK = "wide_tracks"
    THICK_COPPER = "thick_copper"
    SHORTED_TURNS = "shorted_turns"
    LAYER_SHORT = "short_between_layers"
    OPEN = "open"
    POOR_CONTACT = "poor_contact"
    WARM = "warm_coil"
    METAL = "metal_near_coil"
    WRONG_PART = "wrong_part"
    SENSOR_POSITION = "sensor_height_or_position"
    BENCH_DRIFT = "bench_drift"
    NONE_OF_THESE = "none_of_these"
    NOT_MEASURED = "not_measured"


CAUSES = tuple(Cause)
"""In the order of every array of probabilities."""


@dataclass(frozen=True, slots=True)
class About:
    """`prior` is the share of units expected before anything is measured; `proof` is what would settle it."""

    words: str
    prior: float
    proof: str


ABOUT: dict[Cause, About] = {
    Cause.NOTHING: About("nothing unusual: like the rest of its lot and near the drawing", 0.97, ""),
    Cause.NARROW: About(
        "narrow or thin copper",
        1e-2,
        "R and L can't tell narrow from thin copper, nor from one narrow place or a poor via: coupons of two "
        "widths on the panel tell width from thickness, a micro-section shows both",
    ),
    Cause.WIDE: About(
        "wide or thick copper",
        5e-3,
        "R and L can't tell wide from thick copper: coupons of two widths on the panel do, a micro-section shows both",
    ),
    Cause.NARROW_TRACK: About("narrow tracks: etched too far", 0.0, "measured; ask the board maker about the etch"),
    Cause.THIN_COPPER: About(
        "thin copper, or copper of high resistivity", 0.0, "measured; ask the board maker about foil and plating"
    ),
    Cause.LOCAL: About(
        "a narrow place or a poor via: the rest of the copper is as it should be",
        0.0,
        "look along the whole track under the microscope; section the vias",
    ),
    Cause.WIDE_TRACK: About("wide tracks: etched too little", 0.0, "measured; ask the board maker about the etch"),
    Cause.THICK_COPPER: About("thick copper", 0.0, "measured; ask the board maker about foil and plating"),
    Cause.SHORTED_TURNS: About(
        "shorted turns",
        6e-4,
        "look for a bridge between tracks under the microscope or by X-ray, at the turns named",
    ),
    Cause.LAYER_SHORT: About(
        "short between layers", 1e-4, "look for a bridge through the film: X-ray, then a section at the turns named"
    ),
    Cause.OPEN: About("open coil", 3e-4, "look for the break under the microscope; probe the vias"),
    Cause.POOR_CONTACT: About("poor contact", 5e-3, "clean pads and needles, seat the unit again, measure again"),
    Cause.WARM: About("warm coil", 1e-3, "leave it in the nest for some minutes, measure again: R20 must come back"),
    Cause.METAL: About(
        "metal near the coil", 1e-4, "clear the nest, measure again; if it stays, look for metal on the unit"
    ),
    Cause.WRONG_PART: About("wrong part", 1e-4, "compare the unit with the drawing: turns, size, marking"),
    Cause.SENSOR_POSITION: About(
        "sensor height or position", 2e-3, "clean the nest, seat the unit flat, measure again"
    ),
    Cause.BENCH_DRIFT: About(
        "bench drift", 1e-2, "measure the reference unit: the same shift there is the bench, none is the units"
    ),
    Cause.NONE_OF_THESE: About("none of the known causes fits", 3e-5, "show the unit and its record to an engineer"),
    Cause.NOT_MEASURED: About("not measured, for a reason of the bench", 1e-2, "put the bench right, measure again"),
}
"""Priors: about one damaged coil in a thousand (shorted, bridged or open), common practice, no source; the others
are ours, chosen so that a rare cause needs evidence of about four standard deviations. `BENCH_DRIFT` is for a lot.
Narrow and wide copper have a prior only as they are seen by R and L; measured copper divides them into what it is."""

COPPER_HIGH = (Cause.NARROW, Cause.NARROW_TRACK, Cause.THIN_COPPER, Cause.LOCAL)
COPPER_LOW = (Cause.WIDE, Cause.WIDE_TRACK, Cause.THICK_COPPER)
"""Copper that raises or lowers R20: not told apart, then told apart."""

ABOUT_A_FAULT = (Cause.SHORTED_TURNS, Cause.LAYER_SHORT)
"""Those that have a place in the winding."""
