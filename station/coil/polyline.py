"""A coil drawn point by point: a CSV table of x, y, layer and width, in the order of the current."""

import csv
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from station.coil.constants import Conductor
from station.coil.filaments import Segments
from station.coil.geometry import MAXIMUM_LAYERS, GeometryError

_SCALES_M = {"mm": 1e-3, "um": 1e-6, "mil": 25.4e-6, "m": 1.0}
_MAXIMUM_POINTS = 5_000


@dataclass(frozen=True)
class TrackPoint:
    """A corner of the centre line. `width_m` is the width of the track from here to the next point."""

    x_m: float
    y_m: float
    layer: int
    width_m: float


@dataclass(frozen=True, kw_only=True)
class PolylineCoil:
    """A coil given by its centre line. Layers count from 0 at the top; a change of layer is a via, in place.

    Raises:
        GeometryError: for fewer than two points, a via that moves sideways, impossible sizes.
    """

    points: tuple[TrackPoint, ...]
    copper_m: float
    plating_m: float = 0.0
    layer_gaps_m: tuple[float, ...] = ()
    lead_resistance_ohm: float = 0.0
    via_resistance_ohm: float = 0.0
    conductor: Conductor = field(default_factory=Conductor)

    def __post_init__(self) -> None:
        problems = tuple(_problems(self))
        if problems:
            raise GeometryError(problems)

    @property
    def layers(self) -> int:
        """Number of layers from the top to the deepest point."""
        return max(point.layer for point in self.points) + 1

    @property
    def thickness_m(self) -> float:
        """Finished copper thickness: foil plus plating."""
        return self.copper_m + self.plating_m

    @property
    def via_count(self) -> int:
        """Changes of layer on the way."""
        return sum(a.layer != b.layer for a, b in zip(self.points, self.points[1:], strict=False))


def read_polyline_csv(text: str, *, name: str = "polyline") -> tuple[TrackPoint, ...]:
    """Parse a table with the columns x, y, layer, width; layer 1 is the top one.

    A column's unit stands behind an underscore (`x_mm`, `width_um`; m, mm, um, mil); without one it is mm.
    `name` is what messages call the file.

    Raises:
        GeometryError: naming file, line, column and what would be right; all faults at once.
    """
    try:
        rows = list(csv.reader(text.lstrip("\ufeff").splitlines()))
    except csv.Error as refusal:
        raise GeometryError((f"{name}: is no CSV table ({refusal}); expected lines of x,y,layer,width",)) from refusal
    if not rows:
        raise GeometryError((f"{name}: is empty; expected a header line such as 'x_mm,y_mm,layer,width_mm'",))
    columns = _columns(rows[0], name)
    if len(rows) - 1 > _MAXIMUM_POINTS:
        raise GeometryError((f"{name}: has {len(rows) - 1} points; at most {_MAXIMUM_POINTS} are taken",))
    problems: list[str] = []
    points: list[TrackPoint] = []
    for line, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        point = _point(row, columns, f"{name} line {line}", problems)
        if point is not None:
            points.append(point)
    if problems:
        raise GeometryError(tuple(problems))
    return tuple(points)


def _columns(header: list[str], name: str) -> dict[str, tuple[int, float]]:
    found: dict[str, tuple[int, float]] = {}
    for position, cell in enumerate(header):
        quantity, _, unit = cell.strip().lower().partition("_")
        if quantity in ("x", "y", "width") and (unit or "mm") in _SCALES_M:
            found[quantity] = (position, _SCALES_M[unit or "mm"])
        elif quantity == "layer" and not unit:
            found[quantity] = (position, 1.0)
        else:
            known = "x, y, width (with _m, _mm, _um or _mil) and layer"
            raise GeometryError((f"{name} line 1: column {cell.strip()!r} is unknown; columns are {known}",))
    missing = [quantity for quantity in ("x", "y", "layer", "width") if quantity not in found]
    if missing:
        raise GeometryError((f"{name} line 1: no column for {', '.join(missing)}; columns are x, y, layer, width",))
    return found


def _point(row: list[str], columns: dict[str, tuple[int, float]], where: str, problems: list[str]) -> TrackPoint | None:
    values: dict[str, float] = {}
    for quantity, (position, scale) in columns.items():
        text = row[position].strip() if position < len(row) else ""
        try:
            number = float(text)
        except ValueError:
            number = float("nan")
        if not np.isfinite(number) or "_" in text:
            problems.append(f"{where}: {quantity} must be a finite number; got {text!r}")
            return None
        values[quantity] = number * scale
    if values["layer"] != int(values["layer"]) or not 1 <= values["layer"] <= MAXIMUM_LAYERS:
        problems.append(f"{where}: layer must be a whole number from 1 to {MAXIMUM_LAYERS}; got {values['layer']:g}")
        return None
    if values["width"] <= 0:
        problems.append(f"{where}: width must be above 0; got {values['width']:g} m")
        return None
    return TrackPoint(values["x"], values["y"], int(values["layer"]) - 1, values["width"])


def _problems(coil: PolylineCoil) -> list[str]:
    if len(coil.points) < 2:
        return [f"a track needs two points or more; got {len(coil.points)}"]
    found: list[str] = []
    if not 0 < coil.copper_m < 1:
        found.append(f"copper thickness must be above 0 and below 1 m; got {coil.copper_m:g} m")
    if not all(0 <= each < np.inf for each in (coil.plating_m, coil.lead_resistance_ohm, coil.via_resistance_ohm)):
        found.append("plating, lead resistance and via resistance must be 0 or above")
    if len(coil.layer_gaps_m) < coil.layers - 1 or not all(0 < gap < 1 for gap in coil.layer_gaps_m):
        found.append(f"{coil.layers} layers need {coil.layers - 1} layer gaps above 0; got {coil.layer_gaps_m}")
    for number, (here, there) in enumerate(zip(coil.points, coil.points[1:], strict=False), start=1):
        moved = np.hypot(there.x_m - here.x_m, there.y_m - here.y_m)
        if here.layer != there.layer and moved > 1e-9:
            found.append(f"points {number} and {number + 1} change the layer and move sideways; a via stays in place")
        if here.layer == there.layer and moved < 1e-9:
            found.append(f"points {number} and {number + 1} are the same; leave one out")
    return found


@lru_cache(maxsize=16)
def polyline_segments(coil: PolylineCoil) -> Segments:
    """Straight tracks of the drawing, each a turn of its own. Vias carry no length."""
    depth = -coil.thickness_m / 2 - np.concatenate(
        ([0.0], np.cumsum(np.asarray(coil.layer_gaps_m, dtype=float) + coil.thickness_m))
    )
    at = np.array([(point.x_m, point.y_m, depth[point.layer]) for point in coil.points])
    layer = np.array([point.layer for point in coil.points])
    width = np.array([point.width_m for point in coil.points])
    tracks = np.flatnonzero(layer[1:] == layer[:-1])
    return Segments(at[tracks], at[tracks + 1], width[tracks], coil.thickness_m, np.arange(len(tracks)))
