"""The geometry of a printed spiral coil, and what makes one impossible.

Drawn once, for every module: an Archimedean spiral whose copper starts with its inner edge at half the
inner diameter and moves outward by one pitch (track width + track gap) a turn. So turn i (0 = innermost)
has the mean radius d_in/2 + w/2 + (i + 1/2)(w + s). Polygons are spirals of straight sides parallel to a
regular polygon; diameters and radii are then measured across the flats (the apothem), each side lies
pitch/sides further out than the one before, and the mean apothem of turn i is the same expression.

Layers are numbered from 0 at the top. The current enters at the outer end of layer 0, runs inward there,
outward on layer 1, inward on layer 2, and so on. Seen from above it turns counter-clockwise on a layer of
winding sense +1. The z axis points up, z = 0 is the outer surface of the top copper.
"""

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from station.coil.constants import Conductor

Shape = Literal["circle", "square", "hexagon", "octagon", "polygon"]
FloatArray = NDArray[np.float64]

SIDES_OF_SHAPE: dict[str, int] = {"circle": 0, "square": 4, "hexagon": 6, "octagon": 8}
MAXIMUM_LAYERS = 4
MAXIMUM_TURNS_PER_LAYER = 500


class GeometryError(ValueError):
    """A coil that cannot be drawn. `problems` names every fault found, not only the first."""

    def __init__(self, problems: tuple[str, ...]) -> None:
        super().__init__("; ".join(problems))
        self.problems = problems


@dataclass(frozen=True, kw_only=True)
class CoilGeometry:
    """A spiral coil of 1 to 4 layers in series. Lengths in metres, resistances in ohm.

    Args:
        shape: circle, square, hexagon, octagon, or polygon with `sides`.
        layers: copper layers in series, 1 to 4.
        turns_per_layer: turns on each layer; a fraction ends the outermost turn early.
        inner_diameter_m: across the free inside, copper edge to copper edge, where the spiral starts.
        track_width_m: width at the foot of the track (against the film), as finished.
        track_gap_m: copper to copper between neighbouring turns.
        copper_m: thickness of the foil.
        plating_m: copper plated onto the foil; the finished thickness is foil + plating.
        layer_gaps_m: copper to copper between neighbouring layers, one number for each gap.
        winding_senses: +1 or -1 for each layer; unequal senses oppose one another. Empty: all +1.
        etch_factor: etched depth over undercut of one side wall; the top of the track is
            2 thickness/factor narrower than its foot. None: upright walls.
        lead_resistance_ohm: both leads together, in series, at 20 degC.
        via_resistance_ohm: one via between layers, at 20 degC; there are layers - 1 of them.
        conductor: resistivity and winding constant.

    Raises:
        GeometryError: naming every dimension that is impossible.
    """

    layers: int
    turns_per_layer: float
    inner_diameter_m: float
    track_width_m: float
    track_gap_m: float
    copper_m: float
    shape: Shape = "circle"
    sides: int = 0
    plating_m: float = 0.0
    layer_gaps_m: tuple[float, ...] = ()
    winding_senses: tuple[int, ...] = ()
    etch_factor: float | None = None
    lead_resistance_ohm: float = 0.0
    via_resistance_ohm: float = 0.0
    conductor: Conductor = field(default_factory=Conductor)

    def __post_init__(self) -> None:
        problems = tuple(_problems(self))
        if problems:
            raise GeometryError(problems)

    @property
    def side_count(self) -> int:
        """Sides of the polygon; 0 for a circle."""
        return self.sides if self.shape == "polygon" else SIDES_OF_SHAPE[self.shape]

    @property
    def pitch_m(self) -> float:
        """Centre to centre of neighbouring turns."""
        return self.track_width_m + self.track_gap_m

    @property
    def thickness_m(self) -> float:
        """Finished copper thickness: foil plus plating."""
        return self.copper_m + self.plating_m

    @property
    def mean_width_m(self) -> float:
        """Width of the upright-walled track of the same cross-section (trapezoid: foot minus thickness/factor)."""
        undercut_m = 0.0 if self.etch_factor is None else self.thickness_m / self.etch_factor
        return self.track_width_m - undercut_m

    @property
    def inner_radius_m(self) -> float:
        """Centre line (apothem for polygons) where the spiral starts."""
        return self.inner_diameter_m / 2 + self.track_width_m / 2

    @property
    def outer_radius_m(self) -> float:
        """Centre line (apothem for polygons) where the spiral ends."""
        return self.inner_radius_m + self.turns_per_layer * self.pitch_m

    @property
    def outer_diameter_m(self) -> float:
        """Twice the largest distance of a copper edge from the axis, at the spiral's outer end."""
        return 2 * self.outer_radius_m + self.track_width_m

    @property
    def senses(self) -> tuple[int, ...]:
        """Winding sense of each layer, +1 where none was given."""
        return self.winding_senses or (1,) * self.layers

    def turn_fractions(self) -> FloatArray:
        """Part of a full revolution that each turn of a layer makes, innermost first; only the last is below 1."""
        count = int(np.ceil(self.turns_per_layer - 1e-9))
        fractions = np.ones(count)
        fractions[-1] = self.turns_per_layer - (count - 1)
        return fractions

    def turn_radii_m(self) -> FloatArray:
        """Mean radius (apothem) of each turn of a layer, innermost first, shape (turns,)."""
        fractions = self.turn_fractions()
        start = np.concatenate(([0.0], np.cumsum(fractions)[:-1]))
        return self.inner_radius_m + (start + fractions / 2) * self.pitch_m

    def layer_heights_m(self) -> FloatArray:
        """Height of each layer's mid-plane, shape (layers,): all below 0, the top layer first."""
        steps = np.asarray(self.layer_gaps_m, dtype=float) + self.thickness_m
        return -self.thickness_m / 2 - np.concatenate(([0.0], np.cumsum(steps)))

    def with_width_change(self, change_m: float) -> "CoilGeometry":
        """The coil that the same artwork gives when every track comes out wider by `change_m`.

        Etching moves both edges and leaves the centre line where the artwork put it: so the gap shrinks by
        what the width gains, and the inner diameter too.
        """
        return replace(
            self,
            track_width_m=self.track_width_m + change_m,
            track_gap_m=self.track_gap_m - change_m,
            inner_diameter_m=self.inner_diameter_m - change_m,
        )


def uniform_gaps(layers: int, layer_gap_m: float) -> tuple[float, ...]:
    """The same copper-to-copper distance between all neighbouring layers, as `layer_gaps_m` wants it."""
    return (layer_gap_m,) * max(layers - 1, 0)


def _problems(coil: CoilGeometry) -> list[str]:
    found: list[str] = []

    def expect(holds: bool, message: str) -> None:
        if not holds:
            found.append(message)

    if coil.shape != "polygon" and coil.shape not in SIDES_OF_SHAPE:
        known = ", ".join([*SIDES_OF_SHAPE, "polygon"])
        found.append(f"shape must be one of {known}; got {coil.shape!r}")
    elif coil.shape == "polygon":
        expect(3 <= coil.sides <= 64, f"sides of a polygon must be 3 to 64; got {coil.sides}")
    expect(1 <= coil.layers <= MAXIMUM_LAYERS, f"layers must be 1 to {MAXIMUM_LAYERS}; got {coil.layers}")
    expect(
        0 < coil.turns_per_layer <= MAXIMUM_TURNS_PER_LAYER,
        f"turns per layer must be above 0 and at most {MAXIMUM_TURNS_PER_LAYER}; got {coil.turns_per_layer:g}",
    )
    for name, value in (
        ("inner diameter", coil.inner_diameter_m),
        ("track width", coil.track_width_m),
        ("track gap", coil.track_gap_m),
        ("copper thickness", coil.copper_m),
    ):
        expect(0 < value < 1, f"{name} must be above 0 and below 1 m; got {value:g} m{_hint(name, value)}")
    for name, value in (
        ("plating", coil.plating_m),
        ("lead resistance", coil.lead_resistance_ohm),
        ("via resistance", coil.via_resistance_ohm),
    ):
        expect(0 <= value < np.inf, f"{name} must be 0 or above; got {value:g}")
    expect(
        len(coil.layer_gaps_m) == max(coil.layers - 1, 0),
        f"{coil.layers} layers need {max(coil.layers - 1, 0)} layer gaps; got {len(coil.layer_gaps_m)}",
    )
    for gap_m in coil.layer_gaps_m:
        expect(0 < gap_m < 1, f"layer gap must be above 0 and below 1 m; got {gap_m:g} m")
    if coil.winding_senses:
        expect(
            len(coil.winding_senses) == coil.layers and set(coil.winding_senses) <= {1, -1},
            f"winding senses must be +1 or -1 for each of {coil.layers} layers; got {coil.winding_senses}",
        )
    expect(
        0 < coil.conductor.resistivity_ohm_m < np.inf,
        f"resistivity must be above 0; got {coil.conductor.resistivity_ohm_m:g} ohm m",
    )
    expect(
        0 < coil.conductor.winding_constant_degc < np.inf,
        f"winding constant must be above 0 degC; got {coil.conductor.winding_constant_degc:g}",
    )
    if coil.etch_factor is not None:
        top_m = coil.track_width_m - 2 * coil.thickness_m / coil.etch_factor if coil.etch_factor > 0 else -1.0
        expect(
            top_m > 0,
            f"etch factor {coil.etch_factor:g} leaves no copper at the top of a track "
            f"{coil.track_width_m:g} m wide and {coil.thickness_m:g} m thick",
        )
    return found


def _hint(name: str, value: float) -> str:
    if name == "track gap" and value <= 0:
        return " (neighbouring turns would touch: width + gap is the pitch)"
    if name == "inner diameter" and value <= 0:
        return " (the inner turn would cross the axis)"
    return ""
