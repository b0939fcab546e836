"""Straight tracks: partial inductance and field against quadrature and magpylib."""

import magpylib
import numpy as np
import pytest
from scipy import integrate

from station.coil.filaments import Segments, partial_inductance_h, segment_flux_density_t_per_a
from tests.coil.references import MU0


def _pair(start_a: list[float], end_a: list[float], start_b: list[float], end_b: list[float]) -> Segments:
    return Segments(
        np.array([start_a, start_b]) * 1e-3,
        np.array([end_a, end_b]) * 1e-3,
        np.full(2, 1e-7),
        1e-8,
        np.arange(2),
    )


@pytest.mark.parametrize(
    "pair",
    [
        _pair([0, 0, 0], [3, 0, 0], [5, 2, 0.3], [4, 4, 0.3]),
        _pair([0, 0, 0], [3, 0, 0], [1, 1, 0.2], [2, -3, 0.2]),
        _pair([-1, 2, 0], [3, 1, 0], [-2, 0.5, 0], [4, -1, 0]),
        _pair([0, 0, 0], [3, 0, 0], [1, 0.5, 0.1], [-4, 0.5, 0.1]),
    ],
    ids=["apart", "crossing above", "in one plane", "parallel, against one another"],
)
def test_partial_inductance_agrees_with_neumanns_integral(pair: Segments) -> None:
    """Filaments in any position: the double integral by scipy's quadrature."""
    own, other = pair.end_m[0] - pair.start_m[0], pair.end_m[1] - pair.start_m[1]

    def integrand(s: float, t: float) -> float:
        return float(1 / np.linalg.norm(pair.start_m[0] + s * own - pair.start_m[1] - t * other))

    quadrature = integrate.dblquad(integrand, 0, 1, 0, 1, epsabs=1e-9, epsrel=1e-9)[0]

    mutual = partial_inductance_h(pair)[0, 1]

    assert MU0 / (4 * np.pi) * float(own @ other) * quadrature == pytest.approx(float(mutual), rel=1e-6)


def test_partial_inductance_of_a_track_drawn_in_two_pieces_is_that_of_the_whole() -> None:
    """Cutting a straight track changes nothing but the small end terms."""
    whole = Segments(np.zeros((1, 3)), np.array([[8e-3, 0, 0]]), np.array([1e-4]), 18e-6, np.zeros(1, int))
    halves = Segments(
        np.array([[0, 0, 0], [4e-3, 0, 0]], dtype=float),
        np.array([[4e-3, 0, 0], [8e-3, 0, 0]], dtype=float),
        np.full(2, 1e-4),
        18e-6,
        np.zeros(2, int),
    )

    assert float(partial_inductance_h(whole).sum()) == pytest.approx(
        float(partial_inductance_h(halves).sum()), rel=2e-3
    )


def test_partial_inductance_of_a_bar_agrees_with_grovers_table_formula() -> None:
    """Grover, Inductance Calculations, ch. 5: 0.002 l (ln(2 l/(w + t)) + 1/2 + 0.2235 (w + t)/l) uH, l in cm."""
    length, width, thickness = 0.02, 0.5e-3, 35e-6
    bar = Segments(np.zeros((1, 3)), np.array([[length, 0, 0]]), np.array([width]), thickness, np.zeros(1, int))
    section = width + thickness
    grover = 0.2e-6 * length * (np.log(2 * length / section) + 0.5 + 0.2235 * section / length)

    assert grover == pytest.approx(float(partial_inductance_h(bar)[0, 0]), rel=2e-3)


def test_flux_density_of_a_square_spiral_agrees_with_magpylib() -> None:
    """Centre-line filament of a square spiral of 5 turns; the printed points and the library itself."""
    half, pitch = 4.8e-3, 0.6e-3
    corners = [(-half, -half, 0.0)]
    for turn in range(5):
        a = half - turn * pitch
        corners += [(a, -a, 0.0), (a, a, 0.0), (-a, a, 0.0), (-a, -a + pitch, 0.0)]
    line = np.array(corners)
    segments = Segments(line[:-1], line[1:], np.full(20, 4e-4), 35e-6, np.arange(20))
    points = np.array([[0, 0, 1e-3], [0, 0, 3e-3], [2e-3, 1e-3, 1e-3]])

    field = segment_flux_density_t_per_a(segments, points).sum(axis=1)

    # magpylib 6.3.0 current.Polyline, printed values.
    printed = [
        [3.444805802816589e-06, -2.4053287185435875e-06, 0.0007350705897957516],
        [5.6604558214559485e-06, -4.258038669508685e-06, 0.00038123489620151593],
        [0.00031976991859900087, 7.940307428082758e-05, 0.0007731686416095341],
    ]
    np.testing.assert_allclose(field, printed, rtol=1e-8, atol=1e-14)
    np.testing.assert_allclose(field, magpylib.current.Polyline(current=1.0, vertices=line).getB(points), rtol=1e-9)
