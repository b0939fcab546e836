"""Drawn coils: reading the table, refusing bad ones, and solver values of a square spiral."""

from contextlib import suppress
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.coil import Conductor, GeometryError, PolylineCoil, TrackPoint, predict, read_polyline_csv
from station.coil.inductance import track_inductance_h
from station.coil.polyline import polyline_segments
from station.coil.resistance import resistance_20_ohm
from station.coil.windings import layer_centre_line_m
from tests.coil.references import ten_turns


def square_spiral_table() -> str:
    """5 turns, 10 mm outside, 0.4 mm track, 0.2 mm gap."""
    half, pitch = 4.8, 0.6
    corners = [(-half, -half)]
    for turn in range(5):
        a = half - turn * pitch
        corners += [(a, -a), (a, a), (-a, a), (-a, -a + pitch)]
    return "x_mm,y_mm,layer,width_um\n" + "\n".join(f"{x:.4f},{y:.4f},1,400" for x, y in corners)


def square_spiral() -> PolylineCoil:
    """The same as a coil of 35 um copper."""
    return PolylineCoil(
        points=read_polyline_csv(square_spiral_table()),
        copper_m=35e-6,
        conductor=Conductor(resistivity_ohm_m=1.7241e-8),
    )


def test_square_spiral_agrees_with_the_independent_solver() -> None:
    """pypeec 5.8.0, voxels of 12.5 um: 0.172483 ohm (0.1 %) and 0.247388 uH at 100 kHz (0.2 %)."""
    coil = square_spiral()

    assert 0.17248315776428988 == pytest.approx(resistance_20_ohm(coil), rel=1e-3)
    assert 2.4738807439042803e-07 == pytest.approx(float(track_inductance_h(polyline_segments(coil)).sum()), rel=2e-3)


def test_prediction_of_a_drawn_coil_has_length_and_field() -> None:
    """143.4 mm of centre line; magpylib 6.3.0 polyline at 1 mm above the filament: 0.73507 mT/A."""
    seen = predict(square_spiral(), heights_m=[1e-3 - 17.5e-6])

    assert 0.1434 == pytest.approx(seen.track_length_m, rel=1e-9)
    assert 0.0007350705897957516 == pytest.approx(seen.field[0].flux_density_t_per_a, rel=1e-8)


def test_a_change_of_layer_in_place_is_a_via() -> None:
    """Vias count by their resistance and carry no length."""
    table = "x,y,layer,width\n0,0,1,0.2\n5,0,1,0.2\n5,0,2,0.2\n0,0,2,0.2\n"
    coil = PolylineCoil(points=read_polyline_csv(table), copper_m=18e-6, layer_gaps_m=(50e-6,), via_resistance_ohm=0.01)

    assert 1 == coil.via_count
    assert 2 == coil.layers
    assert 2 * 5 / 0.2 * coil.conductor.resistivity_ohm_m / 18e-6 + 0.01 == pytest.approx(resistance_20_ohm(coil))


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ("", "is empty"),
        ("x,y,layer\n0,0,1\n", "line 1: no column for width"),
        ("x,y,layer,breadth\n", "column 'breadth' is unknown"),
        ("x,y,layer,width\n0,0,1,0.1\n1,oops,1,0.1\n", "line 3: y must be a finite number; got 'oops'"),
        ("x,y,layer,width\n0,0,1,0.1\n1,nan,1,0.1\n", "line 3: y must be a finite number"),
        ("x,y,layer,width\n0,0,0,0.1\n", "line 2: layer must be a whole number from 1 to 4; got 0"),
        ("x,y,layer,width\n0,0,1,0\n", "line 2: width must be above 0"),
        ("x,y,layer,width\n0,0,1,0.1\n1,2\n", "line 3: layer must be a finite number; got ''"),
        ("x,y,layer,width\n" + "9" * 140_000, "is no CSV table"),
        ("x,y,layer,width\n" + "0,0,1,0.1\n" * 5_001, "has 5001 points; at most 5000"),
    ],
)
def test_bad_table_is_refused_with_its_line(table: str, message: str) -> None:
    """Every message names the file and the line."""
    with pytest.raises(GeometryError, match=r"coil\.csv") as refusal:
        read_polyline_csv(table, name="coil.csv")

    assert message in str(refusal.value)


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ("x,y,layer,width\n0,0,1,0.1\n", "two points or more"),
        ("x,y,layer,width\n0,0,1,0.1\n0,0,1,0.1\n", "are the same"),
        ("x,y,layer,width\n0,0,1,0.1\n1,0,2,0.1\n", "move sideways"),
    ],
)
def test_impossible_track_is_refused(table: str, message: str) -> None:
    """What can be read but not made."""
    with pytest.raises(GeometryError, match=message):
        PolylineCoil(points=read_polyline_csv(table), copper_m=18e-6, layer_gaps_m=(50e-6,))


@pytest.mark.parametrize("turns", [4.0, 3.6])
def test_drawn_polygon_is_the_polygon(turns: float) -> None:
    """A hexagon of two layers, drawn corner by corner: the same length, resistance, inductance and field."""
    coil = replace(ten_turns(), shape="hexagon", layers=2, layer_gaps_m=(1e-4,), turns_per_layer=turns)
    points = [
        TrackPoint(x, y, layer, coil.track_width_m)
        for layer in range(2)
        for x, y, _ in layer_centre_line_m(coil, layer).tolist()
    ]
    # A via stays in place: the layers meet at half a pitch from one another, so the second starts where the first ends.
    points[len(points) // 2] = replace(points[len(points) // 2 - 1], layer=1)
    drawn = PolylineCoil(points=tuple(points), copper_m=coil.copper_m, layer_gaps_m=coil.layer_gaps_m)
    expected, seen = predict(coil, heights_m=[1e-3]), predict(drawn, heights_m=[1e-3])

    assert expected.track_length_m == pytest.approx(seen.track_length_m, rel=2e-3)
    assert expected.resistance_20_ohm == pytest.approx(seen.resistance_20_ohm, rel=2e-3)
    assert expected.inductance_h == pytest.approx(seen.inductance_h, rel=5e-3)
    assert expected.field[0].flux_density_t_per_a == pytest.approx(seen.field[0].flux_density_t_per_a, rel=2e-3)


@pytest.mark.parametrize(
    ("unit", "number"), [("_mm", 2.54), ("_um", 2540.0), ("_mil", 100.0), ("_m", 0.00254), ("", 2.54)]
)
def test_units_of_columns_count(unit: str, number: float) -> None:
    """100 mil are 2.54 mm; without a unit it is mm."""
    points = read_polyline_csv(f"x{unit},y{unit},layer,width{unit}\n{number},0,1,{number}\n")

    assert 2.54e-3 == pytest.approx(points[0].x_m, rel=1e-12)
    assert 2.54e-3 == pytest.approx(points[0].width_m, rel=1e-12)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"copper_m": 0.0}, "copper thickness must be above 0"),
        ({"plating_m": -1e-6}, "must be 0 or above"),
        ({"via_resistance_ohm": float("nan")}, "must be 0 or above"),
        ({"layer_gaps_m": ()}, "2 layers need 1 layer gaps above 0"),
        ({"layer_gaps_m": (0.0,)}, "2 layers need 1 layer gaps above 0"),
    ],
)
def test_impossible_build_up_is_refused(change: dict[str, object], message: str) -> None:
    """Copper, plating, vias and layers of a drawn coil."""
    points = read_polyline_csv("x,y,layer,width\n0,0,1,0.1\n1,0,1,0.1\n\n1,0,2,0.1\n2,0,2,0.1\n")
    good: dict[str, object] = {"copper_m": 18e-6, "layer_gaps_m": (50e-6,)}

    with pytest.raises(GeometryError, match=message):
        PolylineCoil(points=points, **(good | change))  # type: ignore[arg-type]


@given(st.text(max_size=80))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    """No other exception, whatever the file holds."""
    with suppress(GeometryError):
        read_polyline_csv(text)
