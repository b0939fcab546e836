"""What can be drawn, what cannot, and where its turns lie."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.coil import CoilGeometry, GeometryError
from station.coil.windings import layer_centre_line_m, turns_of
from tests.coil.references import ten_turns, two_by_35


def test_turns_lie_at_the_spirals_mean_radii() -> None:
    """Turn i: inner diameter/2 + width/2 + (i + 1/2) pitch."""
    radii = two_by_35().turn_radii_m()

    np.testing.assert_allclose(radii, 1.0e-3 + (np.arange(35) + 0.5) * 0.2e-3)


def test_height_zero_is_the_outer_surface_of_the_top_copper() -> None:
    """Mid-planes half a thickness down, and one layer distance further."""
    np.testing.assert_allclose(two_by_35().layer_heights_m(), [-9e-6, -109e-6])


def test_turns_follow_the_current_inward_and_outward() -> None:
    """The top layer from the outermost turn to the innermost, the next one back."""
    turns = turns_of(two_by_35())

    assert 34 == turns.index[0]
    assert [0, 0] == turns.index[34:36].tolist()
    assert 34 == turns.index[69]


@pytest.mark.parametrize("shape", ["square", "hexagon", "octagon"])
@pytest.mark.parametrize("turns", [5.0, 4.75, 3.1])
def test_mean_apothem_of_a_polygon_is_that_of_the_geometry(shape: str, turns: float) -> None:
    """The length of the sides is the circumference of the mean apothem times tan(pi/n)/(pi/n), end effects aside."""
    coil = replace(ten_turns(), shape=shape, turns_per_layer=turns)
    line = layer_centre_line_m(coil, 0)
    sides = coil.side_count
    mean = coil.inner_radius_m + turns * coil.pitch_m / 2

    length = np.linalg.norm(np.diff(line, axis=0), axis=1).sum()

    assert 2 * sides * np.tan(np.pi / sides) * turns * mean == pytest.approx(length, rel=0.02)


def test_layers_of_a_polygon_turn_the_same_way() -> None:
    """The signed area swept about the axis is positive on every layer."""
    coil = replace(ten_turns(), shape="hexagon", layers=4, layer_gaps_m=(1e-4,) * 3, turns_per_layer=3.5)

    for layer in range(4):
        x, y, _ = layer_centre_line_m(coil, layer).T
        assert 0 < np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])


def test_layers_of_a_polygon_meet_at_their_vias() -> None:
    """The end of one layer lies above the start of the next, to within half a pitch, inside and outside."""
    coil = replace(ten_turns(), shape="square", layers=3, layer_gaps_m=(1e-4,) * 2, turns_per_layer=3.75)
    lines = [layer_centre_line_m(coil, layer)[:, :2] for layer in range(3)]

    np.testing.assert_allclose(lines[0][-1], lines[1][0], atol=coil.pitch_m / 2)
    np.testing.assert_allclose(lines[1][-1], lines[2][0], atol=coil.pitch_m / 2)


def test_last_side_of_a_polygon_ends_where_the_fraction_says() -> None:
    """From 3 to 3.1 turns of a square the track grows by 0.4 sides of the outermost size."""
    square = replace(ten_turns(), shape="square", turns_per_layer=3.0)
    lengths = [
        float(
            np.linalg.norm(
                np.diff(layer_centre_line_m(replace(square, turns_per_layer=turns), 0), axis=0), axis=1
            ).sum()
        )
        for turns in (3.0, 3.1, 3.25)
    ]

    assert 0.4 * (lengths[2] - lengths[0]) == pytest.approx(lengths[1] - lengths[0], rel=1e-6)


def test_reversed_layer_of_a_polygon_turns_the_other_way() -> None:
    """Winding sense -1 is the mirror image."""
    coil = replace(ten_turns(), shape="square", layers=2, layer_gaps_m=(1e-4,), winding_senses=(1, -1))
    x, y, _ = layer_centre_line_m(coil, 1).T

    assert np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]) < 0


def test_wider_tracks_keep_their_centre_line() -> None:
    """Etching moves both edges."""
    coil = two_by_35()
    wider = coil.with_width_change(20e-6)

    np.testing.assert_allclose(wider.turn_radii_m(), coil.turn_radii_m())
    assert 80e-6 == pytest.approx(wider.track_gap_m)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"track_gap_m": -1e-5}, "track gap must be above 0 and below 1 m; got -1e-05 m"),
        ({"inner_diameter_m": -1e-3}, "the inner turn would cross the axis"),
        ({"track_width_m": 0.0}, "track width must be above 0"),
        ({"copper_m": float("nan")}, "copper thickness must be above 0"),
        ({"layers": 5}, "layers must be 1 to 4; got 5"),
        ({"turns_per_layer": 0.0}, "turns per layer must be above 0"),
        ({"layer_gaps_m": ()}, "2 layers need 1 layer gaps; got 0"),
        ({"layer_gaps_m": (0.0,)}, "layer gap must be above 0"),
        ({"winding_senses": (1, 2)}, "winding senses must be \\+1 or -1"),
        ({"etch_factor": 0.2}, "leaves no copper at the top"),
        ({"shape": "star"}, "shape must be one of circle, square, hexagon, octagon, polygon; got 'star'"),
        ({"shape": "polygon", "sides": 2}, "sides of a polygon must be 3 to 64; got 2"),
        ({"lead_resistance_ohm": -1.0}, "lead resistance must be 0 or above"),
    ],
)
def test_impossible_geometry_is_refused_in_words(change: dict[str, object], message: str) -> None:
    """Each names what is wrong and what would be right."""
    with pytest.raises(GeometryError, match=message):
        replace(two_by_35(), **change)


def test_every_fault_is_named_at_once() -> None:
    """Not only the first."""
    with pytest.raises(GeometryError) as refusal:
        replace(two_by_35(), track_gap_m=0.0, copper_m=0.0, layers=0, layer_gaps_m=())

    assert 3 == len(refusal.value.problems)


@given(turns=st.floats(0.01, 60), pitch=st.floats(1e-5, 1e-3), layers=st.integers(1, 4))
def test_turn_fractions_sum_to_the_turns(turns: float, pitch: float, layers: int) -> None:
    """However the last turn ends, the parts make the whole, and radii stay between the ends."""
    coil = CoilGeometry(
        layers=layers,
        turns_per_layer=turns,
        inner_diameter_m=1e-3,
        track_width_m=pitch / 2,
        track_gap_m=pitch / 2,
        copper_m=18e-6,
        layer_gaps_m=(1e-4,) * (layers - 1),
    )

    assert turns == pytest.approx(float(coil.turn_fractions().sum()), rel=1e-12)
    assert coil.inner_radius_m <= coil.turn_radii_m()[0]
    assert coil.turn_radii_m()[-1] <= coil.outer_radius_m
