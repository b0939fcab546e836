"""Coaxial loops against published values, scipy's elliptic integrals and magpylib."""

import magpylib
import numpy as np
import pytest
from scipy import special

from station.coil import loops
from tests.coil.references import mutual_by_elliptic_integrals

# E. B. Rosa and F. W. Grover, Bull. Bureau of Standards 8 (1912), worked example: 248.7875 cm, 1 cm = 1 nH.
# The other three: NIST DLMF 19.34 evaluated by elliptic integrals and by Neumann quadrature.
PUBLISHED_MUTUAL_H = [
    (0.25, 0.20, 0.10, 2.487875e-07, 2.5e-6),
    (0.25, 0.25, 0.20, 1.6708578364718203e-07, 1e-9),
    (0.25, 0.25, 0.10, 3.37684718487094e-07, 1e-9),
    (0.004, 0.003, 0.000135, 5.920373388282122e-09, 1e-9),
]


@pytest.mark.parametrize(("a", "b", "d", "expected", "rel"), PUBLISHED_MUTUAL_H)
def test_mutual_inductance_agrees_with_published_values(
    a: float, b: float, d: float, expected: float, rel: float
) -> None:
    """Maxwell's mutual inductance of coaxial circles, worked examples."""
    mutual = loops.mutual_inductance_h(a, b, d)

    assert expected == pytest.approx(float(mutual), rel=rel)


def test_elliptic_terms_agree_with_scipy_over_the_whole_range() -> None:
    """K and E by the arithmetic-geometric mean equal scipy's to rounding, next to both ends too."""
    complement = np.array([1e-12, 1e-6, 1e-3, 0.1, 0.3, 0.5, 0.9, 0.999999, 1.0])
    modulus = 1 - complement

    first, tau = loops.elliptic_terms(complement)

    np.testing.assert_allclose(first, special.ellipkm1(complement), rtol=1e-14)
    np.testing.assert_allclose(first * (1 - modulus / 2 - modulus**2 * tau), special.ellipe(modulus), rtol=1e-13)


def test_mutual_inductance_agrees_with_elliptic_integrals_at_coil_scale() -> None:
    """Random pairs of printed size agree with K and E from scipy."""
    generator = np.random.default_rng(7)
    a, b = generator.uniform(0.5e-3, 10e-3, (2, 200))
    d = generator.uniform(1e-5, 5e-3, 200)

    mutual = loops.mutual_inductance_h(a, b, d)

    np.testing.assert_allclose(mutual, mutual_by_elliptic_integrals(a, b, d), rtol=1e-10)


def test_mutual_inductance_is_infinite_for_coinciding_filaments() -> None:
    """A filament has no inductance of its own: the limit is stated, not hidden."""
    assert np.inf == loops.mutual_inductance_h(1e-3, 1e-3, 0.0)


def test_flux_density_agrees_with_magpylib_off_the_copper() -> None:
    """Both components within 1e-9 of magpylib's circle at the same magnetic constant, near and far."""
    generator = np.random.default_rng(3)
    radius = 4e-3
    points = generator.uniform(-12e-3, 12e-3, (300, 3))
    distance = np.hypot(points[:, 0], points[:, 1])
    far_enough = np.hypot(distance - radius, points[:, 2]) > 0.2e-3
    points, distance = points[far_enough], distance[far_enough]

    radial, axial = loops.loop_flux_density_t_per_a(radius, distance, points[:, 2])

    reference = magpylib.current.Circle(diameter=2 * radius, current=1.0).getB(points)
    size = np.linalg.norm(reference, axis=1)
    outward = np.sum(reference[:, :2] * points[:, :2], axis=1) / distance
    assert 1e-9 > np.max(np.abs(radial - outward) / size)
    assert 1e-9 > np.max(np.abs(axial - reference[:, 2]) / size)


# Jackson, Classical Electrodynamics: on-axis field of a loop of 10 mm radius; off the axis magpylib 6.3.0,
# itself checked against direct quadrature of the law of Biot and Savart to 1e-8.
LOOP_POINTS_T = [
    (0.0, 0.0, 0.0, 6.283185307179584e-05),
    (0.0, 0.001, 0.0, 6.190102033291745e-05),
    (0.0, 0.005, 0.0, 4.4958814278660645e-05),
    (0.0, 0.010, 0.0, 2.221441469079183e-05),
    (0.005, 0.0, 0.0, 7.826465115443595e-05),
    (0.005, 0.005, 1.6168908405415948e-05, 4.3458489353678445e-05),
]


@pytest.mark.parametrize(("distance", "height", "radial", "axial"), LOOP_POINTS_T)
def test_flux_density_agrees_with_published_points(distance: float, height: float, radial: float, axial: float) -> None:
    """A loop of 10 mm radius and 1 A."""
    got_radial, got_axial = loops.loop_flux_density_t_per_a(0.01, distance, np.array([height]))

    assert axial == pytest.approx(float(got_axial[0]), rel=1e-8)
    assert radial == pytest.approx(float(got_radial[0]), rel=1e-8, abs=1e-14)


def test_flux_density_of_a_helmholtz_pair_at_its_centre() -> None:
    """Textbook closed form (4/5)^1.5 mu0 N I/R for 10 mm."""
    _, axial = loops.loop_flux_density_t_per_a(0.01, 0.0, np.array([0.005, -0.005]))

    assert 8.991762855732129e-05 == pytest.approx(float(axial.sum()), rel=1e-8)


def test_flux_density_far_away_is_a_dipole() -> None:
    """A hundred radii off, the loop is a magnetic moment of I pi a^2."""
    radius, distance, height = 1e-3, 0.06, 0.08
    moment = np.pi * radius**2
    r = np.hypot(distance, height)
    scale = 1.25663706127e-6 * moment / (4 * np.pi * r**3)

    radial, axial = loops.loop_flux_density_t_per_a(radius, distance, np.array([height]))

    assert scale * 3 * distance * height / r**2 == pytest.approx(float(radial[0]), rel=1e-3)
    assert scale * (3 * height**2 / r**2 - 1) == pytest.approx(float(axial[0]), rel=1e-3)
