"""Field of whole coils against smooth-spiral quadrature, magpylib and physical law."""

from dataclasses import replace

import magpylib
import numpy as np
import pytest

from station.coil import CoilGeometry, loops
from station.coil.circuit import network_of, shorted_turns, solve_impedance
from station.coil.field import (
    Sensor,
    axis_flux_density_t_per_a,
    flux_density_t_per_a,
    sensed_flux_density_t_per_a,
    spiral_segments,
)
from station.coil.windings import turns_of
from tests.coil.references import ten_turns, two_by_35


def _thin(layers: int, turns: float, inner_radius_m: float, pitch_m: float, distance_m: float) -> CoilGeometry:
    """Filament-like copper, so that mid-planes lie where the published filaments do."""
    copper = 2e-12
    return CoilGeometry(
        layers=layers,
        turns_per_layer=turns,
        inner_diameter_m=2 * inner_radius_m - pitch_m / 2,
        track_width_m=pitch_m / 2,
        track_gap_m=pitch_m / 2,
        copper_m=copper,
        layer_gaps_m=(distance_m - copper,) * (layers - 1),
    )


# Smooth filament spirals, law of Biot and Savart by scipy's quadrature.
SMOOTH = [
    (
        _thin(2, 10, 2e-3, 0.5e-3, 0.135e-3),
        [1e-3, 2e-3, 5e-3, 10e-3],
        [0.0027326909956884166, 0.0020410473830340128, 0.0007519283750276266, 0.00018958221335811196],
    ),
    (
        _thin(1, 20, 1e-3, 0.25e-3, 1e-4),
        [0.5e-3, 1e-3, 3e-3],
        [0.004106768821707592, 0.003345467246244914, 0.001352106040835548],
    ),
]


@pytest.mark.parametrize(("coil", "heights", "expected"), SMOOTH, ids=["2 x 10", "1 x 20"])
def test_field_on_axis_agrees_with_quadrature_over_the_spiral(
    coil: CoilGeometry, heights: list[float], expected: list[float]
) -> None:
    """To 1e-8, the tolerance of two values of the magnetic constant and of the copper's last nanometre."""
    np.testing.assert_allclose(axis_flux_density_t_per_a(coil, heights), expected, rtol=1e-8)


def test_drawn_spiral_agrees_with_magpylib_polyline() -> None:
    """Every component, anywhere: the same pieces in magpylib."""
    coil = replace(two_by_35(), turns_per_layer=4.3)
    segments = spiral_segments(coil)
    points = np.array([[0, 0, 1e-3], [1e-3, 0.4e-3, 0.5e-3], [-3e-3, 2e-3, 2e-3]])
    starts, ends = segments.start_m, segments.end_m
    pieces = [magpylib.current.Polyline(current=1.0, vertices=pair) for pair in zip(starts, ends, strict=True)]

    field = flux_density_t_per_a(coil, points, as_drawn=True)

    np.testing.assert_allclose(field, magpylib.getB(pieces, points, sumup=True), rtol=1e-9, atol=1e-15)


# magpylib 6.3.0 current.Polyline, 360 pieces a turn, two-layer spiral of 10 turns, off the axis.
OFF_AXIS_POINTS = np.array([[3e-3, 0, 2e-3], [0, 6e-3, 2e-3], [9e-3, 0, 5e-3]])
OFF_AXIS_AXIAL = [0.0014951450921168563, 0.00020099597086758355, 8.636576021136415e-06]


def test_drawn_spiral_agrees_with_published_points() -> None:
    """Our 180 chords a turn against their 360: 1e-3 of the field of the coil."""
    field = flux_density_t_per_a(SMOOTH[0][0], OFF_AXIS_POINTS, as_drawn=True)

    np.testing.assert_allclose(field[:, 2], OFF_AXIS_AXIAL, atol=1e-6)


def test_mean_over_the_angle_agrees_with_the_drawn_spiral() -> None:
    """The quick way off the axis is the mean over all angles of the drawn spiral, to its chords."""
    coil = SMOOTH[0][0]
    angle = 2 * np.pi * np.arange(24) / 24
    around = np.column_stack([3e-3 * np.cos(angle), 3e-3 * np.sin(angle), np.full(24, 2e-3)])
    drawn = flux_density_t_per_a(coil, around, as_drawn=True)
    outward = drawn[:, 0] * np.cos(angle) + drawn[:, 1] * np.sin(angle)

    quick = flux_density_t_per_a(coil, around[:1])[0]

    assert float(outward.mean()) == pytest.approx(float(quick[0]), rel=2e-4)
    assert float(drawn[:, 2].mean()) == pytest.approx(float(quick[2]), rel=2e-4)


@pytest.mark.parametrize("offset", [0.0, 0.5e-3, 3e-3, 9e-3])
def test_quick_field_agrees_with_rings_of_magpylib(offset: float) -> None:
    """Rings of the mean radii stand for the spiral to 1e-3 from 1 mm up (their ends are the difference)."""
    coil = two_by_35()
    points = np.column_stack([np.full(4, offset), np.zeros(4), [1e-3, 2e-3, 4e-3, 8e-3]])
    turns = turns_of(coil)
    rings = [
        magpylib.current.Circle(diameter=2 * radius, current=1.0, position=(0, 0, height))
        for radius, height in zip(turns.radius_m, turns.height_m, strict=True)
    ]
    reference = magpylib.getB(rings, points, sumup=True)

    field = flux_density_t_per_a(coil, points)

    np.testing.assert_allclose(field, reference, atol=1e-3 * np.abs(reference[:, 2]).max())


def test_rings_agree_with_magpylib_to_1e_9_close_above_the_copper() -> None:
    """Below a pitch of height the rings themselves are used: the same sum of 70 circles."""
    coil = two_by_35()
    points = np.array([[1.25e-3, 0.3e-3, 0.05e-3], [4.0e-3, -2e-3, 0.02e-3]])
    turns = turns_of(coil)
    rings = [
        magpylib.current.Circle(diameter=2 * radius, current=1.0, position=(0, 0, height))
        for radius, height in zip(turns.radius_m, turns.height_m, strict=True)
    ]

    field = flux_density_t_per_a(coil, points)

    np.testing.assert_allclose(field, magpylib.getB(rings, points, sumup=True), rtol=1e-9)


def test_height_and_centring_count_as_they_do_in_practice() -> None:
    """2 x 35 turns at 3 mm: 0.1 mm of height 3.5 % of B, 0.5 mm off centre 0.9 %."""
    coil = two_by_35()
    here, above = axis_flux_density_t_per_a(coil, [3.0e-3, 3.1e-3])
    beside = flux_density_t_per_a(coil, np.array([[0.5e-3, 0, 3e-3]]))[0, 2]

    assert 0.035 == pytest.approx(1 - above / here, abs=1.5e-3)
    assert 0.009 == pytest.approx(1 - beside / here, abs=1e-3)


def test_width_does_not_move_the_field_at_fixed_current() -> None:
    """0.05 to 0.15 mm on the same centre line: nothing above 0.004 %."""
    coil = two_by_35()
    fields = [axis_flux_density_t_per_a(coil.with_width_change(w), [3e-3])[0] for w in (-50e-6, 0.0, 50e-6)]

    assert np.ptp(fields) / fields[1] < 4e-5


def test_polygon_of_many_sides_has_the_field_of_the_circle() -> None:
    """A different formula altogether; 32 sides are 0.3 % larger."""
    circle = ten_turns()
    polygon = replace(circle, shape="polygon", sides=32)

    np.testing.assert_allclose(
        axis_flux_density_t_per_a(polygon, [1e-3, 5e-3]), axis_flux_density_t_per_a(circle, [1e-3, 5e-3]), rtol=4e-3
    )


def test_reversed_winding_reverses_the_field() -> None:
    """The sense of every layer turned about."""
    coil = two_by_35()

    np.testing.assert_allclose(
        axis_flux_density_t_per_a(replace(coil, winding_senses=(-1, -1)), [2e-3]),
        -axis_flux_density_t_per_a(coil, [2e-3]),
    )


def test_flux_through_a_closed_surface_is_zero() -> None:
    """div B = 0: the field through a small cylinder off the axis cancels."""
    coil = two_by_35()
    nodes, weights = np.polynomial.legendre.leggauss(12)
    size, centre = 0.4e-3, np.array([1.5e-3, 0.7e-3, 2e-3])
    total, largest = 0.0, 0.0
    for axis in range(3):
        for sign in (-1, 1):
            u, v = np.meshgrid(nodes, nodes)
            point = np.zeros((144, 3))
            point[:, axis] = sign * size
            point[:, (axis + 1) % 3], point[:, (axis + 2) % 3] = u.ravel() * size, v.ravel() * size
            flux = float(np.outer(weights, weights).ravel() @ flux_density_t_per_a(coil, centre + point)[:, axis])
            total += sign * flux
            largest = max(largest, abs(flux))

    assert abs(total) < 1e-9 * largest


def test_large_sensor_reads_the_mean_over_its_area() -> None:
    """On the axis of a loop: flux through the disc is mutual inductance of ring and loop (reciprocity)."""
    coil = replace(ten_turns(), turns_per_layer=1.0, track_width_m=10e-6, track_gap_m=10e-6, copper_m=1e-6)
    turns = turns_of(coil)
    radius = 1e-3
    sensor = Sensor(height_m=2e-3, active_diameter_m=2 * radius)
    currents = np.ones(1)
    mutual = loops.mutual_inductance_h(turns.radius_m[0], radius, sensor.height_m - turns.height_m[0])

    sensed = sensed_flux_density_t_per_a(coil, sensor, turn_currents=currents)

    assert float(mutual) / (np.pi * radius**2) == pytest.approx(sensed, rel=1e-4)


def test_tilted_point_sensor_sees_the_cosine_on_the_axis() -> None:
    """There is no field across the axis of rings."""
    coil = two_by_35()

    tilted = sensed_flux_density_t_per_a(coil, Sensor(height_m=3e-3, tilt_rad=0.1, tilt_direction_rad=0.7))

    assert axis_flux_density_t_per_a(coil, 3e-3) * np.cos(0.1) == pytest.approx(tilted, rel=1e-9)


def test_tilt_towards_the_axis_sees_the_radial_field() -> None:
    """Turned by 90 degrees outward it reads B_r alone, and the area turns with it."""
    coil = two_by_35()
    point = flux_density_t_per_a(coil, np.array([[1e-3, 0, 3e-3]]))[0]

    sideways = Sensor(height_m=3e-3, x_m=1e-3, tilt_rad=np.pi / 2, active_diameter_m=1e-6)

    assert point[0] == pytest.approx(sensed_flux_density_t_per_a(coil, sideways), rel=1e-6)


def test_shorted_turn_weakens_the_field_and_delays_it() -> None:
    """At 1 Hz the bridged turn is simply missing; at 100 kHz it opposes, out of phase."""
    coil = two_by_35()
    network = network_of(coil)
    seen = solve_impedance(network, [1.0, 1e5], faults=[shorted_turns(coil, layer=0, first_index=17)])
    point = np.array([[0.0, 0.0, 2e-3]])
    healthy = flux_density_t_per_a(coil, point)[0, 2]
    turns = turns_of(coil)
    turn = int(np.flatnonzero((turns.layer == 0) & (turns.index == 17))[0])
    alone = np.zeros(70)
    alone[turn] = 1.0
    missing = flux_density_t_per_a(coil, point, turn_currents=1 - alone)[0, 2]

    slow = flux_density_t_per_a(coil, point, turn_currents=seen.turn_currents[0])[0, 2]
    fast = flux_density_t_per_a(coil, point, turn_currents=seen.turn_currents[1])[0, 2]

    assert missing == pytest.approx(slow.real, rel=1e-5)
    assert fast.real < slow.real < healthy
    assert 0 < abs(fast.imag)


def test_field_below_the_coil_mirrors_the_one_above() -> None:
    """One layer: the same across its mid-plane, the radial part reversed (rings below, closed form above)."""
    coil = replace(ten_turns(), turns_per_layer=10.0)
    middle = coil.layer_heights_m()[0]
    above = flux_density_t_per_a(coil, np.array([[1e-3, 0, middle + 2e-3]]))[0]
    below = flux_density_t_per_a(coil, np.array([[1e-3, 0, middle - 2e-3]]))[0]

    np.testing.assert_allclose(below, above * [-1, 1, 1], rtol=3e-3)


def test_no_points_give_no_field() -> None:
    """An empty profile is no error."""
    assert (0, 3) == flux_density_t_per_a(two_by_35(), np.zeros((0, 3))).shape
